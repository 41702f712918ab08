"""The features as a step of a scikit-learn pipeline.

scikit-learn is imported at the head here and nowhere else, for the class is one of its own; nothing imports this
module but whoever asks for `FeatureTransformer`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from sklearn.base import BaseEstimator, TransformerMixin

from stylemeter.errors import UnknownNameError
from stylemeter.features import CATALOG, measure
from stylemeter.music.melody import Melody, checked

__all__ = ["FeatureTransformer"]


class FeatureTransformer(TransformerMixin, BaseEstimator):  # type: ignore[misc]
    """Melodies -> a matrix of their features.

    Parameters
    ----------
    features : sequence of str, optional
        Names of `CATALOG`, in the order of the columns; all of them by default.

    Attributes
    ----------
    features_ : list of str
        The columns.

    Notes
    -----
    It learns nothing, so that train and test can't leak into each other. What is unmeasured is NaN: an imputer or an
    estimator that takes NaN comes behind it. Of scikit-learn's estimator checks, those on parameters, tags, cloning
    and fitting pass; those that transform arrays of numbers don't apply, since its input is a list of melodies
    (its tags say so, and `check_estimator` passes it over).

    Examples
    --------
    >>> tunes = [Melody.from_arrays(range(16), range(60, 76)), Melody.from_arrays(range(16), [60, 67] * 8)]
    >>> FeatureTransformer(["step_share", "leap_share"]).fit_transform(tunes)
    array([[1., 0.],
           [0., 1.]])
    """

    def __init__(self, features: Sequence[str] | None = None) -> None:
        self.features = features

    def fit(self, X: Iterable[Melody], y: object = None) -> FeatureTransformer:  # noqa: N803 - scikit-learn's name
        """Look up the columns.

        Parameters
        ----------
        X : iterable of Melody
            Not looked at.
        y : object
            Not looked at.

        Returns
        -------
        FeatureTransformer

        Raises
        ------
        UnknownNameError
            If a feature isn't there.
        """
        names = list(CATALOG) if self.features is None else list(self.features)
        for name in names:
            if name not in CATALOG:
                raise UnknownNameError.among("feature", str(name), list(CATALOG))
        self.features_ = names
        return self

    def transform(self, X: Iterable[Melody]) -> npt.NDArray[np.float64]:  # noqa: N803 - scikit-learn's name
        """Measure the melodies.

        Parameters
        ----------
        X : iterable of Melody

        Returns
        -------
        ndarray of shape (n_melodies, n_features)
            Each in its feature's unit, NaN where unmeasured.

        Raises
        ------
        WrongTypeError
            If one of them is no melody.
        """
        from sklearn.utils.validation import check_is_fitted

        check_is_fitted(self)
        found = [measure(checked(melody, "one of X")).values for melody in X]
        rows = [[values[name] for name in self.features_] for values in found]
        return np.array(rows, dtype=float).reshape(-1, len(self.features_))

    def get_feature_names_out(self, input_features: object = None) -> npt.NDArray[np.object_]:
        """Names of the columns.

        Parameters
        ----------
        input_features : object
            Not looked at.

        Returns
        -------
        ndarray of str, of shape (n_features,)
        """
        from sklearn.utils.validation import check_is_fitted

        check_is_fitted(self)
        return np.array(self.features_, dtype=object)

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.input_tags.two_d_array = False
        tags.input_tags.allow_nan = True
        tags.no_validation = True
        tags.requires_fit = True
        return tags

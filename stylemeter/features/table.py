"""The features of many melodies as one frame."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from stylemeter.features import CATALOG, measure
from stylemeter.music.melody import Melody, checked

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["feature_frame"]


def feature_frame(melodies: Iterable[Melody]) -> pd.DataFrame:
    """Measure every feature of many melodies.

    Parameters
    ----------
    melodies : iterable of Melody

    Returns
    -------
    DataFrame of shape (n_melodies, n_features)
        Indexed by title, else path, else number (from 1); a column a feature, in its unit (`CATALOG[name].unit`);
        NaN where unmeasured: `measure` of that melody says why.

    Raises
    ------
    WrongTypeError
        If one of them is no melody.

    Examples
    --------
    >>> tunes = [Melody.from_arrays(range(16), range(60, 76), title="up"), Melody.from_arrays([0], [60])]
    >>> frame = feature_frame(tunes)
    >>> frame["step_share"].tolist(), frame.index.tolist()
    ([1.0, nan], ['up', '2'])
    """
    import pandas as pd

    if isinstance(melodies, Melody):
        melodies = [melodies]
    kept = [checked(melody, "one of the melodies") for melody in melodies]
    names = [melody.title or melody.path or str(i) for i, melody in enumerate(kept, 1)]
    rows = [measure(melody).values for melody in kept]
    return pd.DataFrame(rows, columns=list(CATALOG), index=pd.Index(names, name="solo"), dtype=float)

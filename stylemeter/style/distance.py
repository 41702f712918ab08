"""How typical a solo is of a style as a whole: a shrunk Mahalanobis distance on normal scores.

The distance is judged by its own leave-one-family-out distribution in the sample, never by chi-square: features are
neither independent nor normal, and with small samples chi-square raises several times its nominal false alarms.

References
----------
.. [1] O. Ledoit & M. Wolf, "A well-conditioned estimator for large-dimensional covariance matrices",
   J. Multivariate Analysis 88:365-411, 2004.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung

__all__ = ["DistanceModel", "fit_distance", "leave_family_out"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Share of the families that must have a feature measured for it to enter the distance.
MEASURED_SHARE = 0.9
#: Families whose gaps (harmony, technique) say more about the source than about the line.
_LEFT_OUT = ("harmony", "technique")


@dataclass(frozen=True, slots=True)
class DistanceModel:
    """A distance on normal scores.

    Attributes
    ----------
    features : list of str
    center : ndarray of shape (p,)
    precision : ndarray of shape (p, p)
    """

    features: list[str]
    center: Floats
    precision: Floats

    def distance(self, z: Floats) -> Floats:
        """Distance of cases from the centre; an unmeasured feature counts as the style's middle.

        Parameters
        ----------
        z : ndarray of shape (C, p)
            Normal scores in the order of `features`.
        """
        d = np.nan_to_num(z) - self.center
        distance: Floats = np.sqrt(np.maximum(0.0, np.einsum("ci,ij,cj->c", d, self.precision, d)))
        return distance

    def pull(self, z: Floats) -> Floats:
        """Share of the squared distance each feature of one case accounts for."""
        d = np.nan_to_num(z) - self.center
        part: Floats = d * (self.precision @ d)
        total = part.sum()
        return part / total if total > 0 else np.zeros_like(part)

    def to_document(self) -> dict[str, Any]:
        """Return the model as plain data."""
        return {
            "features": self.features,
            "center": [float(f"{v:.9g}") for v in self.center],
            "precision": [[float(f"{v:.9g}") for v in row] for row in self.precision],
        }

    @classmethod
    def from_document(cls, document: dict[str, Any]) -> DistanceModel:
        """Read a model back."""
        return cls(list(document["features"]), np.array(document["center"]), np.array(document["precision"]))


def fit_distance(rung: Rung, scores: Floats) -> tuple[DistanceModel, Floats] | None:
    """Fit the distance of a rung.

    Parameters
    ----------
    rung : Rung
    scores : ndarray of shape (R, F)
        Normal scores of the sample's own rows, each with its family left out.

    Returns
    -------
    model, distances : DistanceModel, ndarray of shape (R,)
        The distances have each row's own family left out of the model; None with too few families.
    """
    from sklearn.covariance import ledoit_wolf

    if rung.families < FAMILIES_FOR_LIMITS:
        return None
    enough = MEASURED_SHARE * rung.families
    names = [
        n
        for n in rung.names
        if CATALOG[n].family not in _LEFT_OUT and rung.counts[n] >= enough and np.nanstd(scores[:, rung.column[n]]) > 0
    ]
    if not names:
        return None
    z = np.nan_to_num(scores[:, [rung.column[n] for n in names]])
    covariance, shrinkage = ledoit_wolf(z)
    model = DistanceModel(names, z.mean(axis=0), np.linalg.inv(covariance))
    return model, leave_family_out(z, rung.family, float(shrinkage))


def leave_family_out(z: Floats, family: Ints, shrinkage: float) -> Floats:
    """Distance of each row from the other families' centre, in their shrunk covariance.

    Parameters
    ----------
    z : ndarray of shape (R, p)
    family : ndarray of shape (R,)
        From 0.
    shrinkage : float
        Of the whole sample: it hardly moves when one family of dozens is left out (a test measures it).

    Returns
    -------
    ndarray of shape (R,)
    """
    rows, size = z.shape
    total, square = z.sum(axis=0), z.T @ z
    out = np.empty(rows)
    order = np.argsort(family, kind="stable")
    edges = np.searchsorted(family[order], np.arange(int(family.max()) + 2))
    for first, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        own = order[first:stop]
        if not len(own):
            continue
        x = z[own]
        left = rows - len(own)
        mean = (total - x.sum(axis=0)) / left
        covariance = (square - x.T @ x) / left - np.outer(mean, mean)
        shrunk = (1 - shrinkage) * covariance
        shrunk[np.diag_indices(size)] += shrinkage * np.trace(covariance) / size
        d = x - mean
        out[own] = np.sqrt(np.maximum(0.0, np.einsum("ci,ic->c", d, np.linalg.solve(shrunk, d.T))))
    return out

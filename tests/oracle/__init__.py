"""The feature dictionary once more, slowly: straight loops over fractions, one small function a feature.

Written from the dictionary's text alone, to check the package's fast features against. Nothing here imports
`stylemeter.features`, `stylemeter.music.scales` or the weights of `stylemeter.music.meter`; only `notes` reads our
`Melody`.
"""

from oracle import degrees, harmony, intervals, motif, rhythm, shape, space, technique
from oracle.degrees import scales
from oracle.distributions import distributions
from oracle.habits import SCANS, greatest_sum, sum_of
from oracle.notes import cut, from_melody
from oracle.registry import EVIDENCE, FEATURES, evidence_of, measure, value
from oracle.terms import positions
from oracle.weights import weights

FAMILIES = (intervals, degrees, harmony, rhythm, space, shape, motif, technique)

__all__ = [
    "EVIDENCE",
    "FAMILIES",
    "FEATURES",
    "SCANS",
    "cut",
    "distributions",
    "evidence_of",
    "from_melody",
    "greatest_sum",
    "measure",
    "positions",
    "scales",
    "sum_of",
    "value",
    "weights",
]

"""Features: what is measured on a melody. `CATALOG` holds every one; `measure` measures them all.

A feature is added by one decorated function in a family's module (see DEVELOPERS.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stylemeter.features import degrees, harmony, intervals, motif, rhythm, shape, space, technique
from stylemeter.features.catalog import CATALOG, Feature, Lack
from stylemeter.features.distributions import ScaleFit, distributions, scale_fits
from stylemeter.features.habits import HABITS, Habit, clearest_stretch, habit_of
from stylemeter.features.line import Base, Line
from stylemeter.music.melody import Melody

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = [
    "CATALOG",
    "FEATURE_VERSION",
    "HABITS",
    "Base",
    "Feature",
    "Habit",
    "Line",
    "Measured",
    "ScaleFit",
    "clearest_stretch",
    "distributions",
    "evidence",
    "habit_of",
    "measure",
    "scale_fits",
    "values",
]

#: Version of the dictionary; caches and profiles carry it.
FEATURE_VERSION = 1

# the modules are imported for what they register; the catalogue is put in the dictionary's order
_FAMILIES = [
    m.__name__.rpartition(".")[2] for m in (intervals, degrees, harmony, rhythm, space, shape, motif, technique)
]
for _name in sorted(CATALOG, key=lambda name: _FAMILIES.index(CATALOG[name].family)):
    CATALOG[_name] = CATALOG.pop(_name)


@dataclass(frozen=True, slots=True)
class Measured:
    """Every feature of a stretch of notes.

    Attributes
    ----------
    values : dict of float
        NaN where unmeasured.
    reasons : dict of str
        Why, for the unmeasured ones.
    """

    values: dict[str, float]
    reasons: dict[str, str]


def measure(melody: Melody | Base | Line, start: int = 0, stop: int | None = None) -> Measured:
    """Measure every feature of the catalogue.

    Parameters
    ----------
    melody : Melody, Base or Line
        A `Base` shares work between stretches of one melody.
    start, stop : int
        The notes to measure; all by default. The tune's bar lines, meters and chords stay.

    Returns
    -------
    Measured
    """
    line = melody if isinstance(melody, Line) else Line(melody, start, stop)
    found: dict[str, float] = {}
    reasons: dict[str, str] = {}
    for name, feature in CATALOG.items():
        value = feature.value(line)
        if isinstance(value, Lack):
            reasons[name] = value.reason
            found[name] = float("nan")
        else:
            found[name] = value
    return Measured(found, reasons)


def values(line: Line) -> list[float]:
    """Values only, in the order of the catalogue: the quick way for many excerpts."""
    row = []
    for feature in CATALOG.values():
        value = feature.value(line)
        row.append(float("nan") if isinstance(value, Lack) else value)
    return row


def evidence(melody: Melody | Base | Line, name: str, start: int = 0, stop: int | None = None) -> npt.NDArray[np.bool_]:
    """Notes that are a feature's evidence.

    Returns
    -------
    ndarray of bool, shape (n_notes,)
    """
    line = melody if isinstance(melody, Line) else Line(melody, start, stop)
    return CATALOG[name].where(line)

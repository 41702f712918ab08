"""Features: what is measured on a melody. `CATALOG` holds every one; `measure` measures them all.

A feature is added by one decorated function in a family's module (see DEVELOPERS.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stylemeter.errors import UnknownNameError
from stylemeter.features import degrees, harmony, intervals, motif, rhythm, shape, space, technique
from stylemeter.features.catalog import CATALOG, Feature, Lack
from stylemeter.features.distributions import ScaleFit, distributions, scale_fits
from stylemeter.features.habits import (
    HABITS,
    SCANS,
    Habit,
    dose,
    habit_of,
    scan,
    scan_totals,
    speaking_notes,
    stretches_of,
)
from stylemeter.features.line import Base, Line
from stylemeter.music.melody import Melody, checked
from stylemeter.support.notebook import html_table

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

__all__ = [
    "CATALOG",
    "FEATURE_VERSION",
    "HABITS",
    "SCANS",
    "Base",
    "Feature",
    "Habit",
    "Line",
    "Measured",
    "ScaleFit",
    "distributions",
    "dose",
    "evidence",
    "habit_of",
    "measure",
    "scale_fits",
    "scan",
    "scan_totals",
    "speaking_notes",
    "stretches_of",
    "values",
]

#: Version of the dictionary; caches and profiles carry it.
FEATURE_VERSION = 2

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

    def __repr__(self) -> str:
        known = [f"{name}={value:.3g}" for name, value in self.values.items() if name not in self.reasons]
        more = f", and {len(known) - 6} more" if len(known) > 6 else ""
        return f"<Measured: {', '.join(known[:6])}{more}; {len(self.reasons)} unmeasured>"

    def _repr_html_(self) -> str:
        rows = [[name, value, self.reasons.get(name, "")] for name, value in self.values.items()]
        return html_table("Features", ["feature", "value", "why unmeasured"], rows)

    def __getitem__(self, name: str) -> float:
        if name not in self.values:
            raise UnknownNameError.among("feature", str(name), list(self.values))
        return self.values[name]


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

    Raises
    ------
    WrongTypeError
        If it is no melody.

    Examples
    --------
    >>> scale = Melody.from_arrays(range(16), [60, 62, 64, 65, 67, 65, 64, 62] * 2, key="C major")
    >>> measure(scale)["step_share"]
    1.0
    """
    if not isinstance(melody, Base | Line):
        checked(melody)
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

    Raises
    ------
    UnknownNameError
        If there is no such feature.
    """
    if name not in CATALOG:
        raise UnknownNameError.among("feature", str(name), list(CATALOG))
    line = melody if isinstance(melody, Line) else Line(melody, start, stop)
    return CATALOG[name].where(line)

"""The habits: groups of features read together, the side that shows each, and its clearest place.

The statistic itself lives with the profile (it needs a sample); here is what belongs to the dictionary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Feature, has
from stylemeter.features.degrees import pentatonic_notes
from stylemeter.features.intervals import RUN_NOTES
from stylemeter.features.line import Line
from stylemeter.features.motif import motif_notes

__all__ = ["HABITS", "Habit", "Member", "clearest_stretch"]

Amounts = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Member:
    """A feature of a habit: +1 where a high value shows it, -1 where a low one does; how often it counts."""

    name: str
    side: int
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Habit:
    """A habit.

    Attributes
    ----------
    name : str
    members : tuple of Member
    amount : callable
        `Line -> ndarray of shape (n_notes,)`: how much each note shows it.
    needs_key : bool
        Whether the place can be told only with a key that has a mode.
    """

    name: str
    members: tuple[Member, ...]
    amount: Callable[[Line], Amounts]
    needs: tuple[str, ...] = ()


def _members(text: str) -> tuple[Member, ...]:
    """Read ``"name+ name- name+2"``."""
    found = []
    for word in text.split():
        name, sign, weight = word.rpartition("+") if "+" in word else word.rpartition("-")
        found.append(Member(name, 1 if sign == "+" else -1, float(weight or 1)))
    return tuple(found)


def _runs(line: Line) -> Amounts:
    starts, lengths = line.scale_runs
    long = lengths >= RUN_NOTES
    return line.mark(starts[long], lengths[long]).astype(float)


def _stepwise(line: Line) -> Amounts:
    amount = np.zeros(line.n)
    half = np.where(line.step, 0.5, np.where(line.base.skip[line.start : line.start + line.m] | line.leap, -0.5, 0.0))
    amount[:-1] += half
    amount[1:] += half
    return amount


def _root(line: Line) -> Amounts:
    if line.melody.rhythm_known:
        place = line.on_beat.copy()
        place[line.phrase_last] = True
    else:
        place = np.ones(line.n, dtype=bool)
    return np.where(place, np.where(line.degree == 0, 1.0, -0.3), 0.0)


def _scale(line: Line) -> Amounts:
    return np.where(pentatonic_notes(line), 1.0, -3.0)


def _rhythm(line: Line) -> Amounts:
    amount = np.zeros(line.n)
    # a note's IOI against the one before it; the first note and the last have none to compare
    amount[1:-1] = np.where(line.ioi[1:] == line.ioi[:-1], 1.0, -1.5)
    return amount


def _space(line: Line) -> Amounts:
    amount = np.zeros(line.n)
    wait = line.ioi / line.beat[:-1]
    amount[:-1] = np.where(wait <= 1, 1.0, -2 * (wait - 1))
    return amount


def _same_lick(line: Line) -> Amounts:
    """Notes of figures that come again note for note, at any pitch, against those that don't."""
    return np.where(motif_notes(line), 1.0, -1.0)


#: The habits in the order they are reported.
HABITS: dict[str, Habit] = {
    h.name: h
    for h in (
        Habit("runs", _members("scale_run_share+ longest_scale_run+ direction_change_rate- motif_coverage-"), _runs),
        Habit("stepwise", _members("step_share+ leap_share- skip_share- mean_interval- step_inertia-"), _stepwise),
        Habit("root", _members("strong_beat_root_share+2 root_share+ phrase_end_root_share+"), _root, ("key",)),
        Habit(
            "scale",
            _members("pentatonic_share+ pitch_class_count- degree_entropy- chromatic_share-"),
            _scale,
            ("key", "mode"),
        ),
        Habit(
            "rhythm",
            _members("commonest_value_share+ commonest_ioi_share+ note_value_entropy- ioi_entropy- npvi-"),
            _rhythm,
        ),
        Habit(
            "space",
            _members("rest_fraction- breaths_per_bar- longest_stream+ empty_beat_share- waiting_share-"),
            _space,
        ),
        Habit("same_lick", _members("motif_coverage+2 lz_complexity- rhythm_figure_coverage+"), _same_lick),
    )
}


def clearest_stretch(habit: Habit, line: Line) -> tuple[int, int] | None:
    """Find the stretch of notes that shows a habit most clearly.

    Returns
    -------
    (start, stop) or None
        Notes, relative to the line; the greatest sum of amount less its mean over the line. None where the habit
        needs a key the melody does not have, or where no note stands out.
    """
    if line.n < 2 or not all(has(line, need) for need in habit.needs):  # type: ignore[arg-type]
        return None
    amount = habit.amount(line)
    total = np.concatenate(([0.0], np.cumsum(amount - amount.mean())))
    lowest = np.minimum.accumulate(total)
    gain = total - lowest
    stop = int(gain.argmax())
    if gain[stop] <= 1e-9:
        return None
    start = int(total[:stop].argmin())
    return start, stop


def habit_of(feature: Feature | str) -> str | None:
    """Name of the habit a feature speaks for."""
    name = feature if isinstance(feature, str) else feature.name
    return next((h.name for h in HABITS.values() if any(m.name == name for m in h.members)), None)

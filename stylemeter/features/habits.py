"""The habits: groups of features read together, the side that shows each, and its clearest place.

The statistic itself lives with the profile (it needs a sample); here is what belongs to the dictionary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import MINIMUM_NOTES, Feature, Need, has
from stylemeter.features.degrees import pentatonic_notes
from stylemeter.features.line import Line
from stylemeter.features.motif import motif_notes
from stylemeter.features.scale_use import SEVEN_NOTES

__all__ = [
    "HABITS",
    "SCANS",
    "Habit",
    "Member",
    "Scan",
    "best_stretch",
    "dose",
    "habit_of",
    "scan",
    "scan_totals",
    "speaking_notes",
    "stretches_of",
]

Scores = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Member:
    """A feature of a habit: +1 where a high value shows it, -1 where a low one does; how often it counts."""

    name: str
    side: int
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Scan:
    """A search for the stretch that shows a habit most.

    Attributes
    ----------
    name : str
    score : callable
        `Line -> ndarray of shape (n_notes,)`, or a row of them for each of several readings: what each note adds to a
        stretch, below 0 where it breaks the habit.
    needs : tuple of str
        Columns the melody must have.
    """

    name: str
    score: Callable[[Line], Scores]
    needs: tuple[Need, ...] = ()


@dataclass(frozen=True, slots=True)
class Habit:
    """A habit.

    Attributes
    ----------
    name : str
    members : tuple of Member
        What shows it over the whole of a solo.
    scans : tuple of Scan
        What shows it in a part.
    """

    name: str
    members: tuple[Member, ...]
    scans: tuple[Scan, ...]


def _members(text: str) -> tuple[Member, ...]:
    """Read ``"name+ name- name+2"``."""
    found = []
    for word in text.split():
        name, sign, weight = word.rpartition("+") if "+" in word else word.rpartition("-")
        found.append(Member(name, 1 if sign == "+" else -1, float(weight or 1)))
    return tuple(found)


#: What a note that breaks a habit takes from a stretch: as much as this many that keep it give.
BREAK = 16.0


def _runs(line: Line) -> Scores:
    """Notes between two steps along the scale: on in one direction 1, turning or repeated -1; at a skip or leap -8."""
    way = np.where(line.degree_step, line.direction, 0)
    still = (line.k[1:] == 0) | (line.k[:-1] == 0)
    together = way[1:] * way[:-1]
    score = np.zeros(line.n)
    score[1:-1] = np.select([still, together != 0], [-1.0, together], -BREAK / 2)
    return score


def _by(line: Line, step: Bools) -> Scores:
    """Notes reached by a step 1, by repeating 0, by anything else -16."""
    score = np.zeros(line.n)
    score[1:] = np.select([line.k == 0, step], [0.0, 1.0], -BREAK)
    return score


def _stepwise(line: Line) -> Scores:
    """Notes reached by a step along the scale in use."""
    return _by(line, line.degree_step)


def _semitones(line: Line) -> Scores:
    """Notes reached by one or two semitones."""
    return _by(line, line.step)


def _root(line: Line) -> Scores:
    """Notes on a beat or at a phrase end: the root 1, another -0.8; on a strong beat (1 and 3 of 4/4) twice that.

    Without a rhythm every note counts once.
    """
    if line.melody.rhythm_known:
        place = line.on_beat + (line.melody.weight[line.start : line.stop] >= -1).astype(float)
        place[line.phrase_last] = np.maximum(place[line.phrase_last], 1.0)
    else:
        place = np.ones(line.n)
    score: Scores = place * np.where(line.degree == 0, 1.0, -0.8)
    return score


def _chord_root(line: Line) -> Scores:
    """Notes with a chord on a strong beat: the chord's root 1, another -0.8."""
    relation = line.base.chord_relation
    assert relation is not None
    has, _, above, _ = (part[line.start : line.stop] for part in relation)
    strong = (line.melody.weight[line.start : line.stop] >= -1) & has
    return np.where(strong, np.where(above == 0, 1.0, -0.8), 0.0)


def _scale(line: Line) -> Scores:
    """Of every seven-note scale: notes inside 1, outside -16; shape (n_scales, n_notes)."""
    return np.where(SEVEN_NOTES[:, line.base.pitch_class[line.start : line.stop]], 1.0, -BREAK)


def _pentatonic(line: Line) -> Scores:
    """Notes inside the pentatonic set used 1, outside -16."""
    return np.where(pentatonic_notes(line), 1.0, -BREAK)


def _rhythm(line: Line) -> Scores:
    """Notes whose time to the next is that of the note before 1, another -8."""
    score = np.zeros(line.n)
    score[1:-1] = np.where(line.ioi[1:] == line.ioi[:-1], 1.0, -BREAK / 2)
    return score


def _space(line: Line) -> Scores:
    """Beats a note takes until the next, one at most; a breath, or waiting longer than a beat, -64."""
    score = np.zeros(line.n)
    wait = line.ioi / line.beat[:-1]
    score[:-1] = np.minimum(wait, 1.0) - 4 * BREAK * ((wait > 1) | line.breath_after)
    return score


def _same_lick(line: Line) -> Scores:
    """Notes of figures that come again note for note, at any pitch 1, other notes -1."""
    return np.where(motif_notes(line), 1.0, -1.0)


#: The habits in the order they are reported.
HABITS: dict[str, Habit] = {
    h.name: h
    for h in (
        Habit(
            "runs",
            _members("degree_run_share+ longest_degree_run+ direction_change_rate- motif_coverage-"),
            (Scan("runs", _runs),),
        ),
        Habit(
            "stepwise",
            _members("degree_step_share+2 mean_move- degree_step_inertia-"),
            (Scan("stepwise", _stepwise), Scan("semitones", _semitones)),
        ),
        Habit(
            "root",
            _members("strong_beat_root_share+2 root_share+ phrase_end_root_share+"),
            (Scan("root", _root, ("key",)), Scan("chord_root", _chord_root, ("rhythm", "chords"))),
        ),
        Habit(
            "scale",
            _members("pentatonic_share+ pitch_class_count- degree_entropy- chromatic_share-"),
            (Scan("scale", _scale), Scan("pentatonic", _pentatonic, ("key", "mode"))),
        ),
        Habit(
            "rhythm",
            _members("commonest_value_share+ commonest_ioi_share+ note_value_entropy- ioi_entropy- npvi-"),
            (Scan("rhythm", _rhythm, ("rhythm",)),),
        ),
        Habit(
            "space",
            _members("rest_fraction- breaths_per_bar- longest_stream+ empty_beat_share- waiting_share-"),
            (Scan("space", _space, ("rhythm",)),),
        ),
        Habit(
            "same_lick",
            _members("motif_coverage+2 lz_complexity- rhythm_figure_coverage+"),
            (Scan("same_lick", _same_lick, ("rhythm",)),),
        ),
    )
}

#: Every scan, in the order of the habits.
SCANS: dict[str, Scan] = {scan.name: scan for habit in HABITS.values() for scan in habit.scans}


def best_stretch(scores: Scores) -> tuple[float, int, int]:
    """Find the stretch with the greatest sum of scores, the first and shortest of several.

    Parameters
    ----------
    scores : ndarray of shape (n_notes,) or (n_rows, n_notes)
        Of several rows the best one's.

    Returns
    -------
    total, start, stop
        0, 0, 0 where no score is positive.

    Examples
    --------
    >>> best_stretch(np.array([1.0, -2.0, 1.0, 1.0, -1.0, 2.0, -9.0]))
    (3.0, 2, 6)
    """
    rows = np.atleast_2d(scores)
    total = np.concatenate([np.zeros((len(rows), 1)), rows.cumsum(axis=1)], axis=1)
    gain = total - np.minimum.accumulate(total, axis=1)
    row, stop = np.unravel_index(int(gain.argmax()), gain.shape)
    best = float(gain[row, stop])
    if best <= 1e-9:
        return 0.0, 0, 0
    # the last lowest point before it: a stretch does not begin with notes that add nothing
    before = total[row, :stop]
    start = int(stop) - 1 - int(before[::-1].argmin())
    return best, start, int(stop)


def _has_all(line: Line, wanted: Scan) -> bool:
    return line.n >= MINIMUM_NOTES and all(has(line, need) for need in wanted.needs)


def scan(line: Line, name: str) -> tuple[float, int, int] | None:
    """Find the stretch of a line that shows a habit most.

    Returns
    -------
    (total, start, stop) or None
        Notes relative to the line. None where the melody lacks what the scan needs, or with too few notes.
    """
    wanted = SCANS[name]
    return best_stretch(wanted.score(line)) if _has_all(line, wanted) else None


#: Stretches told at most, and the least total of a further one, as a share of the best one's.
STRETCHES = 3
FURTHER = 0.5


def stretches_of(line: Line, name: str) -> list[tuple[int, int]]:
    """Find the stretches that show a habit, the best first, each apart from those before it.

    Returns
    -------
    list of (start, stop)
        Notes relative to the line; empty where there is none.
    """
    wanted = SCANS[name]
    if not _has_all(line, wanted):
        return []
    scores = np.atleast_2d(wanted.score(line)).copy()
    found: list[tuple[int, int]] = []
    first = 0.0
    for _ in range(STRETCHES):
        total, start, stop = best_stretch(scores)
        if total <= 0 or total < FURTHER * first:
            break
        first = first or total
        found.append((start, stop))
        # so low that no stretch reaches across
        scores[:, start:stop] = -1e6
    return found


def dose(line: Line, name: str, least: float) -> float:
    """Share of the notes in stretches that show a habit.

    Parameters
    ----------
    line : Line
    name : str
        A scan.
    least : float
        Sum of scores a stretch must have to count, 1 at the least.

    Returns
    -------
    float
        NaN where the scan can't be made. The stretches are apart, each the best of what those before it left.
    """
    wanted = SCANS[name]
    if not _has_all(line, wanted):
        return float("nan")
    scores = np.atleast_2d(wanted.score(line)).copy()
    inside = 0
    while True:
        total, start, stop = best_stretch(scores)
        if total < max(1.0, least):
            return inside / line.n
        inside += stop - start
        scores[:, start:stop] = -1e6


def speaking_notes(line: Line, name: str) -> Bools:
    """Notes that speak for a habit by a scan's own scores: those that add to its best stretch."""
    wanted = SCANS[name]
    if not _has_all(line, wanted):
        return np.zeros(line.n, dtype=bool)
    scores = np.atleast_2d(wanted.score(line))
    best = max(range(len(scores)), key=lambda row: best_stretch(scores[row])[0])
    speaking: Bools = scores[best] > 0
    return speaking


def scan_totals(line: Line) -> list[float]:
    """Greatest sums of all scans, NaN where there is none: the line's own place in the scans' distributions."""
    found = (scan(line, name) for name in SCANS)
    return [float("nan") if f is None else f[0] for f in found]


def habit_of(feature: Feature | str) -> str | None:
    """Name of the habit a feature speaks for."""
    name = feature if isinstance(feature, str) else feature.name
    return next((h.name for h in HABITS.values() if any(m.name == name for m in h.members)), None)

"""The line's notes laid on ticks, one after the other, and their ties joined.

A tie joins two notes of one pitch where one ends as the other begins, and one end of it will do: editors leave the
other out. A tie to another pitch, or to nothing, joins nothing and is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from stylemeter.errors import LimitError
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.line import LineNote
from stylemeter.reading.musicxml.walk import Walk

__all__ = ["Heard", "hear", "join_ties"]

_LOOSE = "joining no two notes of one pitch left out"


@dataclass(slots=True)
class Heard:
    """A note on ticks: written pitch, the line's notes it is made of, ties to its neighbours."""

    onset: int
    duration: int
    pitch: float
    members: list[int]
    starts: bool
    stops: bool

    @property
    def end(self) -> int:
        """Tick at which it ends."""
        return self.onset + self.duration


@dataclass(slots=True)
class _Group:
    """Notes of the line that start together, in one bar, ticks from its start."""

    bar: int
    at: int
    length: int
    members: list[int]


def hear(walked: Walk, notes: Sequence[LineNote]) -> list[Heard]:
    """Lay the line on ticks.

    Parameters
    ----------
    walked : Walk
        With its bars laid.
    notes : sequence of LineNote
        In order.

    Returns
    -------
    list of Heard
        In order, notes that start together from low to high; ties not yet joined.

    Raises
    ------
    LimitError
        If there are too many notes.
    """
    if len(notes) > limits.NOTES_MAX:
        raise LimitError(f"{len(notes)} notes", mend=f"the limit is {limits.NOTES_MAX}")
    return [
        Heard(
            walked.tick(group.bar, 0) + group.at,
            group.length,
            notes[index].pitch,
            [index],
            starts=_tied(notes[index], "start"),
            stops=_tied(notes[index], "stop"),
        )
        for group in _groups(walked, notes)
        for index in sorted(group.members, key=lambda i: notes[i].pitch)
    ]


def _groups(walked: Walk, notes: Sequence[LineNote]) -> list[_Group]:
    """Group notes by onset; a note that runs into the next one of its voice ends there."""
    groups: list[_Group] = []
    for index, note in enumerate(notes):
        stroke = note.stroke
        start = walked.tick(stroke.bar, 0)
        at = walked.tick(stroke.bar, stroke.at) - start
        if Fraction(walked.bars[stroke.bar].start + stroke.at).denominator > 1:
            walked.found.add("onset", f"off the grid of {TICKS} ticks a quarter rounded to it", stroke.bar)
        end = walked.tick(stroke.bar, stroke.at + stroke.length) - start
        last = groups[-1] if groups else None
        if last and (last.bar, last.at) == (stroke.bar, at):
            if any(notes[i].pitch == note.pitch for i in last.members):
                walked.found.add("note", "doubled at its own pitch counted once", stroke.bar)
                continue
            last.members.append(index)
            continue
        if last and last.bar == stroke.bar and last.at + last.length > at:
            last.length = at - last.at
            walked.found.add("note", "running into the next one cut short", stroke.bar)
        groups.append(_Group(stroke.bar, at, max(1, end - at), [index]))
    return groups


def _tied(note: LineNote, kind: str) -> bool:
    """Whether a note's own element has a tie of a kind, sounding or only drawn."""
    element = note.stroke.element
    return any(t.get("type") == kind for path in ("tie", "notations/tied") for t in element.iterfind(path))


def join_ties(heard: Sequence[Heard], walked: Walk, notes: Sequence[LineNote]) -> list[Heard]:
    """Join tied notes: same pitch, one starting where the other ends, one end of a tie at the least.

    A tie to another pitch, or to nothing, joins nothing and is counted.
    """
    joined: list[Heard] = []
    sounding: dict[float, Heard] = {}
    for note in heard:
        bar = notes[note.members[0]].stroke.bar
        before = sounding.get(note.pitch)
        meets = before is not None and before.end == note.onset and (before.starts or note.stops)
        if before is not None and meets:
            if not (before.starts and note.stops):
                walked.found.add("tie", "with one end missing joined all the same", bar)
            before.duration += note.duration
            before.members += note.members
            before.starts = note.starts
            continue
        leads_here = bool(joined) and joined[-1].starts and joined[-1].end == note.onset
        if (note.stops and not leads_here) or (before is not None and before.starts):
            walked.found.add("tie", _LOOSE, bar)
        sounding[note.pitch] = note
        joined.append(note)
    for note in sounding.values():
        if note.starts:
            last = notes[note.members[-1]].stroke.bar
            walked.found.add("tie", _LOOSE, last)
    return joined

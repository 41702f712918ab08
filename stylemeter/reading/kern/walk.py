"""From the rows of a Humdrum piece to its kern spines: when what sounds, and where the bar lines stand.

Conventions: a column's time runs by its own note lengths, so one spine needs no other; of a spine that splits the
leading column is its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from stylemeter.errors import InputError, LimitError
from stylemeter.music.melody import Key
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.draft.ties import TiedLine
from stylemeter.reading.intake import limits
from stylemeter.reading.kern.cells import KernNote, read_cell, read_key, read_meter, read_signature, read_tempo
from stylemeter.reading.kern.spines import Cell, Column, Row

__all__ = ["Spine", "walk"]

#: Kinds of spines that hold chord names.
CHORD_SPINES = frozenset({"**mxhm", "**harte"})
_SECTION = re.compile(r":|\|\||==|!\|?|\|!")
_METER_LIKE = re.compile(r"\*M[\d+X]")
#: Not ``*ITr``, which says how an instrument transposes.
_NAME = re.compile(r'\*I"?(?!Tr)([A-Za-z].*)')


@dataclass(slots=True)
class Spine:
    """A kern spine: its notes, and what its other cells say."""

    name: str = ""
    notes: TiedLine = field(default_factory=TiedLine)
    lines: list[int] = field(default_factory=list)
    sections: set[int] = field(default_factory=set)
    meters: list[Meter] = field(default_factory=list)
    keys: list[tuple[int, Key]] = field(default_factory=list)
    signature: int | None = None
    tempo: float | None = None
    phrase_ends: list[int] = field(default_factory=list)
    drums: bool = False
    end: int = 0
    found: Findings = field(default_factory=Findings)
    said: list[str] = field(default_factory=list)


class _Walk:
    """The state between rows."""

    def __init__(self) -> None:
        self.spines: dict[int, Spine] = {}
        self.free: dict[Column, int] = {}
        self.chords: list[tuple[int, str, str]] = []
        self.unplaced = 0
        self.now = 0

    def row(self, row: Row) -> None:
        """Take one row."""
        for new, old in row.origins:
            self.free[new] = max(self.free.get(new, 0), self.free.get(old, self.now))
        starts = [tick for cell in row.cells if (tick := self._kern(cell, row.line)) is not None]
        if starts:
            self.now = max(starts)
        for cell in row.cells:
            if cell.column.kind in CHORD_SPINES and _is_data(cell.text):
                if starts:
                    self.chords.append((self.now, cell.column.kind, cell.text))
                else:
                    self.unplaced += 1

    def _kern(self, cell: Cell, line: int) -> int | None:
        """Take a cell of a kern spine; returns the tick at which it starts a note."""
        if cell.column.kind != "**kern":
            return None
        spine = self.spines.setdefault(cell.column.spine, Spine())
        at = self.free.setdefault(cell.column, self.now)
        if cell.text.startswith("="):
            if cell.column.leads:
                self._bar(spine, cell.text, at)
        elif cell.text.startswith("*"):
            self._interpretation(spine, cell.text, at)
        elif _is_data(cell.text):
            return self._note(spine, cell, at, line)
        return None

    def _bar(self, spine: Spine, text: str, at: int) -> None:
        """A bar line."""
        if len(spine.lines) > 2 * limits.BARS_MAX:
            raise LimitError(f"more than {limits.BARS_MAX} bars", mend="split the file")
        spine.lines.append(at)
        if _SECTION.search(text):
            spine.sections.add(at)

    def _note(self, spine: Spine, cell: Cell, at: int, line: int) -> int | None:
        """A note, chord or rest."""
        try:
            note = read_cell(cell.text)
        except InputError as error:
            raise error.at(f"line {line}") from None
        if note.grace:
            spine.found.add("grace note", "left out", at, max(1, len(note.pitches)))
            return None
        self.free[cell.column] = at + note.ticks
        if not note.exact:
            spine.found.add("length", "rounded to the nearest tick", at)
        if not cell.column.leads:
            if note.pitches:
                spine.found.add("note", "of a second voice left out", at, len(note.pitches))
            return at
        spine.end = max(spine.end, at + note.ticks)
        if spine.end > limits.TICKS_MAX or len(spine.notes) > limits.NOTES_MAX:
            raise LimitError(f"longer than {limits.NOTES_MAX} notes", where=f"line {line}", mend="split the file")
        # a phrase that begins ends the one before, where no sign did
        if note.begins and len(spine.notes):
            spine.phrase_ends.append(at - 1)
        if note.ends:
            spine.phrase_ends.append(at)
        _sound(spine, note, at)
        return at

    def _interpretation(self, spine: Spine, text: str, at: int) -> None:
        """Key, meter, tempo, instrument."""
        if meter := read_meter(text):
            spine.meters.append(Meter(at, *meter))
        elif key := read_key(text):
            spine.keys.append((at, key))
        elif (sharps := read_signature(text)) is not None:
            spine.signature = sharps if spine.signature is None else spine.signature
        elif (tempo := read_tempo(text)) is not None:
            spine.tempo = spine.tempo or tempo
        elif _METER_LIKE.match(text):
            spine.said.append(f"{text[:20]} is not a meter: passed over")
        elif text.startswith("*clefX"):
            spine.drums = True
        elif found := _NAME.fullmatch(text):
            spine.name = found[1][: limits.TEXT_MAX] if '"' in text or not spine.name else spine.name


def _is_data(text: str) -> bool:
    """Whether a cell starts something."""
    return bool(text) and text != "." and text[0] not in "*=!"


def _sound(spine: Spine, note: KernNote, at: int) -> None:
    """Add the notes of a cell."""
    if note.pitches:
        lost, hidden = spine.notes.sound(at, note.ticks, note.pitches, note.tied)
    else:
        lost, hidden = spine.notes.silence(), 0
    if lost:
        spine.found.add("tie", "to another pitch or a rest left out", at, lost)
    if hidden:
        spine.found.add("note", "under a held one left out", at, hidden)


def walk(rows: Iterable[Row]) -> tuple[list[Spine], list[tuple[int, str, str]], int]:
    """Read the rows of a piece.

    Returns
    -------
    spines : list of Spine
        Its kern spines from left to right.
    chords : list of (tick, kind of spine, text)
    unplaced : int
        Chords in rows where no note starts: nobody can say when they fall.

    Raises
    ------
    InputError
        If a cell is no note; LimitError if it is absurdly long.
    """
    state = _Walk()
    for row in rows:
        state.row(row)
    return [state.spines[i] for i in sorted(state.spines)], state.chords, state.unplaced

"""Reads text tablature: four to eight strings of dashes and frets, with rhythm letters or without.

Conventions: see `tuning` for the strings, `strokes` for the signs, `rhythm` for the time. Bars are read
as written, repeats once. Without rhythm letters a bar of tablature is a bar of the meter, its rhythm guessed from the
spacing; durations are then unknown. Other lines (words, chord names, comments) are passed over, but for "Tuning:",
"Capo 3", "Time: 3/4", "Tempo: 120", "Key: Am" and "Title:".
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from stylemeter.errors import InputError, LimitError, StylemeterError
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Key, Melody
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build, count_words
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake.limits import BARS_MAX, NOTES_MAX, TEXT_MAX
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.tab.rhythm import BAR_COLUMNS, Letter, by_letters, by_spacing, letters_near
from stylemeter.reading.tab.strokes import Column, Stroke, columns_of
from stylemeter.reading.tab.systems import System, TabBar, find_systems
from stylemeter.reading.tab.tuning import capo_of, strings_of
from stylemeter.support.decoding import decode

__all__ = ["read"]

#: Ticks of a column where there are no bar lines to go by: an eighth note.
_EVEN = TICKS // 2
#: Bar lengths in quarter notes -> the meter they are taken for where none is said.
_METERS = {2: "2/4", 3: "3/4", 5: "5/4", 6: "6/4"}
_SAID = re.compile(r"\s*(title|tempo|key|time|meter|metre|time signature|bpm)\s*[:=]\s*(.+)", re.IGNORECASE)
_WRITTEN = {"&nbsp;": " ", "&lt;": "<", "&gt;": ">", "&amp;": "&", "&#124;": "|"}
#: Dashes, the minus sign and the lines of drawn boxes, as word processors and forums put them for hyphens and bars.
_DASHES = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u2500\u2501", "-") | dict.fromkeys("\u2502\u2503", "|")
)
_MENDED = {
    "bend": ("bend", "without a target read as a whole step"),
    "digits": ("run", "of digits without a gap read as several frets or one of two digits"),
    "harmonic": ("harmonic", "at an unusual fret read as that fret"),
}


@dataclass(slots=True)
class _Take:
    """What has been read so far."""

    open: tuple[float, ...]
    notes: list[RawNote] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)
    found: Counter[str] = field(default_factory=Counter)
    last: dict[int, float] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    now: int = 0
    guessed: int = 0

    def sounding(self, column: Column) -> list[Stroke]:
        """Strokes with a pitch that begin in a column."""
        return [s for s in column.strokes if s.rise is not None and not s.held]

    def add(self, column: Column, onset: int, duration: int | None) -> None:
        """Add the notes of a column; what is held there goes on sounding."""
        for stroke in self.sounding(column):
            pitch = self.open[stroke.string] + (stroke.rise or 0.0)
            self.notes.append(RawNote(onset, duration, pitch, stroke.technique))
            self.guessed += duration is None
        held = [s for s in column.strokes if s.held]
        if held and not self.sounding(column) and duration is not None and self.notes:
            last = self.notes[-1]
            if last.duration is not None and last.onset + last.duration == onset:
                self.notes[-1] = replace(last, duration=last.duration + duration)


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the melody of a text tablature.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `meter` applies where the rhythm has to be guessed, `tempo` where the file tells none.

    Returns
    -------
    list of Melody
        One.

    Raises
    ------
    InputError
        With the line, and what is wrong there.
    """
    lines = [_plain(line) for line in decode(data).replace("\r\n", "\n").replace("\r", "\n").split("\n")]
    systems, remarks = find_systems(lines)
    texts = _texts(lines, systems)
    said = {m[1].lower(): m[2].strip() for text in texts if (m := _SAID.fullmatch(text.rstrip()))}
    labels = next((s.labels for s in systems if all(s.labels)), systems[0].labels)
    strings, capo = strings_of(labels, texts), capo_of(texts)
    take = _Take(tuple(pitch + capo for pitch in strings.open), remarks=[*remarks, *strings.remarks])
    if capo:
        take.remarks.append(f"capo on fret {capo}: frets counted from it")
    meter, told = _meter(said, options)
    for system in systems:
        _system(take, system, lines, meter)
        if len(take.notes) > NOTES_MAX or len(take.spans) > BARS_MAX:
            raise LimitError(f"more than {NOTES_MAX} notes or {BARS_MAX} bars", mend="cut the file")
    if any(system.repeats for system in systems):
        take.remarks.append("repeats read once, as written")
    meters = [meter] if told else _meters_of(take)
    draft = Draft(
        notes=take.notes,
        meters=meters,
        spans=take.spans,
        key=_key(said, take.remarks),
        tempo=_tempo(said, options),
        title=said.get("title", "")[:TEXT_MAX],
        source="tab",
        guessed_share=take.guessed / len(take.notes) if take.notes else 0.0,
    )
    draft.remarks.extend([*take.remarks, *_told(take)])
    return [build(draft)]


def _plain(line: str) -> str:
    """A line as it was typed: web pages' signs for blanks and brackets, tab characters, other dashes and bars."""
    for name, sign in _WRITTEN.items():
        line = line.replace(name, sign)
    line = line.replace("\u00a0", " ").expandtabs(8)
    # Where hyphens stand too, a long dash may be two of them run together: its width isn't known.
    return line if "-" in line else line.translate(_DASHES)


def _texts(lines: Sequence[str], systems: Sequence[System]) -> list[str]:
    """Lines that aren't strings."""
    strings = {number for system in systems for number in range(system.line, system.last_line + 1)}
    return [line[:TEXT_MAX] for number, line in enumerate(lines, 1) if number not in strings and line.strip()]


def _meter(said: dict[str, str], options: ReadOptions) -> tuple[Meter, bool]:
    """The meter, and whether anybody told it."""
    if options.meter is not None:
        return parse_meter(options.meter), True
    text = next((said[name] for name in ("time", "meter", "metre", "time signature") if name in said), "")
    found = re.match(r"\d{1,2}\s*/\s*\d{1,2}", text)
    if not found:
        return Meter(0, 4, 4), False
    try:
        return parse_meter(found[0]), True
    except StylemeterError as error:
        raise InputError(error.what, where="Time:", mend=error.mend) from None


def _meters_of(take: _Take) -> list[Meter]:
    """The meter of lettered bars that are all of one other length; none where 4/4 will do."""
    lengths = Counter(length for _, length in take.spans)
    length, count = lengths.most_common(1)[0] if lengths else (0, 0)
    name = _METERS.get(length // TICKS) if length % TICKS == 0 else None
    if name is None or take.guessed or count * 2 <= len(take.spans):
        return []
    take.remarks.append(f"no meter given: {name} taken from the length of the bars; say it with --meter")
    return [parse_meter(name)]


def _system(take: _Take, system: System, lines: Sequence[str], meter: Meter) -> None:
    """Read one system."""
    columns = [columns_of(bar, take.found, take.last) for bar in system.bars]
    places = [bar.column + c.column for bar, struck in zip(system.bars, columns, strict=True) for c in struck]
    letters = letters_near(lines, system, places)
    for place, (bar, struck) in enumerate(zip(system.bars, columns, strict=True), 1):
        own = [x for x in letters if bar.column - 1 <= x.column < bar.column + bar.width]
        if letters:
            _lettered(take, bar, struck, own, meter, f"line {system.line}, bar {place} of the system")
        elif len(system.bars) == 1 and len(struck) > BAR_COLUMNS // 2:
            _even(take, struck, meter)
        else:
            _spaced(take, bar, struck, meter)


def _lettered(
    take: _Take, bar: TabBar, struck: Sequence[Column], letters: Sequence[Letter], meter: Meter, where: str
) -> None:
    """A bar whose rhythm is told."""
    timed = by_letters([column.column for column in struck], bar, letters, where)
    remaining = iter(struck)
    for onset, length, sounds in timed:
        if sounds:
            take.add(next(remaining), take.now + onset, length)
    length = timed[-1][0] + timed[-1][1] if timed else meter.bar
    take.spans.append((take.now, length))
    take.now += length


def _spaced(take: _Take, bar: TabBar, struck: Sequence[Column], meter: Meter) -> None:
    """A bar whose rhythm is guessed from the spacing."""
    onsets = by_spacing([column.column for column in struck], bar.width, meter) if struck else []
    for column, onset in zip(struck, onsets, strict=True):
        take.add(column, take.now + onset, None)
    take.spans.append((take.now, meter.bar))
    take.now += meter.bar


def _even(take: _Take, struck: Sequence[Column], meter: Meter) -> None:
    """A system without bar lines: even eighths."""
    take.found["even"] += 1
    for place, column in enumerate(struck):
        take.add(column, take.now + place * _EVEN, None)
    bars = -(-len(struck) * _EVEN // meter.bar)
    take.spans += [(take.now + i * meter.bar, meter.bar) for i in range(bars)]
    take.now += bars * meter.bar


def _told(take: _Take) -> list[str]:
    """What was guessed, mended or left out."""
    told = []
    if take.guessed:
        share = "rhythm" if take.guessed == len(take.notes) else f"rhythm of {count_words(take.guessed, 'note')}"
        told.append(f"{share} guessed from the spacing: write letters (W H Q E S T) over the notes to say it")
    if take.found["even"]:
        systems = count_words(take.found["even"], "system")
        told.append(f"{systems} without bar lines read as even eighth notes")
    if take.found["dead"]:
        told.append(f"{count_words(take.found['dead'], 'dead note')} left out")
    told += [f"{count_words(take.found[k], one)} {what}" for k, (one, what) in _MENDED.items() if take.found[k]]
    return told


def _key(said: dict[str, str], remarks: list[str]) -> Key | None:
    """The key the file names."""
    if "key" not in said:
        return None
    try:
        return parse_key(said["key"], "declared")
    except StylemeterError:
        remarks.append(f"key {said['key'][:40]!r} not understood; give it with --key")
        return None


def _tempo(said: dict[str, str], options: ReadOptions) -> float | None:
    """Quarter notes a minute, from the user or the file."""
    if options.tempo is not None:
        return options.tempo
    found = re.search(r"\d{2,3}", said.get("tempo", said.get("bpm", "")))
    return float(found[0]) if found else None

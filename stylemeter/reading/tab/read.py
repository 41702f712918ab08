"""Reads text tablature: four to eight strings of dashes and frets, with a rhythm or without.

Conventions: see `lines` for what is mended first, `tuning` for the strings, `strokes` for the signs, `rhythm` and
`spacing` for the time, `heading` for the words. Bars are read as written, repeats once. Without rhythm letters a bar of
tablature is a bar of the meter, its rhythm counted or guessed from the spacing; durations are then unknown. Where bar
lines make no sense either, notes are laid evenly, a line of tablature a bar, and the rhythm is not known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from stylemeter.errors import InputError, LimitError
from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.melody import Chord, Melody
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build, count_words
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake.limits import BARS_MAX, NOTES_MAX, TEXT_MAX
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.tab.heading import Player, heading_of, players_of
from stylemeter.reading.tab.lines import typed_lines
from stylemeter.reading.tab.rhythm import (
    by_counts,
    by_letters,
    counted_meter,
    counts_near,
    letters_near,
    lines_near,
)
from stylemeter.reading.tab.spacing import Spaced, by_spacing, make_sense
from stylemeter.reading.tab.strokes import Column, Stroke, columns_of
from stylemeter.reading.tab.systems import System, TabBar, find_systems
from stylemeter.reading.tab.tuning import TURNED, capo_of, strings_of
from stylemeter.support.decoding import decode

__all__ = ["read"]

#: Ticks of a column where there is no rhythm to go by: an eighth note.
_EVEN = TICKS // 2
#: Bar lengths in quarter notes -> the meter they are taken for where none is said.
_METERS = {2: "2/4", 3: "3/4", 5: "5/4", 6: "6/4"}
_MENDED = {
    "bend": ("bend", "without a target read as a whole step"),
    "digits": ("run", "of digits without a gap read as several frets or one of two digits"),
    "harmonic": ("harmonic", "at an unusual fret read as that fret"),
}
#: Columns from a bar's line to a chord name that holds from it.
_AT_LINE = 2


@dataclass(slots=True)
class _Bar:
    """A bar of the part that is read: what is struck in it, and when, once that is known.

    `onsets` and `length` are in ticks from the bar's start; `lengths` are None where nobody says how long notes last.
    `rests` are the (onset, length) of letters without a fret, by which a held note goes on.
    """

    bar: TabBar
    struck: list[Column]
    system: System
    alone: bool
    where: str
    chords: list[tuple[int, str]]
    onsets: tuple[int, ...] | None = None
    lengths: tuple[int | None, ...] = ()
    length: int = 0

    @property
    def spaced(self) -> Spaced:
        """The bar as the guess by spacing takes it."""
        return Spaced(tuple(column.column for column in self.struck), self.bar.width)

    def lay(self, onsets: Sequence[int], lengths: Sequence[int | None], length: int) -> None:
        """Say when its columns sound."""
        self.onsets, self.lengths, self.length = tuple(onsets), tuple(lengths), length


@dataclass(slots=True)
class _Take:
    """What has been read so far."""

    open: tuple[float, ...]
    turned: bool
    notes: list[RawNote] = field(default_factory=list)
    now: int = 0

    def add(self, bar: _Bar) -> None:
        """Add the notes of a bar; what is held there goes on sounding."""
        for column, onset, length in zip(bar.struck, bar.onsets or (), bar.lengths, strict=True):
            sounding = [s for s in column.strokes if s.rise is not None and not s.held]
            self.notes += [self._note(stroke, self.now + onset, length) for stroke in sounding]
            held = any(s.held for s in column.strokes) and not sounding
            if held and length is not None and self.notes:
                last = self.notes[-1]
                if last.duration is not None and last.onset + last.duration == self.now + onset:
                    self.notes[-1] = replace(last, duration=last.duration + length)
        self.now += bar.length

    def _note(self, stroke: Stroke, onset: int, length: int | None) -> RawNote:
        """A stroke as a note."""
        string = len(self.open) - stroke.string if self.turned else stroke.string + 1
        pitch = self.open[stroke.string] + (stroke.rise or 0.0)
        return RawNote(onset, length, pitch, stroke.technique, string=string, fret=stroke.fret)


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the melody of a text tablature.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `part` chooses among several players, `meter` applies where the rhythm has to be guessed, `tempo` where the
        file tells none.

    Returns
    -------
    list of Melody
        One.

    Raises
    ------
    InputError
        With the line, and what is wrong there.
    UnknownNameError
        If no part is called as asked for.
    """
    lines = typed_lines(decode(data))
    systems, remarks = find_systems(lines)
    over, others = _texts(lines, systems)
    name, systems, found = _part(lines, systems, options)
    remarks += found
    heading = heading_of(over, others)
    labels = next((s.labels for s in systems if all(s.labels)), systems[0].labels)
    strings, capo = strings_of(labels, [*over, *others]), capo_of([*over, *others])
    remarks += [*strings.remarks, *heading.remarks]
    take = _Take(tuple(pitch + capo for pitch in strings.open), TURNED in strings.remarks)
    mended: Counter[str] = Counter()
    told = parse_meter(options.meter) if options.meter is not None else heading.meter
    bars = _bars(systems, lines, mended)
    meter, rhythm = _time(bars, lines, told, remarks)
    if capo:
        remarks.append(f"capo on fret {capo}: frets counted from it")
    chords = None if rhythm == "unknown" else _chords(bars)
    if capo and chords:
        remarks.append("chord names left out: with a capo they may be shapes or sounds; give them with --chords")
        chords = None
    for bar in bars:
        take.add(bar)
    if any(system.repeats for system in systems):
        remarks.append("repeats read once, as written")
    guessed = sum(len(b.struck) for b in bars if rhythm == "guessed" and None in b.lengths)
    struck = sum(len(b.struck) for b in bars)
    return [
        build(
            Draft(
                notes=take.notes,
                meters=[meter] if told or rhythm == "unknown" else _meters_of(bars, meter, remarks),
                spans=_spans(bars),
                pickup=rhythm != "unknown",
                key=heading.key,
                chords=chords,
                tuning=[round(pitch) for pitch in (take.open if take.turned else take.open[::-1])],
                tempo=options.tempo if options.tempo is not None else heading.tempo,
                title=heading.title,
                part=name,
                source="tab",
                rhythm_known=rhythm != "unknown",
                guessed_share=guessed / struck if struck else 0.0,
                remarks=[*remarks, *_told(mended)],
            )
        )
    ]


def _texts(lines: Sequence[str], systems: Sequence[System]) -> tuple[list[str], list[str]]:
    """Lines that aren't strings: those over the first system, and the others."""
    strings = {number for system in systems for number in range(system.line, system.last_line + 1)}
    first = systems[0].line
    texts = [(n, line[:TEXT_MAX]) for n, line in enumerate(lines, 1) if n not in strings and line.strip()]
    return [t for n, t in texts if n < first], [t for n, t in texts if n > first]


def _part(lines: Sequence[str], systems: Sequence[System], options: ReadOptions) -> tuple[str, list[System], list[str]]:
    """Name and systems of the part to read, and what has to be told of the choice.

    Systems are for whom the words over them name, till others are named; a system of other strings is another
    instrument's.
    """
    owners: dict[tuple[tuple[str, int], int], list[System]] = {}
    names: dict[tuple[tuple[str, int], int], str] = {}
    now: tuple[Player, ...] = ()
    above = 0
    for system in systems:
        now = players_of(lines[above : system.line - 1]) or now
        above = system.last_line
        for player in now or (Player(("", 0), ""),):
            owner = (player.identity, len(system.labels))
            owners.setdefault(owner, []).append(system)
            names.setdefault(owner, player.name or f"{len(system.labels)} strings")
    mended: Counter[str] = Counter()
    candidates = []
    for owner, own in owners.items():
        columns = [c for s in own for bar in s.bars for c in columns_of(bar, mended)]
        pitched = [len([s for s in c.strokes if s.rise is not None and not s.held]) for c in columns]
        chordal = sum(n > 1 for n in pitched) * 2 > max(1, len(pitched))
        bass = owner[1] == 4 or owner[0][0] == "bass"
        candidates.append(Candidate(names[owner], sum(n > 0 for n in pitched), 0.0, chordal, bass=bass))
    several = len(candidates) > 1
    if not several and not any(now):
        candidates = [replace(candidates[0], name="")]
    place, told = choose(candidates, options.part)
    return candidates[place].name if several or any(now) else "", list(owners.values())[place], told


def _bars(systems: Sequence[System], lines: Sequence[str], mended: Counter[str]) -> list[_Bar]:
    """Every bar of a part with what is struck in it."""
    bars: list[_Bar] = []
    sounded: dict[int, float] = {}
    for system in systems:
        columns = [columns_of(bar, mended, sounded) for bar in system.bars]
        names = _chord_names(lines, system)
        for place, (bar, struck) in enumerate(zip(system.bars, columns, strict=True), 1):
            own = [(c, name) for c, name in names if _holds(bar, c, place == 1)]
            where = f"line {system.line}, bar {place} of the system"
            bars.append(_Bar(bar, struck, system, len(system.bars) == 1, where, own))
        if sum(len(bar.struck) for bar in bars) > 4 * NOTES_MAX or len(bars) > BARS_MAX:
            raise LimitError(f"more than {NOTES_MAX} notes or {BARS_MAX} bars", mend="cut the file")
    return bars


def _holds(bar: TabBar, column: int, first: bool) -> bool:
    """Whether a column of the text belongs to a bar; what stands before the first one belongs to it."""
    return (first or bar.column - 1 <= column) and column < bar.column + bar.width


def _time(bars: Sequence[_Bar], lines: Sequence[str], told: Meter | None, remarks: list[str]) -> tuple[Meter, str]:
    """Say when every bar's columns sound; the meter, and whether the rhythm is "told", "guessed" or "unknown"."""
    systems = list(dict.fromkeys(bar.system for bar in bars))
    places = {
        system: [bar.bar.column + c.column for bar in bars if bar.system is system for c in bar.struck]
        for system in systems
    }
    letters = {system: letters_near(lines, system, places[system]) for system in systems}
    counts = {s: [] if letters[s] else counts_near(lines, s, places[s]) for s in systems}
    meter = told or parse_meter(counted_meter(list(counts.values())) or "4/4")
    if not told and any(counts.values()):
        remarks.append(f"no meter given: {meter} taken from the counts; say it with --meter")
    for bar in bars:
        own_letters = [x for x in letters[bar.system] if _holds(bar.bar, x.column, first=False)]
        own_counts = [x for x in counts[bar.system] if _holds(bar.bar, x.column, first=False)]
        columns = [column.column for column in bar.struck]
        if letters[bar.system]:
            timed = by_letters(columns, bar.bar, own_letters, bar.where)
            sounds = [(onset, length) for onset, length, struck in timed if struck]
            end = timed[-1][0] + timed[-1][1] if timed else meter.bar
            bar.lay([onset for onset, _ in sounds], [length for _, length in sounds], end)
        elif own_counts and (onsets := by_counts(columns, bar.bar, own_counts, meter)) is not None:
            bar.lay(onsets, [None] * len(onsets), meter.bar)
    return meter, _guess([bar for bar in bars if bar.onsets is None], bars, meter, remarks)


def _guess(open_still: Sequence[_Bar], bars: Sequence[_Bar], meter: Meter, remarks: list[str]) -> str:
    """Guess the time of the bars nothing is said of, where their lines make sense; else lay every note evenly."""
    count = sum(len(bar.struck) for bar in open_still)
    if not count:
        for bar in open_still:
            bar.lay([], [], meter.bar)
        return "told"
    every = sum(len(bar.struck) for bar in bars)
    spaced = [bar.spaced for bar in open_still]
    onsets, off = by_spacing(spaced, meter)
    barred = all(bar.system.barred for bar in open_still)
    if barred and make_sense(spaced, [bar.alone for bar in open_still], off):
        for bar, own in zip(open_still, onsets, strict=True):
            bar.lay(own, [None] * len(own), meter.bar)
        share = "rhythm" if count == every else f"rhythm of {count_words(count, 'note')}"
        remarks.append(f"{share} guessed from the spacing: write letters (W H Q E S T) over the notes to say it")
        return "guessed"
    for bar in bars:
        bar.lay([i * _EVEN for i in range(len(bar.struck))], [None] * len(bar.struck), len(bar.struck) * _EVEN)
    why = "bar lines that fit the notes" if any(bar.system.barred for bar in bars) else "bar lines"
    lines = "" if any(len(bar.system.bars) > 1 for bar in bars) else "; each line of tablature counts as a bar"
    remarks.append(
        f"rhythm not known: no rhythm letters, no counts and no {why}, so traits of rhythm, air and form are not "
        f"measured{lines}; write letters (W H Q E S T) or counts (1 e & a) over the notes"
    )
    return "unknown"


def _spans(bars: Sequence[_Bar]) -> list[tuple[int, int]]:
    """Start and length of every bar."""
    spans: list[tuple[int, int]] = []
    now = 0
    for bar in bars:
        spans.append((now, bar.length))
        now += bar.length
    return spans


def _meters_of(bars: Sequence[_Bar], meter: Meter, remarks: list[str]) -> list[Meter]:
    """The meter of lettered bars that are all of one other length; none where 4/4 will do."""
    if str(meter) != "4/4":
        return [meter]
    lengths = Counter(bar.length for bar in bars)
    length, count = lengths.most_common(1)[0] if lengths else (0, 0)
    name = _METERS.get(length // TICKS) if length % TICKS == 0 else None
    if name is None or count * 2 <= len(bars) or any(None in bar.lengths for bar in bars):
        return []
    remarks.append(f"no meter given: {name} taken from the length of the bars; say it with --meter")
    return [parse_meter(name)]


def _chord_names(lines: Sequence[str], system: System) -> list[tuple[int, str]]:
    """Chord names over or under a system: column and name; none where no line is nothing but such names."""
    for line in lines_near(lines, system):
        words = [(at, word) for at, word in _words(line) if word not in ("|", "||", "-", "/", "%")]
        if words and all(_is_chord(word) for _, word in words):
            return words
    return []


def _words(line: str) -> list[tuple[int, str]]:
    """Words of a line and where they stand."""
    found, at = [], 0
    for word in line.split():
        at = line.index(word, at)
        found.append((at, word.strip("()[]")))
        at += len(word)
    return found


def _is_chord(word: str) -> bool:
    """Whether a word is a chord symbol."""
    try:
        parse_symbol(word, 0)
    except InputError:
        return False
    return True


def _chords(bars: Sequence[_Bar]) -> list[Chord] | None:
    """Chords at the places of their names: at a bar's line, or with the first beat from the column they stand in."""
    chords: list[Chord] = []
    now = 0
    for bar in bars:
        for column, name in bar.chords:
            inside = column - bar.bar.column
            later = [o for o, c in zip(bar.onsets or (), bar.struck, strict=True) if c.column >= inside - 1]
            at = 0 if inside <= _AT_LINE or not later or (bar.onsets and later[0] == bar.onsets[0]) else later[0]
            chords.append(parse_symbol(name, now + at))
        now += bar.length
    return chords or None


def _told(mended: Counter[str]) -> list[str]:
    """What was mended or left out."""
    dead = [f"{count_words(mended['dead'], 'dead note')} left out"] if mended["dead"] else []
    return dead + [f"{count_words(mended[k], one)} {what}" for k, (one, what) in _MENDED.items() if mended[k]]

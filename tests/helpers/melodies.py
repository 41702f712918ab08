"""Melodies to compare on: made at random by hypothesis, and real ones out of music21's wheel."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from helpers.folk_abc import read_file
from hypothesis import strategies as st

from stylemeter.music.melody import Chord, Key, Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build

COMMON = ((4, 4), (3, 4), (6, 8), (9, 8), (12, 8), (5, 4), (7, 8), (2, 2), (3, 8), (2, 4), (3, 2))
RARE = ((6, 4), (5, 8), (3, 16), (10, 8), (5, 16), (1, 4), (7, 32), (7, 64), (4, 2), (15, 8))
METERS = COMMON * 3 + RARE
#: Inter-onset intervals in quarters: plain, dotted, triplet, quintuplet, septuplet, long, and two off every grid.
LENGTHS = [
    *(Fraction(v) for v in ("1/2", "1/4", "1", "1/2", "1/4", "1/8", "3/4", "3/2", "2", "3/8", "3", "4")),
    *(Fraction(v) for v in ("1/3", "2/3", "1/6", "1/5", "2/5", "1/7", "7/2", "6", "3/32", "1/32", "11/96", "1/10080")),
]
#: Sounding part of an inter-onset interval: whole, shorter by a rest, and longer (an overlap).
SOUNDING = [Fraction(part) for part in ("1", "1", "1", "1", "1/2", "1/3", "3/4", "1/10", "3/2", "3")]
STEPS = [1, -1, 2, -2, 0, 2, -2, 1, -1, 3, -3, 4, -4, 5, -7, 7, -5, 12, -12, 14]
MODES = ["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian", None]
CHORDS = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "dim7": (0, 3, 6, 9),
    "6": (0, 4, 7, 9),
}


def ticks(quarters) -> int:
    return round(quarters * TICKS)


def seldom(draw, one_in) -> bool:
    return draw(st.integers(1, one_in)) == one_in


@st.composite
def rhythms(draw, count):
    """(onsets, durations or None): some rhythms keep to few values, so that figures and bars recur."""
    palette = draw(st.lists(st.sampled_from(LENGTHS), min_size=1, max_size=draw(st.sampled_from([2, 4, 24]))))
    iois = [ticks(v) for v in draw(st.lists(st.sampled_from(palette), min_size=count, max_size=count))]
    cell = draw(st.sampled_from([0, 0, 3, 4, 6, 8]))
    if cell:
        iois = [iois[i % cell] for i in range(count)]
    pause = draw(st.sampled_from([0, 5, 6, 9]))
    if pause:
        iois = [4 * ioi if i % pause == pause - 1 else ioi for i, ioi in enumerate(iois)]
    start = draw(st.sampled_from([0, 0, 0, TICKS, 3 * TICKS // 2, TICKS // 3, 5 * TICKS]))
    onsets = [start + sum(iois[:i]) for i in range(count)]
    if seldom(draw, 7):
        return onsets, None
    parts = draw(st.lists(st.sampled_from(SOUNDING[: draw(st.sampled_from([1, 10]))]), min_size=count, max_size=count))
    return onsets, [max(1, int(ioi * part)) for ioi, part in zip(iois, parts, strict=True)]


def _walk(start, moves):
    """Follow the moves, turned back at the edges of a wide range."""
    found = [start]
    for move in moves:
        found.append(found[-1] + (move if 30 <= found[-1] + move <= 100 else -move))
    return found


@st.composite
def pitches(draw, count):
    """MIDI numbers: lines that wander, run one way, or repeat a figure; some are not whole numbers."""
    palette = STEPS[: draw(st.sampled_from([4, 9, 20]))]
    moves = draw(st.lists(st.sampled_from(palette), min_size=count - 1, max_size=count - 1))
    kind = draw(st.sampled_from(["wander", "wander", "runs", 4, 7, 8]))
    if kind == "runs":
        long = draw(st.integers(4, 9))
        moves = [abs(move) * (1 if i // long % 2 else -1) for i, move in enumerate(moves)]
    elif kind != "wander":
        moves = [moves[i % kind] for i in range(count - 1)]
    found = _walk(float(draw(st.integers(48, 72))), moves)
    if seldom(draw, 6):
        off = draw(st.lists(st.sampled_from([0.0, 0.5, -0.5, 0.25, 0.49]), min_size=count, max_size=count))
        found = [p + o for p, o in zip(found, off, strict=True)]
    return found


@st.composite
def changing_meters(draw, end):
    """Meters that may change anywhere, the first perhaps declared late."""
    halves = draw(st.lists(st.integers(0, 2 * end // TICKS + 1), unique=True, max_size=2))
    first = draw(st.sampled_from([0, 0, 3]))
    return [Meter(half * TICKS // 2, *draw(st.sampled_from(METERS))) for half in sorted({first, *halves})]


@st.composite
def printed_bars(draw, end):
    """(meters, spans): full bars, with pickups, short pairs, lone short bars, overfull bars and changes of meter.

    Or no spans, and meters that change anywhere.
    """
    if seldom(draw, 5):
        return draw(changing_meters(end)), None
    meters, spans, now = [Meter(0, *draw(st.sampled_from(METERS)))], [], 0
    while now < end:
        if spans and seldom(draw, 10):
            meters.append(Meter(now, *draw(st.sampled_from(METERS))))
        full = meters[-1].bar
        kinds = ["full"] * 12 + ["short", "pair", "over"] if spans else ["full", "short"]
        kind = draw(st.sampled_from(kinds))
        part = full * draw(st.sampled_from([1, 2, 3])) // 4
        lengths = {"full": [full], "short": [part], "pair": [part, full - part], "over": [full + part]}[kind]
        for length in lengths:
            spans.append((now, length))
            now += length
    return meters, spans


@st.composite
def chords(draw, end):
    """Chords over part of the melody, "no chord" among them, or None."""
    if draw(st.booleans()):
        return None
    found, now = [], draw(st.sampled_from([0, TICKS, 4 * TICKS]))
    while now < end:
        root = draw(st.sampled_from([None, *range(12)]))
        found.append(_chord(now, root, draw(st.sampled_from(sorted(CHORDS)))))
        now += draw(st.sampled_from([2, 4, 4, 8])) * TICKS
    return found


def _chord(onset, root, kind):
    if root is None:
        return Chord(onset, None, "N", ())
    return Chord(onset, root, kind, tuple((root + c) % 12 for c in CHORDS[kind]))


@st.composite
def marks(draw, count):
    """Technique bits, or None where the source can't say."""
    if draw(st.integers(0, 2)):
        return [None] * count
    bits = [Technique(0), Technique(0), *Technique, Technique.PRE_BEND | Technique.RELEASE]
    return draw(st.lists(st.sampled_from(bits), min_size=count, max_size=count))


@st.composite
def melodies(draw, most=56):
    """Melodies of 12 notes and more, seldom of fewer."""
    count = draw(st.integers(1, 11) if seldom(draw, 15) else st.integers(12, most))
    onsets, durations = draw(rhythms(count))
    durations = durations or [None] * count
    end = max(t + (d or 1) for t, d in zip(onsets, durations, strict=True))
    columns = zip(onsets, durations, draw(pitches(count)), draw(marks(count)), strict=True)
    meters, spans = draw(printed_bars(end))
    key = Key(draw(st.integers(0, 11)), draw(st.sampled_from(MODES)), "given")
    draft = Draft([RawNote(*row) for row in columns], meters, spans, key=key, chords=draw(chords(end)))
    return build(draft).with_key(None if seldom(draw, 8) else key)


@st.composite
def stretches(draw, melody):
    """(start, stop) of a stretch of a melody: as often as not the whole."""
    count = len(melody)
    if count < 17 or draw(st.booleans()):
        return 0, count
    start = draw(st.integers(0, count - 14))
    return start, draw(st.integers(start + 12, count))


# real tunes -----------------------------------------------------------------------------------------------------------

#: Files of each folder: fiddle tunes with pickups and repeats, songs in many meters.
FOLDERS = {
    "airdsAirs": ("book1", "book4"),
    "oneills1850": ("0101-0200", "1136-1175"),
    "essenFolksong": ("altdeu10", "ballad10", "kinder0", "irl", "test1"),
}


def corpus_folder() -> Path | None:
    """Folder of music21's own collections, inside the installed wheel."""
    spec = find_spec("music21")
    folder = Path(spec.origin).parent / "corpus" if spec and spec.origin else None
    return folder if folder and folder.is_dir() else None


def folk_melody(tune):
    """Our melody of a tune of `folk_abc`."""
    notes = [RawNote(ticks(t), ticks(d), float(p)) for t, d, p, _ in tune.notes]
    spans = [(ticks(start), ticks(length)) for start, length in tune.spans]
    key = Key(tune.tonic, tune.mode, "declared")
    return build(Draft(notes, [Meter(0, *tune.meter)], spans, key=key, title=tune.title, source="abc"))


def over_chords(melody):
    """The same melody over a made-up chord a bar, so that harmony is compared on real lines too."""
    pattern = [(0, ""), (5, "7"), (7, "dim7"), (None, ""), (9, "m")]
    found = [_chord(line, *pattern[i % 5]) for i, line in enumerate(melody.bars.line.tolist()[1:])]
    return replace(melody, chords=tuple(found) or None)


@cache
def real_melodies(count=60):
    """Evenly spaced tunes of 24 to 200 notes, the same at every run; every other one over made-up chords."""
    folder = corpus_folder()
    if folder is None:
        return []
    tunes = []
    for name, stems in FOLDERS.items():
        files = [folder / name / f"{stem}.abc" for stem in stems]
        some = [t for f in files for t in read_file(f) if t.meter and 24 <= len(t.notes) <= 200]
        wanted = count // len(FOLDERS)
        tunes += [some[i * len(some) // wanted] for i in range(wanted)]
    return [over_chords(folk_melody(t)) if i % 2 else folk_melody(t) for i, t in enumerate(tunes)]

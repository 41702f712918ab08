"""Chords as musicians and annotators write them, and how a line of chord symbols lies over the bars.

Conventions: a chord's kind is named as in `KINDS` (see `chord_kinds`). A slash bass changes neither root nor
kind; its pitch class is added at the end where the chord does not hold it. The spellings of lead-sheet symbols
are common practice, no source (C2 keeps its third, C4 does not; CΔ is a major seventh, C° a triad).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from stylemeter.errors import InputError
from stylemeter.music.chords.kinds import KINDS, LENGTH_MAX, NATURAL, chord_on, name_chord, not_a_chord
from stylemeter.music.chords.labels import parse_label
from stylemeter.music.keys import pitch_class
from stylemeter.music.melody import Chord
from stylemeter.music.meter import Bars, Meter, meter_at

__all__ = ["KINDS", "lay_chords", "parse_label", "parse_symbol"]

#: Longest line of symbols worth reading, and most chords to a bar of it.
TEXT_MAX = 20_000
SHARES_MAX = 64
#: What holds the chord before for one more share in a line of chords.
HOLDS = ("-", ".", "/")

_ROOT = re.compile(r"[A-G](?:##|bb|x|#|b)?")
_BASS = re.compile(r"/([A-G](?:##|bb|x|#|b)?)$")
_NO_CHORD = re.compile(r"(?:N\.?\s?C\.?|n\.?c\.?|N)")
_PLAIN = str.maketrans(
    {"♯": "#", "♭": "b", "−": "-", "–": "-", "∆": "Δ", "△": "Δ", "º": "°", "˚": "°", "Ø": "ø", " ": ""}
)

#: The quality of a symbol, the longer spellings first.
_QUALITY = re.compile(
    r"(?P<halfdim>ø|half-?dim|hdim|h(?=7))"
    r"|(?P<minmaj>(?:minor|min|Min|mi|MI|m(?!aj|a\d)|-)\(?(?:major|maj|Maj|ma|M|Δ)(?=7|9|\)|$)|(?:min|mi|m|-)Δ)"
    r"|(?P<augmaj>(?:aug|\+)(?:maj|M|Δ))"
    r"|(?P<triangle>Δ|\^|j(?=7|9|$))"
    r"|(?P<major>major|maj|Maj|MAJ|ma(?!dd)|Ma|MA|M(?!I|i))"
    r"|(?P<minor>minor|min|Min|MIN|mi|Mi|MI|m|-(?!5))"
    r"|(?P<dim>dim|Dim|DIM|°|o(?!mit))"
    r"|(?P<aug>aug|Aug|AUG|\+5?(?!1[13]))"
    r"|(?P<dom>dom)"
)
_NUMBER = re.compile(r"6/9|69|13|11|[1245679]")

#: (quality, number) -> kind.
_BASES: dict[tuple[str, str], str] = {
    **{("", n): n for n in ("", "1", "5", "6", "7", "9", "11", "13", "6/9")},
    ("", "2"): "add9",
    ("", "4"): "sus4",
    **{("dom", n): n for n in ("7", "9", "11", "13")},
    **{("major", n): f"maj{n}" for n in ("7", "9", "11", "13")},
    **{("major", n): n for n in ("", "6", "6/9")},
    **{("triangle", n): f"maj{n or 7}" for n in ("", "7", "9", "11", "13")},
    **{("minor", n): f"m{n}" for n in ("", "6", "7", "9", "11", "13", "6/9")},
    **{("minmaj", n): f"mmaj{n or 7}" for n in ("", "7", "9")},
    ("dim", ""): "dim",
    ("dim", "7"): "dim7",
    ("halfdim", ""): "m7b5",
    ("halfdim", "7"): "m7b5",
    ("halfdim", "9"): "m9b5",
    ("aug", ""): "aug",
    ("aug", "7"): "7#5",
    ("aug", "9"): "9#5",
    ("augmaj", "7"): "maj7#5",
}

_CHANGE = re.compile(
    r"(?P<omit>no|omit)(?P<omitted>[135])(?:rd|th)?"
    r"|(?P<sus>sus)(?P<held>24|2|4|9)?"
    r"|(?P<alt>alt)"
    r"|(?:add|maj(?=7)|ma(?=7)|M(?=7)|Δ(?=7))?(?P<degree>(?P<sign>[b#+-]?)(?P<number>13|11|10|[2-79]))"
    r"|(?P<raised>\+)$"
    r"|/(?=[b#\d])|[(),]+"
)
_SIGNS = {"": 0, "#": 1, "+": 1, "b": -1, "-": -1}


def parse_symbol(text: str, onset: int) -> Chord:
    """Read a lead-sheet chord symbol.

    Parameters
    ----------
    text : str
        "Dm7", "F#maj7", "Bb7(b9,#11)", "CΔ", "Aø", "G7sus4", "C6/9", "D/F#", "N.C.", ...
    onset : int
        Tick from which the chord holds.

    Returns
    -------
    Chord

    Raises
    ------
    InputError
        With the place in the symbol where it stops making sense.

    Examples
    --------
    >>> parse_symbol("Dm7", 0)
    Chord(onset=0, root=2, kind='m7', pitch_classes=(2, 5, 9, 0))
    >>> parse_symbol("N.C.", 0).kind, parse_symbol("Bbø", 0).kind, parse_symbol("C7+9-5", 0).kind
    ('N', 'm7b5', '7b5(#9)')
    """
    plain = text.translate(_PLAIN)
    if len(plain) > LENGTH_MAX:
        raise not_a_chord(text[:LENGTH_MAX] + "...", 1)
    if _NO_CHORD.fullmatch(plain):
        return Chord(onset, None, "N", ())
    head = _ROOT.match(plain)
    if not head:
        raise not_a_chord(text, 1)
    slash = _BASS.search(plain, head.end())
    body = plain[head.end() : slash.start() if slash else len(plain)]
    kind, intervals = _read_body(body, text, head.end())
    bass = pitch_class(slash[1]) if slash else None
    return chord_on(onset, pitch_class(head[0]) or 0, kind, intervals, bass)


def _read_body(body: str, text: str, start: int) -> tuple[str, tuple[int, ...]]:
    """Kind and intervals of what stands between root and bass."""
    body = re.sub(r"^(7|9)M", r"M\1", body)
    found = _QUALITY.match(body)
    quality = found.lastgroup or "" if found else ""
    at = found.end() if found else 0
    number = _NUMBER.match(body, at)
    digits = number[0].replace("69", "6/9") if number else ""
    base = _BASES.get((quality, digits))
    if base is None:
        base, number = _BASES.get((quality, "")), None
    if base is None:
        raise not_a_chord(text, start + at + 1)
    at = number.end() if number else at
    return _change(base, body, at, text, start)


def _change(base: str, body: str, at: int, text: str, start: int) -> tuple[str, tuple[int, ...]]:
    """Apply alterations, additions, suspensions and omissions, left to right."""
    kept = list(KINDS[base])
    while at < len(body):
        found = _CHANGE.match(body, at)
        if not found or (found[0].isdigit() and body[at - 1].isdigit() and at):
            raise not_a_chord(text, start + at + 1)
        if found["omit"]:
            kept = _without(kept, found["omitted"])
        elif found["sus"]:
            kept = _suspend(kept, found["held"] or "4")
        elif found["alt"]:
            kept = list(KINDS["alt"])
        elif found["degree"]:
            _alter(kept, found, base)
        elif found["raised"]:
            kept = [*_without(kept, "5"), 8]
        at = found.end()
    return name_chord(base, kept)


def _without(kept: list[int], degree: str) -> list[int]:
    """Leave out root, third or fifth."""
    out = {"1": (0,), "3": (3, 4), "5": (6, 7, 8)}[degree]
    return [i for i in kept if i not in out]


def _suspend(kept: list[int], held: str) -> list[int]:
    """Put fourth or second (or both, or fourth, seventh and ninth) in the third's place."""
    added = {"2": (2,), "4": (5,), "24": (2, 5), "9": (5, 10, 2)}[held]
    rest = [i for i in kept[1:] if i not in (3, 4) and i not in added]
    return [kept[0], *added[:1], *rest, *added[1:]]


def _alter(kept: list[int], found: re.Match[str], base: str) -> None:
    """Add a degree in place; unless "add" is written, an altered one takes the natural one's place."""
    number, sign, written = int(found["number"]), found["sign"], found[0]
    natural = NATURAL[number]
    if number == 7 and not sign:
        interval = 11 if written.startswith(("m", "M", "Δ")) else 10
    else:
        interval = (natural + _SIGNS[sign]) % 12
    replaces = sign and number in (5, 9, 11, 13) and not written.startswith("add")
    if replaces and natural in KINDS[base] and natural in kept:
        kept.remove(natural)
    if interval not in kept:
        kept.append(interval)


def lay_chords(text: str, melody_meters: Sequence[Meter], bars: Bars, first: int, end: int) -> tuple[Chord, ...]:
    """Lay a line of chord symbols over the bars of a melody, repeated to its end.

    Parameters
    ----------
    text : str
        "Dm7 | G7 | Cmaj7 % |": bars parted by bar lines. The chords of a bar share its beats evenly, the earlier
        ones longer where that does not come out in whole beats (Dm7 G7 C in 4/4: two beats, one, one); more
        chords than beats share the bar evenly. "-", "." or "/" holds the chord for one more share; "%" is a
        bar by itself that repeats the bar before it, with or without bar lines round it.
    melody_meters : sequence of Meter
    bars : Bars
    first : int
        Tick from which to lay: the first bar is the first full one, not a pickup, that ends after it.
    end : int
        Tick at which the melody ends.

    Returns
    -------
    tuple of Chord
        One entry a change of chord.

    Raises
    ------
    InputError
        With the bar of the text and what is wrong in it.

    Examples
    --------
    >>> from stylemeter.music.meter import TICKS, lay_bars, regular_spans
    >>> meters = (Meter(0, 4, 4),)
    >>> bars = lay_bars(regular_spans(meters, 0, 20 * TICKS), meters)
    >>> [(c.onset // TICKS, c.kind) for c in lay_chords("Dm7 G7 | C6 %", meters, bars, 0, 20 * TICKS)]
    [(0, 'm7'), (2, '7'), (4, '6'), (12, 'm7'), (14, '7'), (16, '6')]
    """
    written = _written_bars(text)
    printed = _printed_bars(bars, melody_meters, first, end)
    chords: list[Chord] = []
    for index, (line, length) in enumerate(printed):
        shares = written[index % len(written)]
        beat = meter_at(melody_meters, line).beat
        for place, symbol in zip(_share_out(len(shares), length, beat), shares, strict=True):
            if symbol is None:
                continue
            chord = replace(symbol, onset=line + place)
            if not chords or replace(chords[-1], onset=chord.onset) != chord:
                chords.append(chord)
    return tuple(chords)


def _written_bars(text: str) -> list[list[Chord | None]]:
    """The bars of the text, a chord a share, None where the chord before is held."""
    if len(text) > TEXT_MAX:
        raise InputError("the chords are too long a text", mend=f"write at most {TEXT_MAX} characters")
    cells = re.sub(r":?\|[|\]:]*", "|", text.replace("%", " % ")).strip().strip("|").split("|")
    bars: list[list[Chord | None]] = []
    for cell in cells:
        words = cell.split()
        where = f"chords, bar {len(bars) + 1}"
        if not words:
            raise InputError("an empty bar", where=where, mend='write "%" to repeat the bar before it, or "N.C."')
        for is_repeat, group in groupby(words, key=lambda word: word == "%"):
            if is_repeat:
                bars += _repeats(bars, len(list(group)), where)
            else:
                bars.append(_shares(list(group), bars, f"chords, bar {len(bars) + 1}"))
    return bars


def _repeats(bars: list[list[Chord | None]], count: int, where: str) -> list[list[Chord | None]]:
    """Bars that repeat the one before."""
    if not bars:
        raise InputError('"%" has no bar before it to repeat', where=where, mend="begin with a chord")
    return [bars[-1]] * count


def _shares(words: list[str], bars: list[list[Chord | None]], where: str) -> list[Chord | None]:
    """The chords of one bar."""
    if len(words) > SHARES_MAX:
        raise InputError(f"{len(words)} chords", where=where, mend=f"write at most {SHARES_MAX} to a bar")
    if not bars and words[0] in HOLDS:
        raise InputError(f"{words[0]!r} has no chord before it to hold", where=where, mend="begin with a chord")
    try:
        return [None if word in HOLDS else parse_symbol(word, 0) for word in words]
    except InputError as error:
        raise error.at(where) from None


def _printed_bars(bars: Bars, meters: Sequence[Meter], first: int, end: int) -> list[tuple[int, int]]:
    """Line and length of each printed bar from the first full one, the parts of an overfull one together."""
    found: list[tuple[int, int]] = []
    before = None
    for line, stop, number in zip(bars.line.tolist(), bars.end.tolist(), bars.number.tolist(), strict=True):
        short = stop - line < meter_at(meters, line).bar
        if line >= end or (not found and (number < 1 or stop <= first or short)):
            continue
        if found and number == before:
            found[-1] = (found[-1][0], stop - found[-1][0])
        else:
            found.append((line, stop - line))
        before = number
    return found


def _share_out(count: int, length: int, beat: int) -> list[int]:
    """Where each share starts, in ticks from the bar line."""
    beats, rest = divmod(length, beat)
    if rest or count > beats:
        return [length * i // count for i in range(count)]
    each, longer = divmod(beats, count)
    return [beat * (each * i + min(i, longer)) for i in range(count)]

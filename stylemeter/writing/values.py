"""From stretches of sound and silence to written note values: dots, ties and tuplets.

Conventions: times in ticks. A length without a value of its own becomes several, tied where it is a note. Tuplets are
found from where notes lie: the smallest stretch (two or four beats, a beat, half a beat) whose bounds all fall on one
division of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import gcd, lcm

from stylemeter.music.meter import Meter, divisions

__all__ = ["Element", "Tuplet", "Value", "part", "write_values"]

#: The shortest plain value, a 128th note, in ticks; plain positions are multiples of it.
SHORTEST = 315
#: Divisions that are written as tuplets; what needs another gets no written value.
TUPLETS = (3, 5, 7, 9, 15)


@dataclass(frozen=True, slots=True)
class Value:
    """A written note value: the plain one's ticks, and its dots (0 or 1)."""

    plain: int
    dots: int


@dataclass(frozen=True, slots=True)
class Tuplet:
    """A tuplet: `actual` notes in the time of `normal`, and which of its elements this is."""

    actual: int
    normal: int
    count: int
    place: int


@dataclass(frozen=True, slots=True)
class Element:
    """A note or rest with one written value.

    Attributes
    ----------
    start, length : int
        Ticks.
    note : int or None
        Index of the note; None for a rest.
    tied_from, tied_to : bool
        Whether it goes on from the element before, and into the one after.
    value : Value or None
        None where no value can be written for the length.
    tuplet : Tuplet or None
    hidden : bool
        Whether nothing is printed for it.
    """

    start: int
    length: int
    note: int | None
    tied_from: bool = False
    tied_to: bool = False
    value: Value | None = None
    tuplet: Tuplet | None = None
    hidden: bool = False


def part(piece: Element, lengths: Sequence[int]) -> list[Element]:
    """A piece as several, tied where it is a note."""
    parts = []
    now, last = piece.start, len(lengths) - 1
    for place, length in enumerate(lengths):
        tied_from = piece.tied_from if place == 0 else piece.note is not None
        tied_to = piece.tied_to if place == last else piece.note is not None
        parts.append(replace(piece, start=now, length=length, tied_from=tied_from, tied_to=tied_to))
        now += length
    return parts


def write_values(pieces: Sequence[Element], line: int, meter: Meter) -> Iterator[Element]:
    """Give every piece of a bar its written values, parting it where it has none.

    Parameters
    ----------
    pieces : sequence of Element
        One after another, without gaps.
    line : int
        Tick of the bar line positions count from.
    meter : Meter
    """
    if len(pieces) == 1 and pieces[0].note is None and pieces[0].length == meter.bar:
        yield replace(pieces[0], value=_value(pieces[0].length))
        return
    placed = [(p.start - line, p.start + p.length - line) for p in pieces]
    for left, right, division in _stretches(placed, meter):
        inside = [p for piece in pieces for p in _clip(piece, line + left, line + right)]
        if division is None:
            for piece in inside:
                lengths = _plain_lengths(piece.start - line, piece.length, meter, across=int(piece.note is not None))
                yield from (replace(p, value=_value(p.length)) for p in part(piece, lengths))
        else:
            yield from _tuplet(inside, division)


def _clip(piece: Element, left: int, right: int) -> list[Element]:
    """The part of a piece between two ticks, if any."""
    begin, until = max(piece.start, left), min(piece.start + piece.length, right)
    if begin >= until:
        return []
    sounds = piece.note is not None
    return [
        replace(
            piece,
            start=begin,
            length=until - begin,
            tied_from=piece.tied_from if begin == piece.start else sounds,
            tied_to=piece.tied_to if until == piece.start + piece.length else sounds,
        )
    ]


def _plain(x: int) -> bool:
    """Whether a position can be written without tuplets."""
    return x % SHORTEST == 0


#: Where a piece begins and ends, from its bar's line.
_Placed = tuple[int, int]
#: How many notes stand in the time of how many; (0, 0) where it can't be written.
_Division = tuple[int, int]


def _stretches(placed: Sequence[_Placed], meter: Meter) -> Iterator[tuple[int, int, _Division | None]]:
    """Stretches of a bar from left to right: (left, right, None) plain ones, as long as can be, and tuplets."""
    now = plain_from = placed[0][0]
    end = placed[-1][1]
    while now < end:
        right, division = _stretch_at(placed, now, meter)
        right = min(right, end)
        if division is not None:
            if plain_from < now:
                yield plain_from, now, None
            yield now, right, division
            plain_from = right
        now = right
    if plain_from < end:
        yield plain_from, end, None


def _stretch_at(placed: Sequence[_Placed], now: int, meter: Meter) -> tuple[int, _Division | None]:
    """End of the stretch that starts at `now`, and its division if it is a tuplet."""
    beat = meter.beat
    left = now // beat * beat
    bounds = [begin for begin, _ in placed] + [placed[-1][1]]
    plain = all(_plain(b) for b in bounds if now <= b <= left + beat)
    if plain and not _crossed_off(placed, left + beat):
        return left + beat, None
    for count in (2, 4):
        width = count * beat
        if now != left or left % width or meter.compound or left + width > bounds[-1]:
            continue
        division = _division([b - left for b in bounds if left < b < left + width], width)
        within = any(_crossed_off(placed, left + i * beat) for i in range(1, count))
        if division is not None and within and not _crossed_off(placed, left + width):
            return left + width, division
    return _within_beat(bounds, left, now, beat)


def _crossed_off(placed: Sequence[_Placed], at: int) -> bool:
    """Whether a piece that begins or ends off the plain places goes on through a position."""
    return any(begin < at < end and not (_plain(begin) and _plain(end)) for begin, end in placed)


def _within_beat(bounds: Sequence[int], left: int, now: int, width: int) -> tuple[int, _Division | None]:
    """The same for a stretch no longer than a beat: halved as long as a half is plain or both are tuplets apart."""
    inner = [b for b in bounds if left < b < left + width]
    if all(_plain(b) for b in inner):
        return left + width, None
    half = width // 2
    if (left + half in bounds or now >= left + half) and width % (4 * SHORTEST) == 0:
        first = [b for b in inner if b < left + half]
        second = [b for b in inner if b > left + half]
        if all(map(_plain, first)) or all(map(_plain, second)):
            return _within_beat(bounds, left + half if now >= left + half else left, now, half)
    division = _division([b - left for b in inner], width)
    return left + width, division or (0, 0)


def _division(inner: Sequence[int], width: int) -> _Division | None:
    """How many equal parts of a stretch stand for how many plain ones, where that can be written."""
    parts = lcm(*(_odd(Fraction(b, width).denominator) for b in inner))
    base = _odd(width // SHORTEST)
    if parts not in TUPLETS or width % SHORTEST or base >= parts:
        return None
    normal = base
    while normal * 2 < parts:
        normal *= 2
    shared = gcd(parts, normal)
    return parts // shared, normal // shared


def _odd(number: int) -> int:
    """Odd part of a number."""
    return number // (number & -number)


def _tuplet(inside: Sequence[Element], division: _Division) -> Iterator[Element]:
    """Elements of a tuplet; elements without a value where some length has none."""
    actual, normal = division
    written = [_greedy(Fraction(piece.length * actual, normal)) if actual else None for piece in inside]
    parts: list[Element] = []
    for piece, lengths in zip(inside, written, strict=True):
        if lengths is None:
            yield from inside
            return
        cut = part(piece, [length * normal // actual for length in lengths])
        parts += [replace(p, value=_value(length)) for p, length in zip(cut, lengths, strict=True)]
    for place, one in enumerate(parts):
        yield replace(one, tuplet=Tuplet(actual, normal, len(parts), place))


def _greedy(length: Fraction) -> list[int] | None:
    """Written values that add up to a length, the longest first; None where none do."""
    if length.denominator != 1 or length % SHORTEST:
        return None
    lengths = []
    rest = int(length)
    while rest:
        lengths.append(next(value for value in _VALUES if value <= rest))
        rest -= lengths[-1]
    return lengths


#: Lengths with one written value, longest first: plain ones and those with one dot.
_VALUES = sorted(
    {SHORTEST << n for n in range(9)} | {(SHORTEST << n) * 3 // 2 for n in range(1, 9)},
    reverse=True,
)


def _value(length: int) -> Value | None:
    """The written value of a length, None where it takes more than one."""
    if length not in _VALUES:
        return None
    odd = _odd(length // SHORTEST)
    return Value(length * 2 // 3, 1) if odd == 3 else Value(length, 0)


@lru_cache(maxsize=256)
def _units(numerator: int, denominator: int) -> tuple[int, ...]:
    """Lengths of the levels of a meter, its bar's first, down to the shortest value."""
    units = [Meter(0, numerator, denominator).bar]
    for factor in divisions(numerator, denominator):
        units.append(units[-1] // factor)
    while units[-1] > SHORTEST and units[-1] % (2 * SHORTEST) == 0:
        units.append(units[-1] // 2)
    return tuple(units)


def _level(x: int, units: Sequence[int]) -> int:
    """The first level that has a position."""
    return next((level for level, unit in enumerate(units) if x % unit == 0), len(units))


def _plain_lengths(x: int, length: int, meter: Meter, across: int) -> list[int]:
    """Values of a note or rest at a position, parted so that the stronger beats can be seen.

    It may sound on through a position `across` levels stronger than its own: one for notes, none for rests.
    """
    units = _units(meter.numerator, meter.denominator)
    own = _level(x, units)
    inside = next((level for level, unit in enumerate(units) if (x // unit + 1) * unit < x + length), len(units))
    if length in _VALUES and (own == 0 or inside >= own - across):
        return [length]
    if inside == len(units):
        return _greedy(Fraction(length)) or [length]
    unit = units[inside]
    stops = range((x // unit + 1) * unit, x + length, unit)
    whole = [stop for stop in stops if stop - x in _VALUES]
    stop = whole[-1] if whole else stops[0]
    return [
        *_plain_lengths(x, stop - x, meter, across),
        *_plain_lengths(stop, x + length - stop, meter, across),
    ]

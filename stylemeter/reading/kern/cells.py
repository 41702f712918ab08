"""What a ``**kern`` cell says: pitches, lengths, ties, grace notes; keys, meters and tempi.

Conventions: a cell is a note only where the whole of it fits the pattern of one (``2.5c`` is none); a length is a
fraction of a whole note, so that triplets (``12``), rational rhythms (``3%2``) and dots on them come out exactly.

References
----------
.. [1] D. Huron, The Humdrum Toolkit: Reference Manual, 1994: the ``**kern`` representation; C. Sapp, "rational
   rhythms" (``3%2``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from stylemeter.errors import InputError
from stylemeter.music.keys import pitch_class
from stylemeter.music.melody import Key
from stylemeter.music.meter import TICKS
from stylemeter.music.scales import mode_name
from stylemeter.support.printable import show

__all__ = ["KernNote", "read_cell", "read_key", "read_meter", "read_signature", "read_tempo"]

#: A note or rest with the signs that do not matter here taken out.
_NOTE = re.compile(
    r"(?P<length>0{1,3}|[1-9]\d{0,3}(?:%[1-9]\d{0,2})?)?(?P<dots>\.{0,4})"
    r"(?P<pitch>([a-gA-G])\4{0,5}|r)(?P<sign>#{0,3}|-{0,3}|n)"
)
#: Signs of ties, grace notes, slurs, phrases, ornaments, articulation, bowing, stems, beams, editors.
_OTHERS = re.compile(r"[\[\]_qQ(){}&tTwWmMS$RO:;'\"`~^vu/\\LJkKxXyYPpN<>,|@zZiljUsHVhoI!+*?]|(?<!\d)%|%(?!\d)")
#: Where a rest stands on the staff.
_REST_PLACE = re.compile(r"[a-gA-G#n-]+")
#: Shortest length: what is shorter is a slip of the pen.
_LENGTH_MAX = 1024
#: Whole notes of the lengths longer than one: breve, longa, maxima.
_LONG = {"0": 2, "00": 4, "000": 8}
_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_KEY = re.compile(r"\*([a-gA-G])([#-]?):([A-Za-z]*)")
_SIGNATURE = re.compile(r"\*k\[((?:[a-g][#n-])*)\]")
_METER = re.compile(r"\*M(\d{1,3}(?:\+\d{1,3})*)/(\d{1,3})")
_TEMPO = re.compile(r"\*MM(\d{1,4}(?:\.\d{1,3})?)")
_FLATS_AND_SHARPS = {"#": 1, "-": -1, "n": 0}


@dataclass(frozen=True, slots=True)
class KernNote:
    """A note or chord of one cell; without pitches a rest.

    `tied`: its pitches that are tied to what follows; `begins`, `ends`: whether a phrase does with it.
    """

    ticks: int
    pitches: tuple[float, ...]
    grace: bool = False
    tied: tuple[float, ...] = ()
    exact: bool = True
    begins: bool = False
    ends: bool = False


@lru_cache(maxsize=4096)
def read_cell(text: str) -> KernNote:
    """Read a data cell that isn't ``.``.

    Raises
    ------
    InputError
        If a part of it is no note.

    Examples
    --------
    >>> note = read_cell("[4.ee-/L}")
    >>> note.ticks, note.pitches, note.tied, note.ends, read_cell("8qf#").grace
    (15120, (75.0,), (75.0,), True, True)
    >>> read_cell("2.5c")
    Traceback (most recent call last):
    ...
    stylemeter.errors.InputError: '2.5c' is not a kern note; write it like "4c", "8.dd#" or "4r"
    """
    parts = text.split()
    grace = any("q" in part or "Q" in part for part in parts)
    ticks, exact = 0, True
    pitches: list[float] = []
    tied: list[float] = []
    for index, part in enumerate(parts):
        found = _match(part, text)
        if index == 0 or (found["length"] and not ticks):
            ticks, exact = _ticks(found, text, grace=grace)
        if found["pitch"] == "r":
            continue
        pitch = _pitch(found["pitch"], found["sign"])
        pitches.append(pitch)
        if "[" in part or "_" in part:
            tied.append(pitch)
    return KernNote(ticks, tuple(pitches), grace, tuple(tied), exact, "{" in text, "}" in text)


def _match(part: str, text: str) -> re.Match[str]:
    """The bare note of a part of a cell."""
    bare = _OTHERS.sub("", part)
    if "r" in bare:
        bare = _REST_PLACE.sub("", bare)
    found = _NOTE.fullmatch(bare)
    if not found or int((found["length"] or "0").partition("%")[0]) > _LENGTH_MAX:
        raise InputError(f"{show(text, 40)!r} is not a kern note", mend='write it like "4c", "8.dd#" or "4r"')
    return found


def _ticks(found: re.Match[str], text: str, *, grace: bool) -> tuple[int, bool]:
    """Length in ticks, and whether it came out exactly."""
    if grace:
        return 0, True
    if not found["length"]:
        raise InputError(f"{show(text, 40)!r} has no length", mend='write it like "4c"')
    number, _, upper = found["length"].partition("%")
    whole = Fraction(_LONG[number]) if number in _LONG else Fraction(int(upper or 1), int(number))
    dotted = 2 - Fraction(1, 2 ** len(found["dots"]))
    ticks = 4 * TICKS * whole * dotted
    return max(1, round(ticks)), ticks.denominator == 1


def _pitch(letters: str, sign: str) -> float:
    """MIDI note number of kern's letters: ``c`` is middle C, ``cc`` the octave above, ``C`` and ``CC`` those below."""
    octave = len(letters) - 1 if letters.islower() else -len(letters)
    return float(60 + 12 * octave + _STEPS[letters[0].lower()] + sign.count("#") - sign.count("-"))


def read_key(text: str) -> Key | None:
    """Key of an interpretation such as ``*G:``, ``*d:`` or ``*e-:dor``, or None where it isn't one.

    Examples
    --------
    >>> read_key("*b-:").name, read_key("*D:mix").name, read_key("*k[f#]")
    ('Bb minor', 'D mixolydian', None)
    """
    found = _KEY.fullmatch(text)
    if not found:
        return None
    mode = mode_name(found[3]) if found[3] else "major" if found[1].isupper() else "minor"
    tonic = pitch_class(found[1] + found[2].replace("-", "b"))
    return None if tonic is None or mode is None else Key(tonic, mode, "declared")


def read_signature(text: str) -> int | None:
    """Sharps (> 0) or flats (< 0) of ``*k[f#c#]``, or None where it isn't a signature.

    Examples
    --------
    >>> read_signature("*k[b-e-]"), read_signature("*k[]"), read_signature("*M3/4")
    (-2, 0, None)
    """
    found = _SIGNATURE.fullmatch(text)
    return sum(_FLATS_AND_SHARPS[sign] for sign in found[1][1::2]) if found else None


def read_meter(text: str) -> tuple[int, int] | None:
    """Upper and lower number of ``*M6/8``, or None where it isn't a meter (``*M4/0`` is none).

    Examples
    --------
    >>> read_meter("*M6/8"), read_meter("*M2+3/8"), read_meter("*M4/0"), read_meter("*MM120")
    ((6, 8), (5, 8), None, None)
    """
    found = _METER.fullmatch(text)
    if not found:
        return None
    upper, lower = sum(map(int, found[1].split("+"))), int(found[2])
    return (upper, lower) if 1 <= upper <= 64 and lower in (1, 2, 4, 8, 16, 32, 64) else None


def read_tempo(text: str) -> float | None:
    """Quarter notes a minute of ``*MM120``, or None where it isn't a tempo."""
    found = _TEMPO.fullmatch(text)
    value = float(found[1]) if found else 0.0
    return value if value > 0 else None

"""What the fields of an ABC tune say: key, meter, unit note length, tempo, voice.

Conventions: a signature is a change in semitones a letter; lengths are fractions of a whole note.

References
----------
.. [1] The ABC music standard 2.1, sections 3.1.6 (M), 3.1.7 (L), 3.1.8 (Q), 3.1.14 (K), 4.6 (clefs and
   transposition), 7 (voices); old forms of Q as in the standard 1.6, section "Q".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

from stylemeter.errors import InputError
from stylemeter.music.keys import move_signature, pitch_class
from stylemeter.music.meter import Meter, is_compound
from stylemeter.music.scales import mode_name
from stylemeter.reading.intake import limits
from stylemeter.support.printable import show

__all__ = [
    "AbcKey",
    "AbcMeter",
    "follow_key",
    "moves_of",
    "odd_moves",
    "read_key",
    "read_meter",
    "read_tempo",
    "read_unit",
    "read_voice",
]

#: Order in which sharps are added to a signature; flats come the other way round.
SHARP_ORDER = "FCGDAEB"
#: Sharps of the major key on each letter.
_MAJOR_SHARPS = {"C": 0, "D": 2, "E": 4, "F": -1, "G": 1, "A": 3, "B": 5}
#: Sharps a mode has more than the major key on its tonic.
_MODE_SHARPS = {"major": 0, "minor": -3, "dorian": -2, "phrygian": -4, "lydian": 1, "mixolydian": -1, "locrian": -5}
_SIGNS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "": 0}

_TONIC = re.compile(r"([A-G])([#b♯♭]?)\s*")
_SMALL_TONIC = re.compile(r"([a-g])([#b♯♭]?)\s*(?=$|m\b|(?:maj|min|ion|dor|phr|lyd|mix|aeo|loc)[a-z]*\b)")
_MARK = re.compile(r"(\^\^|__|[\^_=])([A-Ga-g])")
_SETTING = re.compile(r"([a-z]+)=(\"[^\"]*\"|\S*)")
_CLEF = re.compile(r"(?:treble|bass|alto|tenor|perc|none|[GFC])?\d?([+-]8)(?:va|vb)?\b")
_CLEF_WORDS = frozenset({"treble", "bass", "alto", "tenor", "perc", "none", "clef"})
_FRACTION = re.compile(r"(\d{1,4})\s*/\s*(\d{1,4})")
_METER = re.compile(r"\(?(\d{1,3}(?:\s*\+\s*\d{1,3})*)\)?\s*/\s*(\d{1,3})")
#: Most octaves and semitones a tune is moved by, either way.
_OCTAVES_MAX = 5
_STEPS_MAX = 60
_MOST = {"octave": _OCTAVES_MAX, "transpose": _STEPS_MAX, "t": _STEPS_MAX}
_WHOLE = re.compile(r"[+-]?\d{1,3}")


@dataclass(frozen=True, slots=True)
class AbcKey:
    """A ``K:`` field.

    Attributes
    ----------
    signature : dict of str to int
        Upper-case letter -> semitones; letters without a change are left out.
    tonic : int or None
        Pitch class.
    mode : str or None
    sharps : int or None
        Of a signature that does not say its mode (highland pipes).
    moves : dict of str to int
        Semitones from written to sounding pitch by what asks for them, as `moves_of` has it.
    remarks : tuple of str
    """

    signature: dict[str, int] = field(default_factory=dict)
    tonic: int | None = None
    mode: str | None = None
    sharps: int | None = None
    moves: dict[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @property
    def shift(self) -> int:
        """Semitones from written to sounding pitch."""
        return sum(self.moves.values())

    @property
    def sounding(self) -> int | None:
        """Tonic as it sounds."""
        return None if self.tonic is None else (self.tonic + self.shift) % 12

    @property
    def sounding_sharps(self) -> int | None:
        """Sharps of the signature as it sounds, -5 to 6 where it moves."""
        return None if self.sharps is None else move_signature(self.sharps, self.shift)


def signature(sharps: int) -> dict[str, int]:
    """Letters a signature changes.

    Examples
    --------
    >>> signature(2), signature(-1)
    ({'F': 1, 'C': 1}, {'B': -1})
    """
    letters: dict[str, int] = {}
    for i in range(abs(sharps)):
        letter = SHARP_ORDER[i % 7] if sharps > 0 else SHARP_ORDER[-1 - i % 7]
        letters[letter] = letters.get(letter, 0) + (1 if sharps > 0 else -1)
    return letters


def read_key(text: str) -> AbcKey:
    """Read a ``K:`` field: tonic, mode, changes of the signature, clef and transposition.

    Raises
    ------
    InputError
        If tonic or mode is none: without them every pitch would be a guess.

    Examples
    --------
    >>> key = read_key("D dor ^c octave=-1")
    >>> key.tonic, key.mode, key.signature, key.shift
    (2, 'dorian', {'C': 1}, -12)
    >>> read_key("none").signature, read_key("HP").signature
    ({}, {'F': 1, 'C': 1})
    """
    moves = moves_of(text)
    plain = _SETTING.sub(" ", text).strip()
    if re.match(r"H[Pp]\b", plain):
        said = "highland pipe key: F and C are read sharp, as the pipe sounds them"
        return AbcKey(signature(2), sharps=2, moves=moves, remarks=(said,))
    words = plain.split()
    if not words or all(map(_is_clef, words)):
        return AbcKey(moves=moves)
    found = _TONIC.match(plain) or _SMALL_TONIC.match(plain)
    if found is None:
        marks = _marks(plain)
        if marks and plain.lstrip().startswith(("exp", "^", "_", "=")):
            return AbcKey({k: v for k, v in marks.items() if v}, moves=moves)
        raise _no_key(text)
    return _read_tonic(found, plain[found.end() :], text, moves)


def _read_tonic(found: re.Match[str], rest: str, text: str, moves: dict[str, int]) -> AbcKey:
    """A key that names its tonic."""
    letter, sign = found[1].upper(), found[2]
    tonic = pitch_class(letter + sign)
    attached = not found[0].endswith((" ", "\t"))
    word = re.match(r"[A-Za-z]+", rest)
    mode, remarks = _mode(word[0] if word else "", attached=attached, text=text)
    marks = _marks(rest)
    explicit = re.search(r"\bexp\b", rest, re.IGNORECASE) is not None
    if explicit:
        letters = dict(marks)
        mode = mode if word and mode_name(word[0]) else None
    else:
        sharps = _MAJOR_SHARPS[letter] + 7 * _SIGNS[sign] + _MODE_SHARPS[mode or "major"]
        letters = signature(sharps) | marks
    if marks:
        told = "the mode is taken as declared" if mode else "no mode is told"
        remarks = (*remarks, f"the signature is changed by signs in K:; {told}")
    return AbcKey({k: v for k, v in letters.items() if v}, tonic, mode, None, moves, remarks)


def _mode(word: str, *, attached: bool, text: str) -> tuple[str | None, tuple[str, ...]]:
    """Mode a word names; major where there is none. A word that stands apart may be something else."""
    mode = mode_name(word)
    if mode:
        return mode, ()
    if not word or word.lower() == "exp" or word.lower() in _CLEF_WORDS:
        return "major", ()
    if attached:
        raise _no_key(text)
    return "major", (f"word in K: not understood: {show(word, 40)}",)


def _no_key(text: str) -> InputError:
    """The error for what is no key."""
    return InputError(f"K:{show(text, 40)} is not a key", mend='write it like "K:G", "K:Am", "K:D dorian" or "K:none"')


def _marks(text: str) -> dict[str, int]:
    """Signs a key field sets by letter."""
    return {letter.upper(): _SIGNS[sign] for sign, letter in _MARK.findall(text)}


def follow_key(now: AbcKey, text: str) -> AbcKey:
    """The key after a ``K:`` field inside a tune.

    A field that only names a clef changes no signature (4.6: key and clef are each optional there), and a clef,
    octave or transposition holds until another of its kind.

    Examples
    --------
    >>> low = read_key("D clef=treble-8")
    >>> follow_key(low, "G").shift, follow_key(low, "bass").shift, follow_key(low, "bass").signature
    (-12, 0, {'F': 1, 'C': 1})
    """
    new = read_key(text)
    words = _SETTING.sub(" ", text).split()
    only_clef = bool(text.strip()) and "none" not in words and all(map(_is_clef, words))
    return replace(now if only_clef else new, moves=now.moves | new.moves)


def _is_clef(word: str) -> bool:
    """Whether a word of a key or voice field names a clef."""
    return word.lower() in _CLEF_WORDS or _CLEF.fullmatch(word) is not None


def moves_of(text: str) -> dict[str, int]:
    """Semitones from written to sounding pitch that a key or voice field asks for.

    Returns
    -------
    dict of str to int
        By what asks for them: "clef" (0 where one is named that moves nothing), "octave", "transpose".

    Examples
    --------
    >>> moves_of("clef=treble-8"), moves_of("octave=1 transpose=-3"), moves_of("G bass"), moves_of("G")
    ({'clef': -12}, {'octave': 12, 'transpose': -3}, {'clef': 0}, {})
    """
    settings = _settings(text)
    words = _SETTING.sub(" ", text)
    moves: dict[str, int] = {}
    if eighth := _CLEF.search(settings.get("clef", "") + " " + words):
        moves["clef"] = 12 if eighth[1] == "+8" else -12
    elif "clef" in settings or any(word != "none" and _is_clef(word) for word in words.split()):
        moves["clef"] = 0
    if "octave" in settings:
        moves["octave"] = 12 * _within(settings["octave"], _OCTAVES_MAX)
    if "transpose" in settings or "t" in settings:
        moves["transpose"] = _within(settings.get("transpose", settings.get("t", "")), _STEPS_MAX)
    return moves


def odd_moves(text: str) -> list[str]:
    """Remarks on octaves and transpositions of a key or voice field that are not followed as they stand.

    Examples
    --------
    >>> odd_moves("G octave=-1 transpose=3"), odd_moves("G octave=7"), odd_moves("G transpose=low")
    ([], ['octave=7 is further than is followed: 5 taken'], ['transpose=low is no whole number: passed over'])
    """
    said = []
    for name, value in _settings(text).items():
        most = _MOST.get(name)
        if most is None:
            continue
        if not _WHOLE.fullmatch(value):
            said.append(f"{name}={show(value, 20)} is no whole number: passed over")
        elif int(value) != _within(value, most):
            said.append(f"{name}={value} is further than is followed: {_within(value, most)} taken")
    return said


def _settings(text: str) -> dict[str, str]:
    """What a key or voice field sets by name."""
    return {name: value.strip('"') for name, value in _SETTING.findall(text)}


def _within(text: str, most: int) -> int:
    """A short whole number, no further from 0 than a limit; 0 where it isn't one."""
    return max(-most, min(int(text), most)) if _WHOLE.fullmatch(text) else 0


@dataclass(frozen=True, slots=True)
class AbcMeter:
    """An ``M:`` field; `upper` is 0 where it says that there is none."""

    upper: int
    lower: int
    remarks: tuple[str, ...] = ()

    @property
    def unit(self) -> Fraction:
        """Unit note length where no ``L:`` says it: an eighth from 3/4 on, else a sixteenth."""
        return Fraction(1, 16) if self.upper and 4 * self.upper < 3 * self.lower else Fraction(1, 8)

    @property
    def compound(self) -> bool:
        """Whether a tuplet of 5, 7 or 9 takes the time of three."""
        return bool(self.upper) and is_compound(self.upper, self.lower)

    def at(self, onset: int) -> Meter | None:
        """The meter from a tick on."""
        return Meter(onset, self.upper, self.lower) if self.upper else None


def read_meter(text: str) -> AbcMeter | None:
    """Read an ``M:`` field, or None where it isn't a meter.

    Examples
    --------
    >>> read_meter("C|"), read_meter("2+3/8").upper, read_meter("none").upper, read_meter("4/0")
    (AbcMeter(upper=2, lower=2, remarks=()), 5, 0, None)
    """
    plain = text.strip()
    if plain in ("C", "c"):
        return AbcMeter(4, 4)
    if plain.replace(" ", "") in ("C|", "c|"):
        return AbcMeter(2, 2)
    if plain.lower() in ("none", "free", ""):
        return AbcMeter(0, 1)
    found = _METER.search(plain)
    if not found:
        return None
    upper, lower = sum(map(int, found[1].split("+"))), int(found[2])
    if not 1 <= upper <= 64 or lower not in (1, 2, 4, 8, 16, 32, 64):
        return None
    odd = found[0] != plain
    return AbcMeter(upper, lower, (f"meter {show(plain, 40)} read as {upper}/{lower}",) if odd else ())


def read_unit(text: str) -> Fraction | None:
    """Read an ``L:`` field as a fraction of a whole note, or None where it isn't one.

    Examples
    --------
    >>> read_unit("1/8"), read_unit("1"), read_unit("1/0"), read_unit("1/G")
    (Fraction(1, 8), Fraction(1, 1), None, None)
    """
    plain = text.strip()
    if plain == "1":
        return Fraction(1)
    found = _FRACTION.fullmatch(plain)
    if not found or int(found[1]) == 0 or int(found[2]) not in (1, 2, 4, 8, 16, 32, 64, 128):
        return None
    unit = Fraction(int(found[1]), int(found[2]))
    return unit if unit <= 4 else None


def read_tempo(text: str, unit: Fraction) -> float | None:
    """Read a ``Q:`` field as quarter notes a minute, or None where it has no number.

    Parameters
    ----------
    text : str
        ``"Allegro" 1/4=120``, ``3/8=50``, ``1/4 3/8=40``; of old ``C3=40`` and ``120`` (unit lengths a minute).
    unit : Fraction
        The unit note length.

    Examples
    --------
    >>> read_tempo('"Slowly" 3/8=60', Fraction(1, 8)), read_tempo("120", Fraction(1, 8))
    (90.0, 60.0)
    """
    plain = re.sub(r'"[^"]*"', " ", text).strip()
    beat, equals, rate = plain.rpartition("=")
    number = re.match(r"\s*(\d{1,4}(?:\.\d{1,3})?)", rate)
    if not number:
        return None
    length = sum((Fraction(int(a), int(b) or 1) for a, b in _FRACTION.findall(beat)), Fraction(0))
    if not length:
        of_units = re.fullmatch(r"\s*[CL]?\s*(\d{0,2})\s*", beat) if equals else None
        length = unit * int((of_units[1] if of_units else "") or 1)
    tempo = float(number[1]) * float(4 * length)
    return tempo if limits.TEMPO_MIN <= tempo <= limits.TEMPO_MAX else None


def read_voice(text: str) -> tuple[str, str]:
    """Read a ``V:`` field: the voice's mark and its name.

    Examples
    --------
    >>> read_voice('1 clef=treble name="First fiddle"'), read_voice("T")
    (('1', 'First fiddle'), ('T', ''))
    """
    words = text.split(maxsplit=1)
    settings = _settings(text)
    name = settings.get("name") or settings.get("nm") or ""
    return (words[0][:40] if words else ""), name[:80]

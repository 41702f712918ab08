"""MusicXML signs that are not notes: meter, key, transposition, tempo, repeats.

Conventions: pure functions on one element; what a sign may not say is an `InputError` or None, as each says.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0 reference: elements time, key, transpose, metronome, sound.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError
from stylemeter.music.keys import move_signature
from stylemeter.music.melody import Key
from stylemeter.music.meter import Meter
from stylemeter.music.scales import mode_name
from stylemeter.reading.draft.exact import number, whole
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.elements import said

__all__ = ["NOTE_TYPES", "KeySign", "key_sign", "meter_sign", "repeats", "swings", "tempo_sign", "transpose_sign"]

#: Quarter notes in each note type.
NOTE_TYPES: dict[str, Fraction] = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    **{f"{2**n}{'nd' if n == 5 else 'th'}": Fraction(4, 2**n) for n in range(4, 11)},
}
#: Semitones from the tonic of the major key of a signature to the tonic of each mode's.
_MODE_TONICS = {"major": 0, "dorian": 2, "phrygian": 4, "lydian": 5, "mixolydian": 7, "minor": 9, "locrian": 11}
#: Sharps or flats a signature can hold: seven, and the double signs beyond.
_FIFTHS_MAX = 14
#: Semitones a part can be transposed by: four octaves (a piccolo is one up, a contrabass clarinet three down).
_TRANSPOSE_MAX = 48


def meter_sign(time: Element) -> Meter | None:
    """Meter of a ``<time>``, at tick 0; None for senza misura.

    Several pairs and sums are added up: 3+2/8 is 5/8, 3/4 + 2/8 is 8/8.

    Raises
    ------
    InputError
        If it isn't a meter.
    """
    if time.find("senza-misura") is not None:
        return None
    pairs = list(zip(time.findall("beats"), time.findall("beat-type"), strict=False))
    terms: list[tuple[int, int]] = []
    for beats, unit in pairs:
        counts = [whole(word) for word in (beats.text or "").split("+")]
        below = whole(unit.text)
        if below is None or not 0 < below <= 64 or None in counts:
            raise _no_meter(f"{beats.text}/{unit.text}")
        terms += [(count or 0, below) for count in counts]
    if not terms or any(count < 1 for count, _ in terms):
        raise _no_meter("/".join(f"{b.text} {u.text}" for b, u in pairs))
    denominator = max(below for _, below in terms)
    if any(denominator % below for _, below in terms):
        raise _no_meter(" + ".join(f"{count}/{below}" for count, below in terms))
    return Meter(0, sum(count * denominator // below for count, below in terms), denominator)


def _no_meter(text: str) -> InputError:
    """Error for a meter that isn't one."""
    return InputError(
        f"meter {text[:20]!r} is not a meter",
        mend="the upper number is 1 to 64, the lower 1, 2, 4, 8, 16, 32 or 64",
    )


@dataclass(frozen=True, slots=True)
class KeySign:
    """A ``<key>``: sharps (> 0) or flats (< 0), and the mode where it is told."""

    fifths: int
    mode: str | None

    def sounding(self, semitones: int) -> Key | None:
        """Declared key after transposition, None where the mode is not told."""
        if self.mode is None:
            return None
        return Key((7 * self.fifths + _MODE_TONICS[self.mode] + semitones) % 12, self.mode, "declared")

    def signature(self, semitones: int) -> int:
        """Sharps or flats after transposition, -5 to 6 where it moves."""
        return move_signature(self.fifths, semitones)

    @property
    def name(self) -> str:
        """As said in a remark, as written."""
        key = self.sounding(0)
        if key:
            return key.name
        return f"{abs(self.fifths)} {'sharps' if self.fifths >= 0 else 'flats'}"


def key_sign(key: Element) -> KeySign | None:
    """Read a ``<key>``; None where it names no signature of the circle of fifths.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> key_sign(fromstring("<key><fifths>0</fifths><mode>dorian</mode></key>")).sounding(0).name
    'D dorian'
    """
    fifths = whole(key.findtext("fifths"))
    if fifths is None or abs(fifths) > _FIFTHS_MAX:
        return None
    mode = mode_name(key.findtext("mode") or "")
    return KeySign(fifths, mode if mode in _MODE_TONICS else None)


def transpose_sign(transpose: Element) -> int:
    """Semitones from written to sounding pitch.

    Raises
    ------
    InputError
        If it isn't a number of semitones an instrument transposes by.
    """
    chromatic = whole(transpose.findtext("chromatic") or "0")
    octaves = whole(transpose.findtext("octave-change") or "0")
    if chromatic is None or octaves is None or abs(chromatic + 12 * octaves) > _TRANSPOSE_MAX:
        words = f"chromatic {said(transpose, 'chromatic')!r}, octaves {said(transpose, 'octave-change')!r}"
        raise InputError(f"no instrument transposes by {words}", mend="mend the part's transposition")
    return chromatic + 12 * octaves


def tempo_sign(sign: Element) -> float | None:
    """Quarter notes a minute told by a ``<direction>`` or ``<sound>``; None where it tells none that can be.

    What is to be played (``<sound tempo>``) goes before what is printed (``<metronome>``).
    """
    sound = sign if sign.tag == "sound" else sign.find("sound")
    value = number(sound.get("tempo")) if sound is not None else None
    if value is None:
        metronome = sign.find("direction-type/metronome")
        value = None if metronome is None else _metronome(metronome)
    return float(value) if value is not None and limits.TEMPO_MIN <= value <= limits.TEMPO_MAX else None


def _metronome(metronome: Element) -> Fraction | int | None:
    """Quarters a minute of "beat unit = number"; None for two notes set equal."""
    unit = NOTE_TYPES.get((metronome.findtext("beat-unit") or "").strip())
    words = (metronome.findtext("per-minute") or "").replace(",", ".").split()
    count = next((value for value in map(number, words) if value is not None), None)
    if unit is None or count is None or len(metronome.findall("beat-unit")) != 1:
        return None
    dots = len(metronome.findall("beat-unit-dot"))
    return count * unit * (2 - Fraction(1, 2 ** min(dots, 4)))


def repeats(sign: Element) -> bool:
    """Whether a barline, direction or sound makes the player jump."""
    if sign.tag == "barline":
        return sign.find("repeat") is not None or sign.find("ending") is not None
    jumps = ("dacapo", "dalsegno", "tocoda", "segno", "coda", "fine")
    sound = sign if sign.tag == "sound" else sign.find("sound")
    if sound is not None and any(name in sound.attrib for name in jumps):
        return True
    return any(sign.find(f"direction-type/{name}") is not None for name in ("segno", "coda"))


def swings(sign: Element) -> bool:
    """Whether a direction or sound asks for swing."""
    sound = sign if sign.tag == "sound" else sign.find("sound")
    swing = None if sound is None else sound.find("swing")
    if swing is not None:
        return swing.find("straight") is None
    words = " ".join(e.text or "" for e in sign.iterfind("direction-type/words")).lower()
    return "swing" in words and "no swing" not in words

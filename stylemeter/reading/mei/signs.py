"""What MEI attributes say: lengths, accidentals, keys, meters, tempi.

References
----------
.. [1] Music Encoding Initiative, MEI Guidelines 5.0: data.DURATION, data.ACCIDENTAL.WRITTEN and .GESTURAL,
   data.KEYFIFTHS, att.meterSigDefault.log, att.mmTempo.
"""

from __future__ import annotations

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.music.melody import Key
from stylemeter.music.meter import TICKS
from stylemeter.music.scales import mode_name
from stylemeter.reading.abc.fields import signature
from stylemeter.reading.draft.exact import number, whole

__all__ = ["ALTERS", "length_of", "read_key", "read_letters", "read_meter", "read_sharps", "read_tempo", "step_of"]

_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
#: Written and gestural accidentals in semitones.
ALTERS: dict[str, float] = (
    {"s": 1, "f": -1, "n": 0, "ss": 2, "x": 2, "ff": -2, "xs": 3, "sx": 3, "ts": 3, "tf": -3, "nf": -1, "ns": 1}
    | {"su": 1.5, "sd": 0.5, "fu": -0.5, "fd": -1.5, "nu": 0.5, "nd": -0.5}
    | {"1qf": -0.5, "3qf": -1.5, "1qs": 0.5, "3qs": 1.5}
)
_LONG = {"breve": 2, "long": 4, "longa": 4, "maxima": 8}
_LENGTHS = {**{str(2**k): Fraction(1, 2**k) for k in range(11)}, **{name: Fraction(n) for name, n in _LONG.items()}}
_COUNT = re.compile(r"\d{1,3}(?:\s*\+\s*\d{1,3})*")
_SHARPS = re.compile(r"([1-9]|1[0-2])([sf])")
_MODE_FIFTHS = {"major": 0, "minor": 3, "dorian": 2, "phrygian": 4, "lydian": -1, "mixolydian": 1, "locrian": 5}
_DOTS_MAX = 4


def length_of(duration: str | None, dots: str | None) -> Fraction | None:
    """Length in ticks of a ``dur`` with dots, or None where it isn't one.

    Examples
    --------
    >>> length_of("4", "1") == Fraction(3, 2) * TICKS, length_of("0", None)
    (True, None)
    """
    value = _LENGTHS.get((duration or "").strip())
    count = whole(dots) if dots else 0
    if value is None or count is None or not 0 <= count <= _DOTS_MAX:
        return None
    return 4 * TICKS * value * (2 - Fraction(1, 2**count))


def step_of(name: str | None, octave: str | None) -> int | None:
    """MIDI number of a natural note, or None where it isn't one.

    Examples
    --------
    >>> step_of("c", "4"), step_of("h", "4"), step_of("c", "99")
    (60, None, None)
    """
    step, place = _STEPS.get((name or "").strip().lower()), whole(octave)
    return None if step is None or place is None or not -1 <= place <= 10 else 12 * (place + 1) + step


def read_meter(definition: Element) -> tuple[str, tuple[int, int] | None] | None:
    """Meter of a definition, by its attributes or its ``meterSig``.

    Returns
    -------
    (text, (upper, lower) or None) or None
        None where it says nothing; no pair where what it says is no meter.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> read_meter(fromstring("<staffDef><meterSig count='2+3' unit='8'/></staffDef>"))
    ('2+3/8', (5, 8))
    >>> read_meter(fromstring("<scoreDef meter.count='4' meter.unit='0'/>")), read_meter(fromstring("<scoreDef/>"))
    (('4/0', None), None)
    """
    group = definition.find("meterSigGrp")
    if definition.get("meter.count") is None and group is not None and group.get("func") == "mixed":
        return _added(group)
    count, unit, sign = (definition.get(f"meter.{part}") for part in ("count", "unit", "sym"))
    if count is None and sign is None and (child := _child(definition, "meterSig")) is not None:
        count, unit, sign = child.get("count"), child.get("unit"), child.get("sym")
    if count is None and sign is None:
        return None
    if count is None:
        pair = {"common": (4, 4), "cut": (2, 2)}.get(sign or "")
        return f"sym {(sign or '')[:20]}", pair
    upper = sum(map(int, re.findall(r"\d+", count))) if _COUNT.fullmatch(count.strip()) else 0
    lower = whole(unit) or 0
    good = 1 <= upper <= 64 and lower in (1, 2, 4, 8, 16, 32, 64)
    return f"{count[:20]}/{(unit or '')[:20]}", (upper, lower) if good else None


def _added(group: Element) -> tuple[str, tuple[int, int] | None]:
    """One meter of several in a bar: 3/8 + 2/8 is 5/8, 2/4 + 3/8 is 7/8."""
    read = [said for sign in group.iter("meterSig") if (said := read_meter(_holding(sign)))]
    text = " + ".join(words for words, _ in read) or "of an empty group"
    pairs = [pair for _, pair in read if pair]
    if not pairs or len(pairs) < len(read):
        return text, None
    lower = max(below for _, below in pairs)
    upper = sum(count * lower // below for count, below in pairs)
    return text, (upper, lower) if upper <= 64 else None


def _holding(sign: Element) -> Element:
    """A definition that holds one sign."""
    definition = Element("staffDef")
    definition.append(sign)
    return definition


def _child(definition: Element, tag: str) -> Element | None:
    """A sign among a definition's children, also in a group of them."""
    found = definition.find(tag)
    return found if found is not None else definition.find(f"{tag}Grp/{tag}")


def read_sharps(definition: Element) -> int | None:
    """Sharps (> 0) or flats (< 0) of a definition's signature, or None where it says nothing readable.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> [read_sharps(fromstring(x)) for x in ("<a key.sig='2f'/>", "<a keysig='0'/>", "<a><keySig sig='3s'/></a>")]
    [-2, 0, 3]
    """
    text = definition.get("keysig") or definition.get("key.sig")
    child = _child(definition, "keySig")
    if text is None and child is not None:
        text = child.get("sig") or child.get("keysig")
    letters = None if child is None else _own_letters(child)
    if letters:
        return next((sharps for sharps in range(-7, 8) if signature(sharps) == letters), None)
    if text is None:
        return None
    found = _SHARPS.fullmatch(text.strip())
    if found:
        return int(found[1]) * (1 if found[2] == "s" else -1)
    return 0 if text.strip() == "0" else None


def read_letters(definition: Element) -> dict[str, int] | None:
    """What a definition's signature does to each letter, or None where it says nothing readable.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> read_letters(fromstring("<a key.sig='2s'/>"))
    {'F': 1, 'C': 1}
    >>> read_letters(fromstring("<a><keySig><keyAccid pname='e' accid='f'/></keySig></a>"))
    {'E': -1}
    """
    child = _child(definition, "keySig")
    own = None if child is None else _own_letters(child)
    if own:
        return own
    sharps = read_sharps(definition)
    return None if sharps is None else signature(sharps)


def _own_letters(key: Element) -> dict[str, int]:
    """Signs a ``keySig`` gives one by one."""
    signs = ((e.get("pname", "").strip().upper(), ALTERS.get(e.get("accid", ""))) for e in key.iter("keyAccid"))
    return {letter: int(alter) for letter, alter in signs if letter.lower() in _STEPS and alter in (-2, -1, 1, 2)}


def read_key(definition: Element, sharps: int | None) -> Key | None:
    """Key a definition declares: its mode with its tonic, named or by the signature. None where there is no mode.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> read_key(fromstring("<scoreDef key.pname='b' key.mode='major'/>"), -2).name
    'Bb major'
    >>> read_key(fromstring("<scoreDef><keySig pname='d' mode='dorian'/></scoreDef>"), None).name
    'D dorian'
    """
    child = _child(definition, "keySig")
    name, accidental, mode = (definition.get(f"key.{part}") for part in ("pname", "accid", "mode"))
    if mode is None and child is not None:
        name, accidental, mode = child.get("pname"), child.get("accid"), child.get("mode")
    ours = mode_name(mode or "")
    if ours is None:
        return None
    by_signature = None if sharps is None else 7 * (sharps + _MODE_FIFTHS[ours]) % 12
    step = _STEPS.get((name or "").strip().lower())
    if step is None:
        return None if by_signature is None else Key(by_signature, ours, "declared")
    if accidental is None and by_signature is not None and (by_signature - step) % 12 in (1, 11):
        return Key(by_signature, ours, "declared")  # some programs leave the flat out
    return Key(int(step + ALTERS.get(accidental or "n", 0)) % 12, ours, "declared")


def read_tempo(element: Element) -> float | None:
    """Quarter notes a minute of a ``tempo`` or ``scoreDef``, or None where that can't be told.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> read_tempo(fromstring("<tempo mm='60' mm.unit='4' mm.dots='1'/>")), read_tempo(fromstring("<tempo mm='60'/>"))
    (90.0, None)
    """
    if (beats := number(element.get("midi.bpm"))) is not None:
        return float(beats) if 0 < beats < 10_000 else None
    rate, length = number(element.get("mm")), length_of(element.get("mm.unit"), element.get("mm.dots"))
    if rate is None or length is None or not 0 < rate < 10_000:
        return None
    return float(rate * length / TICKS)

"""From the lines of an ABC tune to its voices.

Conventions: the body is cut into signs by one pattern whose every part is bounded, so reading takes time in
proportion to the text; slurs, decorations and spacing are passed over.

Why the text is read here: music21 10.5.1 has no carried accidentals without a version line, and with one loses
them in chords, over ties and of double signs; counts grace notes into tuplets; drops ``>`` beside a grace note, slur
or tie; knows neither ``[L:]``, ``[K:]``, ``octave=``, ``exp`` nor ``Z``; reads ``+fermata+`` as notes; stops at ``(10``
and ``C/0``; and puts its own bar lines and meters into overfull bars. Mending that in the text takes the whole of
this scan first. The tests compare the outcome with music21 and verovio.

References
----------
.. [1] The ABC music standard 2.1.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from stylemeter.errors import LimitError
from stylemeter.music.meter import TICKS
from stylemeter.reading.abc.fields import (
    AbcKey,
    AbcMeter,
    follow_key,
    moves_of,
    odd_moves,
    read_key,
    read_meter,
    read_tempo,
    read_unit,
    read_voice,
)
from stylemeter.reading.abc.file import FIELD, AbcTune, field_value
from stylemeter.reading.abc.voice import NOTE, Voice
from stylemeter.support.printable import show

__all__ = ["scan"]

#: Characters of one tune's body: 20 notes a character is more than any transcriber writes.
BODY_MAX = 400_000
#: Voices of one tune.
VOICES_MAX = 64

_SIGN = re.compile(
    r"""
    (?P<quote>"[^"\n]{0,200}")
    |(?P<comment>%[^\n]*)
    |(?P<inline>\[[A-Za-z]:[^\]\n]{0,200}\])
    |(?P<ending>\[\d[\d,.-]{0,20})
    |(?P<bar>\.?(?:\[\|\]?|[|:])(?:[|:\]]|\[(?=[|\d]))*(?:\d[\d,.-]{0,20}(?![/\d]))?)
    |\[(?P<chord>[^\]\[|\n]{0,200})\](?P<chord_length>\d*/*\d*)(?P<chord_tie>-?)
    |\{(?P<grace>[^}\n]{0,200})\}
    |(?P<decoration>![^!\s|"\[\]]{1,40}!)
    |\+(?P<plus>[^+\s|"]{1,40})\+
    |\((?P<p>\d+)(?::(?P<q>\d*))?(?::(?P<r>\d*))?
    |(?P<slur>[()])
    |(?P<note>(?:\^\^|__|\^/|_/|[\^_=])?[A-Ga-g][,']*\d*/*\d*-?)
    |[ZX](?P<bars>\d*)(?=[ \t]*(?:[|:\]\[\\%]|$))
    |[zxZX](?P<rest_length>\d*/*\d*)
    |y\d*/?\d*
    |(?P<broken><+|>+)
    |(?P<tie>-)
    |(?P<overlay>&)
    |(?P<unpaired>"|\{|\[(?!"))
    |(?P<stray>[\d/,']+|[\^_=]+)
    |(?P<rest_of_it>.)
    """,
    re.VERBOSE,
)
_PLUS_CHORD = re.compile(r"(?:[_=^]*[A-Ga-g][,']*\d*/?\d*){2,}")
_DYNAMIC = re.compile(r"[fp]+")
_PROPAGATE = re.compile(r"(?:%%|I:)\s*propagate-accidentals\s+(not|octave|pitch)\b")
#: Marks that part phrases (section 4.14), and what says that a voice is percussion.
_PHRASE = re.compile(r"!(?:short|medium|long)phrase!")
_DRUM_CLEF = re.compile(r"\bclef=\"?perc|\bperc\b")
_MIDI = re.compile(r"(?:%%|I:)\s*MIDI\s+(channel|program)\s+(?:\d+\s+(?=\d))?(\d{1,3})\b")
_DRUM_CHANNEL = 10
_TEXT_OR_DECORATION = re.compile(r'"([^"]*)"|![^!]*!')
#: A chord with another in brackets behind it, which is printed and not played (section 4.18).
_ALTERNATE = re.compile(r"([A-G][^()]*?)[ \t]*\([ \t]*[A-G][^()]*\)")
_BLOCK = re.compile(r"%%(begin|end)(\w+)")
#: Fields that hold for the file when they stand before its first tune.
_FILE_FIELDS = ("M", "L", "I")


def _ticks(unit: Fraction) -> int:
    """A unit note length in ticks."""
    return int(4 * TICKS * unit)


def _unit(ticks: int) -> Fraction:
    """A unit note length as a fraction of a whole note."""
    return Fraction(ticks, 4 * TICKS)


class _Scan:
    """Reads one tune; voices are made as the text names them."""

    def __init__(self, tune: AbcTune, *, plain_tuplets: bool) -> None:
        self.tune = tune
        self.plain_tuplets = plain_tuplets
        self.said: list[str] = []
        self.voice_fields: dict[str, tuple[str, dict[str, int]]] = {}
        self.drums: set[str] = set()
        self.programs: dict[str, set[int]] = {}
        self.voices: dict[str, Voice] = {}
        self._header()
        self.voice = self._voice(next(iter(self.voice_fields), "") if len(self.voice_fields) == 1 else "")

    def _header(self) -> None:
        """Key, meter, unit and tempo the header sets for every voice."""
        lines = [*(x for x in self.tune.preamble if x.startswith("%") or x[:1] in _FILE_FIELDS), *self.tune.header]
        found = [m for line in lines if (m := _PROPAGATE.match(line))]
        self.propagate = found[-1][1] if found else "pitch"
        self.meter = self._header_meter(lines)
        units = [value for line in lines if (value := field_value(line, "L"))]
        self.unit = self._unit(units[-1], self.meter.unit) if units else self.meter.unit
        tempos = [value for line in lines if (value := field_value(line, "Q"))]
        self.tempo = read_tempo(tempos[-1], self.unit) if tempos else None
        keys = [value for line in lines if (value := field_value(line, "K")) is not None]
        self.key = read_key(keys[-1]) if keys else AbcKey()
        self.said += odd_moves(keys[-1]) if keys else []
        if not keys:
            self.said.append("no K: line: read without a signature")
        if self.tune.left_out:
            self.said.append("music after an empty line is left out: an empty line ends a tune of ABC")
        mark = ""
        for line in lines:
            if (value := field_value(line, "V")) is not None:
                mark = self._voice_field(value)[0]
            elif (said := _MIDI.match(line)) and mark:
                self._instrument(mark, said)

    def _voice_field(self, value: str) -> tuple[str, dict[str, int]]:
        """Mark of a voice field and the moves it asks for; its first one is kept for a voice yet to come."""
        mark, name = read_voice(value)
        moves = moves_of(value.strip()[len(mark) :])
        if _DRUM_CLEF.search(value[len(mark) :]):
            self.drums.add(mark)
        self.said += odd_moves(value)
        before_name, before = self.voice_fields.get(mark, ("", {}))
        self.voice_fields[mark] = (before_name or name, before | moves)
        return mark, moves

    def _instrument(self, mark: str, found: re.Match[str]) -> None:
        """Channel or program of a voice, as players of ABC understand them (a custom of theirs, no standard)."""
        if found[1] == "program":
            self.programs.setdefault(mark, set()).add(int(found[2]))
        elif int(found[2]) == _DRUM_CHANNEL:
            self.drums.add(mark)
        else:
            self.drums.discard(mark)

    def _header_meter(self, lines: list[str]) -> AbcMeter:
        """Meter of the header, none where it has none."""
        values = [value for line in lines if (value := field_value(line, "M")) is not None]
        meter = self._meter(values[-1]) if values else None
        return meter or AbcMeter(0, 1)

    def _meter(self, text: str) -> AbcMeter | None:
        """A meter field; what is none is said and passed over."""
        meter = read_meter(text)
        if meter is None:
            self.said.append(f"M:{show(text, 40)} is not a meter: passed over")
        elif meter.remarks:
            self.said += meter.remarks
        return meter

    def _unit(self, text: str, otherwise: Fraction) -> Fraction:
        """A unit length field; what is none is said and passed over."""
        unit = read_unit(text)
        if unit is None:
            self.said.append(f"L:{show(text, 40)} is not a note length: {otherwise} is taken")
            return otherwise
        return unit

    def _voice(self, mark: str) -> Voice:
        """The voice of a mark, made when it is first named."""
        if mark not in self.voices:
            if len(self.voices) >= VOICES_MAX:
                raise LimitError(f"more than {VOICES_MAX} voices", mend="give the melody alone")
            name, moves = self.voice_fields.get(mark, ("", {}))
            key = replace(self.key, moves=self.key.moves | moves)
            voice = Voice(mark, name, key, self.meter, _ticks(self.unit), self.propagate, self.tempo)
            voice.plain_tuplets = self.plain_tuplets
            voice.meters.append((0, self.meter))
            voice.keys.append((0, key))
            self.voices[mark] = voice
        return self.voices[mark]

    def body(self) -> None:
        """Read the tune body line by line."""
        if sum(map(len, self.tune.body)) > BODY_MAX:
            raise LimitError(f"a tune of more than {BODY_MAX} characters", mend="split the tune")
        for line in _without_blocks(self.tune.body, self.said):
            if line.startswith("%"):
                if found := _PROPAGATE.match(line):
                    self.voice.propagate = found[1]
                elif found := _MIDI.match(line):
                    self._instrument(self.voice.mark, found)
                continue
            if found := FIELD.match(line):
                self.field(found[1], field_value(line, found[1]) or "")
                continue
            for sign in _SIGN.finditer(line):
                if sign.lastgroup:
                    self.sign(sign)

    def sign(self, found: re.Match[str]) -> None:
        """Hand one sign of the music to the voice in force."""
        handler = _HANDLERS.get(found.lastgroup or "")
        if handler:
            handler(self, found)

    def field(self, letter: str, value: str) -> None:
        """A field in the body, on its own line or in brackets."""
        voice = self.voice
        if letter == "V":
            mark, moves = self._voice_field(value)
            voice = self.voice = self._voice(mark)
            if moves.items() - voice.key.moves.items():
                voice.set_key(replace(voice.key, moves=voice.key.moves | moves))
        elif letter == "M" and (meter := self._meter(value)):
            voice.meter = meter
            voice.meters.append((voice.place, meter))
        elif letter == "L":
            voice.unit = _ticks(self._unit(value, _unit(voice.unit)))
        elif letter == "Q" and voice.tempo is None:
            voice.tempo = read_tempo(value, _unit(voice.unit))
        elif letter == "K":
            voice.set_key(follow_key(voice.key, value))
            self.said += odd_moves(value)
        elif letter == "I" and (found := _PROPAGATE.match(f"I:{value}")):
            voice.propagate = found[1]


def _without_blocks(lines: tuple[str, ...], said: list[str]) -> Iterator[str]:
    """Lines of a tune body without the texts between ``%%begintext`` (or the like) and its end."""
    block = ""
    for line in lines:
        found = _BLOCK.match(line)
        if found and (found[1] == "begin") != bool(block) and block in ("", found[2]):
            block = "" if block else found[2]
        elif not block:
            yield line
    if block:
        said.append(f"%%begin{show(block, 20)} without %%end{show(block, 20)}: all that follows it is left out")


def _inline(state: _Scan, found: re.Match[str]) -> None:
    """A field in brackets."""
    letter, _, value = found["inline"][1:-1].partition(":")
    state.field(letter, value.strip())


def _quote(state: _Scan, found: re.Match[str]) -> None:
    """A quoted text: maybe a chord symbol, unless it is placed by a sign of its own."""
    _text(state, found["quote"][1:-1].strip())


def _text(state: _Scan, text: str) -> None:
    """Keep a text that stands where chord symbols do."""
    if text and text[0] not in "^_<>@":
        alternate = _ALTERNATE.fullmatch(text)
        state.voice.symbols.append((state.voice.place, alternate[1] if alternate else text))


def _bar(state: _Scan, found: re.Match[str]) -> None:
    """A bar line, or the number of an ending."""
    state.voice.bar(section=found[0] not in ("|", ".|"))


def _chord(state: _Scan, found: re.Match[str]) -> None:
    """A chord in square brackets."""
    inside = found["chord"]
    if '"' in inside or "!" in inside:
        for text in _TEXT_OR_DECORATION.finditer(inside):
            _text(state, (text[1] or "").strip())
        inside = _TEXT_OR_DECORATION.sub("", inside)
    state.voice.chord(inside, found["chord_length"], found["chord_tie"])


def _plus(state: _Scan, found: re.Match[str]) -> None:
    """Between plus signs: a chord as it was written before 1997, else a decoration."""
    inside = found["plus"]
    if _PLUS_CHORD.fullmatch(inside) and not _DYNAMIC.fullmatch(inside):
        state.voice.chord(inside, "", "")


def _note(state: _Scan, found: re.Match[str]) -> None:
    """A note."""
    written = NOTE.fullmatch(found["note"])
    if written:
        state.voice.note(written)


def _tuplet(state: _Scan, found: re.Match[str]) -> None:
    """The mark before a tuplet."""
    state.voice.tuplet(found["p"], found["q"] or "", found["r"] or "")


def _decoration(state: _Scan, found: re.Match[str]) -> None:
    """A decoration: of all of them only phrase marks are asked for."""
    if _PHRASE.fullmatch(found[0]):
        state.voice.phrase_ends.append(state.voice.place)


def _slur(state: _Scan, found: re.Match[str]) -> None:
    """A slur opens or closes."""
    state.voice.slur(opens=found[0] == "(")


def _overlay(state: _Scan, found: re.Match[str]) -> None:  # noqa: ARG001
    """A second layer until the next bar line."""
    state.voice.overlaid = True


def _stray(state: _Scan, found: re.Match[str]) -> None:  # noqa: ARG001
    """A number, sign or octave mark without its note."""
    state.voice.found.add("sign", "without a note left out", state.voice.place)


def _unpaired(state: _Scan, found: re.Match[str]) -> None:  # noqa: ARG001
    """A bracket or quotation mark that nothing closes: what follows it is read as it stands."""
    state.voice.found.add("bracket or quotation mark", "never closed passed over", state.voice.place)


#: Name of the pattern's last group that matched -> what to do.
_HANDLERS: dict[str, Callable[[_Scan, re.Match[str]], None]] = {
    "quote": _quote,
    "inline": _inline,
    "ending": _bar,
    "bar": _bar,
    "chord_tie": _chord,
    "grace": lambda state, found: state.voice.grace(_TEXT_OR_DECORATION.sub("", found["grace"])),
    "plus": _plus,
    **dict.fromkeys(("p", "q", "r"), _tuplet),
    "note": _note,
    "bars": lambda state, found: state.voice.full_rest(found["bars"]),
    "rest_length": lambda state, found: state.voice.rest(found["rest_length"]),
    "broken": lambda state, found: state.voice.broken(found["broken"]),
    "tie": lambda state, found: state.voice.tie(),
    "overlay": _overlay,
    "decoration": _decoration,
    "slur": _slur,
    "unpaired": _unpaired,
    "stray": _stray,
}


def scan(tune: AbcTune, *, plain_tuplets: bool = False) -> tuple[list[Voice], list[str]]:
    """Read a tune.

    Parameters
    ----------
    tune : AbcTune
    plain_tuplets : bool
        Whether tuplets of 5, 6, 7 and 9 that do not say their time take that of 4, 4, 4 and 8 notes, against the
        standard (2 or 3).

    Returns
    -------
    voices : list of Voice
        Those that have notes, in the order the text names them.
    said : list of str
        What had to be said of the fields.

    Raises
    ------
    InputError
        If its key can't be read.
    LimitError
        If it is absurdly long.
    """
    state = _Scan(tune, plain_tuplets=plain_tuplets)
    state.body()
    for mark, voice in state.voices.items():
        voice.drums, voice.programs = mark in state.drums, frozenset(state.programs.get(mark, ()))
    return [voice for voice in state.voices.values() if voice.notes], state.said

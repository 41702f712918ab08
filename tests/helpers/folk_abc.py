"""A small, fast reader of the ABC folders inside music21's wheel, for checks against published figures.

Enough of ABC 2.1 for those files: accidentals carried through the bar, ties, broken rhythm, triplets; repeats are not
played out. One line of music is one phrase (so the Essen files are written). It shares no code with the readers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_SHARPS = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "H": 5, "F": -1}
_FIFTHS_BACK = {"": 0, "maj": 0, "m": 3, "min": 3, "dor": 2, "mix": 1, "aeo": 3, "phr": 4, "lyd": -1, "loc": 5}
_MODES = {
    "m": "minor",
    "min": "minor",
    "aeo": "minor",
    "dor": "dorian",
    "mix": "mixolydian",
    "phr": "phrygian",
    "lyd": "lydian",
}

_TOKEN = re.compile(
    r"""(?P<skip>\{[^}]*\}|"[^"]*"|![^!]*!|`)
      | (?P<bar>\|[|:\]]*\d?|:[|:]+\d?|\[\d)
      | \((?P<tuplet>\d)
      | (?P<sign>[_^=]*)(?P<letter>[A-Ga-gzx])(?P<octave>[,']*)(?P<times>\d*)(?P<slash>/*)(?P<over>\d*)(?P<tie>-?)
        [ `.)]*(?P<broken><+|>+)?""",
    re.VERBOSE,
)


@dataclass
class FolkTune:
    """One tune: notes as [onset, duration, MIDI number, phrase], times in quarters."""

    where: str
    title: str = ""
    meter: tuple[int, int] | None = None
    tonic: int = 0
    mode: str = "major"
    notes: list[list] = field(default_factory=list)
    spans: list[tuple[Fraction, Fraction]] = field(default_factory=list)


def read_folder(files) -> list[FolkTune]:
    return [tune for file in sorted(files) for tune in read_file(file)]


def read_file(path: Path) -> list[FolkTune]:
    tunes = []
    for block in re.split(r"(?m)^(?=X:)", path.read_text(encoding="utf-8", errors="replace"))[1:]:
        tune = _read(path.stem, block.splitlines())
        if tune.notes:
            tunes.append(tune)
    return tunes


def _read(stem, lines):
    tune = FolkTune(f"{stem}:{lines[0][2:].strip()}")
    unit, signature, music = Fraction(1, 8), {}, []
    for line in lines:
        name, value = line[:2], line[2:].split("%")[0].strip()
        if re.match(r"[A-Za-z]:", line):
            if name == "T:":
                tune.title = tune.title or value
            elif name == "M:" and tune.meter is None:
                tune.meter = _meter(value)
            elif name == "L:":
                unit = Fraction(value)
            elif name == "K:" and not signature:
                signature = _key(tune, value)
        elif line.strip() and not line.startswith("%"):
            music.append(line)
    _Music(tune, unit * 4, signature).read(music)
    return tune


def _meter(text):
    found = re.match(r"(?:FREI)?(\d+)/(\d+)", text)
    if found:
        return int(found[1]), int(found[2])
    return {"C": (4, 4), "C|": (2, 2)}.get(text)


def _key(tune, text):
    """Set tonic and mode; return the signature as letter -> sign."""
    found = re.match(r"([A-H])([#bs]?)\s*([A-Za-z]*)", text)
    letter, sign, mode = found[1], found[2], found[3].lower()[:3]
    mode = "m" if mode == "m" else mode
    shift = {"#": 1, "b": -1, "s": -1}.get(sign, 0)
    sharps = _SHARPS[letter] + 7 * shift - _FIFTHS_BACK.get(mode, 0)
    tune.tonic = (_STEPS["B" if letter == "H" else letter] + shift) % 12
    tune.mode = _MODES.get(mode, "major")
    if sharps >= 0:
        return dict.fromkeys("FCGDAEB"[:sharps], 1) | {"": 0}
    return dict.fromkeys("BEADGCF"[:-sharps], -1) | {"": 0}


class _Music:
    """The state while the music of one tune is read."""

    def __init__(self, tune, unit, signature):
        self.tune, self.unit, self.signature = tune, unit, signature
        self.now = self.line = Fraction(0)
        self.carried, self.tied, self.latest = {}, False, ""
        self.left, self.squeeze, self.next_factor = 0, Fraction(1), Fraction(1)

    def read(self, lines):
        for phrase, text in enumerate(lines):
            for found in _TOKEN.finditer(text):
                if found["bar"]:
                    self._bar()
                elif found["tuplet"]:
                    self.left = int(found["tuplet"])
                    self.squeeze = {2: Fraction(3, 2), 3: Fraction(2, 3), 4: Fraction(3, 4)}.get(self.left, Fraction(1))
                elif found["letter"]:
                    self._note(found, phrase)
        self._bar()

    def _bar(self):
        if self.now > self.line:
            self.tune.spans.append((self.line, self.now - self.line))
        self.line, self.carried = self.now, {}

    def _length(self, found):
        length = self.unit * int(found["times"] or 1)
        if found["slash"]:
            length /= int(found["over"]) if found["over"] else 2 ** len(found["slash"])
        length *= self.next_factor
        self.next_factor = Fraction(1)
        if found["broken"]:
            part = Fraction(1, 2 ** len(found["broken"]))
            first, second = (2 - part, part) if found["broken"][0] == ">" else (part, 2 - part)
            length, self.next_factor = length * first, second
        if self.left:
            length, self.left = length * self.squeeze, self.left - 1
        return length

    def _note(self, found, phrase):
        length = self._length(found)
        if found["letter"] not in "zx":
            notes, pitch = self.tune.notes, self._pitch(found)
            written = found["letter"] + found["octave"]
            # a tie holds the accidental across the bar line
            if self.tied and (pitch == notes[-1][2] or (written == self.latest and not found["sign"])):
                notes[-1][1] += length
            else:
                notes.append([self.now, length, pitch, phrase])
            self.latest = written
        self.tied = bool(found["tie"] and self.tune.notes)
        self.now += length

    def _pitch(self, found):
        letter = found["letter"].upper()
        if found["sign"]:
            self.carried[letter] = _SIGNS.get(found["sign"], 0)
        alter = self.carried.get(letter, self.signature.get(letter, 0))
        octave = found["octave"].count("'") - found["octave"].count(",") + (found["letter"].islower())
        return 60 + _STEPS[letter] + 12 * octave + alter

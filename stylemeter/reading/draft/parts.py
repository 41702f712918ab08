"""Which part of several holds the melody: the same choice whatever the format.

Conventions: a part that the user asks for is read whatever it is. Unasked, percussion is never read; what parts are
called counts first (a lead, solo or melody; then a guitar; a bass or an accompaniment last), then register and order
among the parts with notes enough, and the number of notes last. The rules are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from stylemeter.errors import UnknownNameError
from stylemeter.reading.draft.build import count_words

__all__ = ["Candidate", "choose"]

#: Parts listed in a message.
LISTED = 8
#: Notes of a part, as a share of the most any has, below which it is no melody; and what is enough for any.
ENOUGH_SHARE, ENOUGH = 0.2, 64
#: Semitones a part may lie below the highest one and still be as high.
AS_HIGH = 5.0

_LEAD = re.compile(
    r"\b(?:lead|ld|solo(?:ist|s)?|melod(?:y|ie|ia)|voc(?:al|als)?|voice|voix|voz|sing(?:er|ing)?|tune|theme|head|"
    r"right hand|r\.?h\.?|main|improv\w*)\b|\blead(?=\d)",
    re.IGNORECASE,
)
_GUITAR = re.compile(r"\b(?:\w*guitar\w*|gui?tr?s?\b|\w*gitarr?e?|chitarra|guitare|violão|kytara)", re.IGNORECASE)
_BEHIND = re.compile(
    r"\b(?:rhy?thm\w*|rtm|backing|back(?:ground|up)?|accomp\w*|comp(?:ing)?|chords?|harm(?:ony|onies)?|pads?|strum\w*|"
    r"arp(?:eggi\w*)?|bass\w*|basso|baixo|bajo|kontrabass|tuba|left hand|l\.?h\.?|click|metronome|count|fx|sfx|"
    r"choir|chorus|organ|strings?|keys|keyboards?|synth\w*|piano|pno|brass)\b",
    re.IGNORECASE,
)
_PERCUSSION = re.compile(
    r"\b(?:drum|perc|perk|batter|schlagz|bater|cymbal|snare|hi-?hat|kick|conga|bongo|shaker|tambourin|cowbell|clap)",
    re.IGNORECASE,
)
#: Programs of General MIDI level 1, from 0: guitars, and instruments of melodies that are named after what they do.
GUITARS, BASSES, LEADS, PERCUSSION = range(24, 32), range(32, 40), range(80, 88), range(112, 120)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part as the choice sees it.

    Attributes
    ----------
    name : str
    onsets : int
        Places where a note of it starts.
    middle : float
        Median pitch.
    chordal : bool
        Whether it is chords rather than a line.
    guitar, bass, percussion : bool
        What it is, as the format tells it beside the name.
    programs : frozenset of int
        Of General MIDI, from 0.
    number : int
        Its number where that isn't its place among the candidates.
    """

    name: str
    onsets: int
    middle: float
    chordal: bool = False
    guitar: bool = False
    bass: bool = False
    percussion: bool = False
    programs: frozenset[int] = frozenset()
    number: int = 0

    @property
    def drums(self) -> bool:
        """Whether it is percussion, as it is told or called."""
        played = bool(self.programs) and all(p in PERCUSSION for p in self.programs)
        return self.percussion or played or bool(_PERCUSSION.search(self.name))

    @property
    def likeness(self) -> int:
        """How much name and instrument speak for a melody: 3 a lead, 2 a guitar, 0 what goes under it, else 1."""
        if _LEAD.search(self.name) and not re.search(r"\b(?:backing|bass)\b", self.name, re.IGNORECASE):
            return 3
        bass = self.bass or (bool(self.programs) and all(p in BASSES for p in self.programs))
        if bass or _BEHIND.search(self.name):
            return 0
        guitar = self.guitar or any(p in GUITARS for p in self.programs)
        return 2 if guitar or _GUITAR.search(self.name) else 1


def choose(parts: Sequence[Candidate], wanted: str | None) -> tuple[int, list[str]]:
    """The place of the part to read, and what has to be told of the choice.

    Parameters
    ----------
    parts : sequence of Candidate
        In the file's order.
    wanted : str or None
        Name or number from 1, as the user gave it.

    Raises
    ------
    UnknownNameError
        If no part is called so: lists those there are.

    Examples
    --------
    >>> keys, lead = Candidate("Keyboard", 200, 60.0), Candidate("Lead Guitar", 40, 70.0)
    >>> choose([keys, lead], None)[0], choose([keys, lead], "keyboard")[0]
    (1, 0)
    """
    numbers = [part.number or place for place, part in enumerate(parts, 1)]
    listed = [f"{number} {part.name}".strip() for number, part in zip(numbers, parts, strict=True)]
    if wanted is not None:
        asked = wanted.strip().casefold()
        names = [part.name.casefold() for part in parts]
        if asked in names:
            return names.index(asked), []
        if asked.isdecimal() and len(asked) < 8 and int(asked) in numbers:
            return numbers.index(int(asked)), []
        raise UnknownNameError.among("part", wanted.strip()[:80], _short(listed))
    place = _melodic(parts)
    if len(parts) == 1:
        return place, []
    others = [words for n, words in enumerate(listed) if n != place]
    read = f"{listed[place]} ({count_words(parts[place].onsets, 'note')})"
    return place, [f"several parts: read {read}, not {', '.join(_short(others))}; choose with --part"]


def _short(listed: Sequence[str]) -> list[str]:
    """A list of parts, cut with a count of the rest."""
    return [*listed[:LISTED], *([f"and {len(listed) - LISTED} more"] if len(listed) > LISTED else [])]


def _melodic(parts: Sequence[Candidate]) -> int:
    """The place of the part that is likest to be the melody."""
    places = [i for i, part in enumerate(parts) if not part.drums] or list(range(len(parts)))
    lines = [i for i in places if not parts[i].chordal and parts[i].onsets]
    # a lead is one even where it is double-stopped throughout
    places = [i for i in places if i in lines or (parts[i].likeness == 3 and parts[i].onsets)] or places
    enough = min(ENOUGH, ENOUGH_SHARE * max(parts[i].onsets for i in places))
    places = [i for i in places if parts[i].onsets >= enough]
    best = max(parts[i].likeness for i in places)
    places = [i for i in places if parts[i].likeness == best]
    highest = max(parts[i].middle for i in places)
    places = [i for i in places if parts[i].middle >= highest - AS_HIGH]
    return places[0]

"""How pitches, keys and chords are spelled: letters, accidentals, signatures.

Conventions: a place on the line of fifths is 0 for C, 1 for G, -1 for F, ...; accidentals are in semitones.

References
----------
.. [1] D. Temperley, The Cognition of Basic Musical Structures, MIT Press 2001, ch. 5 (pitches near the key on the
   line of fifths are preferred). Which twelve of them is common practice, no source: from the lowered sixth to the
   raised first degree in major, to the raised seventh in minor.
"""

from __future__ import annotations

from dataclasses import dataclass

from stylemeter.music.melody import Key

__all__ = ["Spelled", "alterations", "fifths_of", "spell", "spell_class"]

_LETTERS = "FCGDAEB"
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True)
class Spelled:
    """A pitch as written: letter, accidental in semitones (a fraction for microtones), octave (C4 = middle C)."""

    letter: str
    alter: float
    octave: int


def fifths_of(key: Key | None) -> int:
    """Sharps (> 0) or flats (< 0) of a key's signature; that of the major key where the mode isn't known.

    Examples
    --------
    >>> fifths_of(Key(2, "dorian", "given")), fifths_of(Key(6, "minor", "given")), fifths_of(Key(8, "minor", "given"))
    (0, 3, 5)
    """
    return 0 if key is None else key.fifths


def alterations(fifths: int) -> dict[str, int]:
    """Letters a signature raises (1) or lowers (-1).

    Examples
    --------
    >>> alterations(2), alterations(-1)
    ({'F': 1, 'C': 1}, {'B': -1})
    """
    if fifths >= 0:
        return dict.fromkeys(_LETTERS[:fifths], 1)
    return dict.fromkeys(_LETTERS[fifths:][::-1], -1)


def spell_class(pitch_class: int, key: Key | None) -> tuple[str, int]:
    """Letter and accidental of a pitch class in a key.

    Examples
    --------
    >>> spell_class(10, Key(0, "major", "given")), spell_class(8, Key(9, "minor", "given"))
    (('B', -1), ('G', 1))
    """
    lowest = fifths_of(key) - (3 if key is not None and key.mode == "minor" else 4)
    place = lowest + (7 * pitch_class - lowest) % 12
    return _LETTERS[(place + 1) % 7], (place + 1) // 7


def spell(pitch: float, key: Key | None) -> Spelled:
    """A sounding pitch as written in a key; a fraction of a semitone goes into the accidental.

    Examples
    --------
    >>> spell(60, None), spell(59.5, None)
    (Spelled(letter='C', alter=0, octave=4), Spelled(letter='C', alter=-0.5, octave=4))
    """
    nearest = int(pitch + 0.5)
    letter, alter = spell_class(nearest % 12, key)
    octave = (nearest - alter - _STEPS[letter]) // 12 - 1
    fraction = pitch - nearest
    return Spelled(letter, alter + fraction if fraction else alter, octave)

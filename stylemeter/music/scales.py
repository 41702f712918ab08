"""Scales as pitch-class sets above a tonic, and the modes a key may have.

References
----------
.. [1] Set names as commonly taught; the sets agree with Forte's list (A. Forte, The Structure of Atonal Music,
   1973) and with the binary ("sum of 2 to the pitch class") numbering of scales.
"""

from __future__ import annotations

__all__ = ["MODES", "MODE_SCALES", "SCALES", "mode_name"]

#: The catalogue: name -> pitch classes above the tonic, in the order they are listed to the user.
SCALES: dict[str, tuple[int, ...]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "aeolian": (0, 2, 3, 5, 7, 8, 10),
    "locrian": (0, 1, 3, 5, 6, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "phrygian dominant": (0, 1, 4, 5, 7, 8, 10),
    "melodic minor": (0, 2, 3, 5, 7, 9, 11),
    "lydian dominant": (0, 2, 4, 6, 7, 9, 10),
    "altered": (0, 1, 3, 4, 6, 8, 10),
    "major pentatonic": (0, 2, 4, 7, 9),
    "minor pentatonic": (0, 3, 5, 7, 10),
    "blues hexatonic": (0, 3, 5, 6, 7, 10),
    "major blues": (0, 2, 3, 4, 7, 9),
    "double harmonic": (0, 1, 4, 5, 7, 8, 11),
    "whole tone": (0, 2, 4, 6, 8, 10),
    "octatonic (half-whole)": (0, 1, 3, 4, 6, 7, 9, 10),
}

#: Pitch classes that count as inside a mode (feature dictionary: minor holds both sixths and sevenths).
MODE_SCALES: dict[str, tuple[int, ...]] = {
    "major": SCALES["major"],
    "minor": (0, 2, 3, 5, 7, 8, 9, 10, 11),
    "dorian": SCALES["dorian"],
    "phrygian": SCALES["phrygian"],
    "lydian": SCALES["lydian"],
    "mixolydian": SCALES["mixolydian"],
    "locrian": SCALES["locrian"],
    # minor and major pentatonic on one tonic with the flat fifth, and what its dominant chords add
    "blues": (0, 2, 3, 4, 5, 6, 7, 9, 10),
}

#: Names a key's mode may be written with -> the name we use. Ionian is major; aeolian is minor.
MODES: dict[str, str] = {**{name: name for name in MODE_SCALES}, "ionian": "major", "aeolian": "minor"}

_SHORT = {
    "maj": "major",
    "min": "minor",
    "m": "minor",
    "ion": "major",
    "aeo": "minor",
    "dor": "dorian",
    "phr": "phrygian",
    "lyd": "lydian",
    "mix": "mixolydian",
    "loc": "locrian",
}


def mode_name(text: str) -> str | None:
    """Our name for a mode as files write it, or None where it isn't one.

    Examples
    --------
    >>> mode_name("Dor"), mode_name("m"), mode_name("Ionian"), mode_name("HP")
    ('dorian', 'minor', 'major', None)
    """
    word = text.strip().lower()
    return MODES.get(word) or _SHORT.get(word) or (_SHORT.get(word[:3]) if len(word) > 3 else None)

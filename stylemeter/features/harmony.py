"""How the line lies against the chords: a note takes the last chord that starts at or before its onset."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import MINIMUM_NOTES, Lack, Mask, feature
from stylemeter.features.line import Line

__all__: list[str] = []

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_WITH_CHORD = "notes with a chord"
_EXTENSIONS = np.isin(np.arange(12), (1, 2, 5, 6, 8, 9))
_THIRDS_AND_SEVENTHS = np.isin(np.arange(12), (3, 4, 10, 11))


def _relation(line: Line) -> tuple[Bools, Bools, Ints, Bools]:
    """Slices of `Base.chord_relation`."""
    relation = line.base.chord_relation
    assert relation is not None
    cut = slice(line.start, line.stop)
    has, tone, above, diminished = relation
    return has[cut], tone[cut], above[cut], diminished[cut]


@feature("harmony", "share", "of the notes with a chord, those that belong to it", needs=["chords"], sliceable=True)
def chord_tone_share(line: Line) -> Mask:
    """Share of chord tones."""
    has, tone, _, _ = _relation(line)
    return Mask(tone, of=has, fewest=MINIMUM_NOTES, what=_WITH_CHORD)


@feature("harmony", "share", "of the notes with a chord, those on its root", needs=["chords"], sliceable=True)
def chord_root_share(line: Line) -> Mask:
    """Share of chord roots."""
    has, _, above, _ = _relation(line)
    return Mask(above == 0, of=has, fewest=MINIMUM_NOTES, what=_WITH_CHORD)


@feature(
    "harmony", "share", "of the notes with a chord, 9ths, 11ths and 13ths outside it", needs=["chords"], sliceable=True
)
def extension_share(line: Line) -> Mask:
    """Share of extensions."""
    has, tone, above, _ = _relation(line)
    return Mask(_EXTENSIONS[above] & ~tone, of=has, fewest=MINIMUM_NOTES, what=_WITH_CHORD)


@feature(
    "harmony", "share", "of the notes with a chord, those on its own third or seventh", needs=["chords"], sliceable=True
)
def chord_third_or_seventh_share(line: Line) -> Mask:
    """Share of the chord's own thirds and sevenths; of a diminished seventh chord its 9 semitones too."""
    has, tone, above, diminished = _relation(line)
    guide = _THIRDS_AND_SEVENTHS[above] | (diminished & (above == 9))
    return Mask(tone & guide, of=has, fewest=MINIMUM_NOTES, what=_WITH_CHORD)


@feature("harmony", "share", "of the notes on a beat with a chord, those that belong to it", needs=["chords"])
def strong_beat_chord_tone_share(line: Line) -> Mask | Lack:
    """Share of chord tones among the notes on a beat."""
    has, tone, _, _ = _relation(line)
    if np.count_nonzero(has) < MINIMUM_NOTES:
        return Lack(f"fewer than {MINIMUM_NOTES} {_WITH_CHORD}")
    return Mask(tone, of=has & line.on_beat, fewest=4, what="notes on a beat with a chord")


@feature("harmony", "share", "of the notes on a beat with a chord, those on its root", needs=["chords"])
def strong_beat_chord_root_share(line: Line) -> Mask | Lack:
    """Share of the chord's roots among the notes on a beat."""
    has, _, above, _ = _relation(line)
    if np.count_nonzero(has) < MINIMUM_NOTES:
        return Lack(f"fewer than {MINIMUM_NOTES} {_WITH_CHORD}")
    return Mask(above == 0, of=has & line.on_beat, fewest=4, what="notes on a beat with a chord")

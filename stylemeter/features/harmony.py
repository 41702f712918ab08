"""How the line lies against the chords: a note takes the last chord that starts at or before its onset."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import MINIMUM_NOTES, Lack, Mask, feature
from stylemeter.features.line import Line

__all__: list[str] = []

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_EXTENSIONS = np.isin(np.arange(12), (1, 2, 5, 6, 8, 9))
_THIRDS_AND_SEVENTHS = np.isin(np.arange(12), (3, 4, 10, 11))


def _relation(line: Line) -> tuple[Bools, Bools, Ints, Bools]:
    """Slices of `Base.chord_relation`."""
    relation = line.base.chord_relation
    assert relation is not None
    cut = slice(line.start, line.stop)
    has, tone, above, diminished = relation
    return has[cut], tone[cut], above[cut], diminished[cut]


def _share(line: Line, where: Bools, of: Bools) -> Mask | Lack:
    """Return the share, where enough notes have a chord."""
    has = _relation(line)[0]
    if np.count_nonzero(has) < MINIMUM_NOTES:
        return Lack(f"fewer than {MINIMUM_NOTES} notes with a chord")
    return Mask(where, of=of)


@feature("harmony", "share", "of the notes with a chord, those that belong to it", needs=["chords"])
def chord_tone_share(line: Line) -> Mask | Lack:
    """Share of chord tones."""
    has, tone, _, _ = _relation(line)
    return _share(line, tone, has)


@feature("harmony", "share", "of the notes with a chord, those on its root", needs=["chords"])
def chord_root_share(line: Line) -> Mask | Lack:
    """Share of chord roots."""
    has, _, above, _ = _relation(line)
    return _share(line, above == 0, has)


@feature("harmony", "share", "of the notes with a chord, 9ths, 11ths and 13ths outside it", needs=["chords"])
def extension_share(line: Line) -> Mask | Lack:
    """Share of extensions."""
    has, tone, above, _ = _relation(line)
    return _share(line, _EXTENSIONS[above] & ~tone, has)


@feature("harmony", "share", "of the notes with a chord, those on its own third or seventh", needs=["chords"])
def chord_third_or_seventh_share(line: Line) -> Mask | Lack:
    """Share of the chord's own thirds and sevenths; of a diminished seventh chord its 9 semitones too."""
    has, tone, above, diminished = _relation(line)
    guide = _THIRDS_AND_SEVENTHS[above] | (diminished & (above == 9))
    return _share(line, tone & guide, has)


@feature("harmony", "share", "of the notes on a beat with a chord, those that belong to it", needs=["chords"])
def strong_beat_chord_tone_share(line: Line) -> Mask | Lack:
    """Share of chord tones among the notes on a beat."""
    has, tone, _, _ = _relation(line)
    strong = has & line.on_beat
    share = _share(line, tone, strong)
    if isinstance(share, Mask) and np.count_nonzero(strong) < 4:
        return Lack("fewer than 4 notes on a beat with a chord")
    return share

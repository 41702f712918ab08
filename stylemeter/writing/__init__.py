"""Writing: a melody in the formats other programs read, so that it can be heard, seen and mended by hand.

Conventions: the same melody gives the same bytes; no dates, no program versions. What was written can be read again;
what a format can't hold is listed in `losses.LOSSES` and told of one melody by `losses.losses`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from stylemeter.errors import UnknownNameError
from stylemeter.music.melody import Melody, checked
from stylemeter.writing.losses import LOSSES, losses

__all__ = ["FORMATS", "LOSSES", "Format", "losses", "write"]

Format = Literal["csv", "json", "musicxml", "midi", "abc", "tab"]


def _csv(melody: Melody) -> bytes:
    from stylemeter.writing.table import to_csv

    return to_csv(melody).encode("utf-8", "replace")


def _json(melody: Melody) -> bytes:
    from stylemeter.writing.table import to_json

    return to_json(melody).encode("utf-8")


def _musicxml(melody: Melody) -> bytes:
    from stylemeter.writing.musicxml import to_musicxml

    return to_musicxml(melody)


def _midi(melody: Melody) -> bytes:
    from stylemeter.writing.midi import to_midi

    return to_midi(melody)


def _abc(melody: Melody) -> bytes:
    from stylemeter.writing.abc import to_abc

    return to_abc(melody).encode("utf-8", "replace")


def _tab(melody: Melody) -> bytes:
    from stylemeter.writing.tab import to_tab

    return to_tab(melody).encode("utf-8", "replace")


#: Format -> its writer.
FORMATS: dict[str, Callable[[Melody], bytes]] = {
    "csv": _csv,
    "json": _json,
    "musicxml": _musicxml,
    "midi": _midi,
    "abc": _abc,
    "tab": _tab,
}


def write(melody: Melody, format: str) -> bytes:  # noqa: A002 - what it is
    """Write a melody.

    Parameters
    ----------
    melody : Melody
    format : {"csv", "json", "musicxml", "midi", "abc", "tab"}

    Returns
    -------
    bytes

    Raises
    ------
    UnknownNameError
        If there is no such format.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> tune = build(Draft([RawNote(0, 10080, 60.0)]))
    >>> write(tune, "csv").decode().splitlines()[0]
    '# stylemeter/notes/1'
    """
    checked(melody)
    if format not in FORMATS:
        raise UnknownNameError.among("format", format, list(FORMATS))
    return FORMATS[format](melody)

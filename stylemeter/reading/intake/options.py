"""What a user may tell a reader about a file."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ReadOptions"]


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """Wishes of the user or of a corpus recipe; all have a sensible default.

    Attributes
    ----------
    part : str or None
        Name or number (from 1) of the part to read; else the part with most notes among the melodic ones.
    key : str or None
        As `keys.parse_key` reads it; overrides the file's.
    meter : str or None
        "4/4"; for sources without a meter, or to override it.
    tempo : float or None
        Quarter notes a minute, for sources in seconds.
    first_beat : float or None
        Seconds at which beat 1 of bar 1 falls, for performed sources.
    count_in : int or None
        Clicks counted in before a recording begins, a quarter note each: they say tempo and first beat.
    chords : str or None
        "Dm7 | G7 | Cmaj7 % |": a bar between bar lines, laid from the first full bar, repeated to the end.
    chord_text : str
        Prefix of the MIDI text events that hold chord labels ("chord D:min7"), as `stylemeter notes` writes them.
    phrase_slurs : bool
        Whether slurs of MusicXML and ABC mean phrases, as in some collections of songs.
    columns : tuple of str or None
        Names of the columns of a table without a header line.
    """

    part: str | None = None
    key: str | None = None
    meter: str | None = None
    tempo: float | None = None
    first_beat: float | None = None
    count_in: int | None = None
    chords: str | None = None
    chord_text: str = "chord "
    phrase_slurs: bool = False
    columns: tuple[str, ...] | None = None

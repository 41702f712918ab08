"""The one table of what can be read: adding a format is one row here and one module beside it."""

from __future__ import annotations

from dataclasses import dataclass

from stylemeter.reading.intake import limits

__all__ = ["KINDS", "READER_VERSION", "Reader", "kind_of_suffix", "known_suffixes"]

#: Raised with every change of what any reader makes of a file.
READER_VERSION = 4


@dataclass(frozen=True, slots=True)
class Reader:
    """One kind of file and who reads it.

    Attributes
    ----------
    module : str
        Module with ``read(data: bytes, options: ReadOptions) -> list[Melody]``.
    suffixes : tuple of str
        Lower case, with the dot; what is picked up in folders. The content decides, a suffix only breaks a tie.
    words : str
        What to call it in a message.
    libraries : tuple of str
        What takes long to import, loaded before the seconds of a guarded file count.
    here_bytes : int
        Size up to which a file is read in this process; larger ones are read in a guarded child.
    bytes_max, seconds, memory_mb
        Largest file, and what the child may use for it: processor seconds and MiB of address space. The user's own
        limits (`limits.max_bytes` and the others) go first.
    """

    module: str
    suffixes: tuple[str, ...]
    words: str
    libraries: tuple[str, ...] = ()
    here_bytes: int = limits.HERE_BYTES_MAX
    bytes_max: int = limits.BYTES_MAX
    seconds: float = limits.SECONDS
    memory_mb: float = limits.MEMORY_MB


KINDS: dict[str, Reader] = {
    "musicxml": Reader("stylemeter.reading.musicxml.read", (".musicxml", ".mxl", ".xml"), "MusicXML"),
    "midi": Reader("stylemeter.reading.midi.read", (".mid", ".midi", ".rmi", ".kar"), "MIDI"),
    "abc": Reader("stylemeter.reading.abc.read", (".abc",), "ABC"),
    "kern": Reader("stylemeter.reading.kern.read", (".krn", ".kern"), "kern"),
    "mei": Reader("stylemeter.reading.mei.read", (".mei",), "MEI"),
    "jams": Reader("stylemeter.reading.jams.read", (".jams",), "JAMS"),
    "tab": Reader("stylemeter.reading.tab.read", (".tab",), "text tablature"),
    "audio": Reader(
        "stylemeter.reading.audio.read",
        (".wav", ".flac", ".ogg", ".oga", ".mp3", ".aif", ".aiff"),
        "a recording (WAV, FLAC, OGG, MP3)",
        ("soundfile", "stylemeter.reading.audio.network"),
        here_bytes=0,
        bytes_max=limits.SOUND_BYTES_MAX,
        seconds=limits.SOUND_SECONDS,
        memory_mb=limits.SOUND_MEMORY_MB,
    ),
    "csv": Reader("stylemeter.reading.table.read", (".csv", ".tsv"), "CSV table of notes"),
    "json": Reader("stylemeter.reading.table.read", (".json",), "JSON note table"),
}


def known_suffixes() -> tuple[str, ...]:
    """Every suffix picked up in folders, sorted."""
    return tuple(sorted(suffix for reader in KINDS.values() for suffix in reader.suffixes))


def kind_of_suffix(name: str) -> str | None:
    """Kind a file's name suggests, or None.

    Examples
    --------
    >>> kind_of_suffix("take.MXL"), kind_of_suffix("notes.txt")
    ('musicxml', None)
    """
    lower = name.lower()
    return next((kind for kind, reader in KINDS.items() if lower.endswith(reader.suffixes)), None)

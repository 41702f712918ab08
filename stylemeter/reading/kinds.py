"""The one table of what can be read: adding a format is one row here and one module beside it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["KINDS", "Reader", "kind_of_suffix", "known_suffixes"]


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
        What the module imports to read, loaded ahead of the first file; part of the cache's key.
    ours : bool
        Note tables, our own above all: cheap, so that small ones are read in this process and not cached.
    """

    module: str
    suffixes: tuple[str, ...]
    words: str
    libraries: tuple[str, ...] = ()
    ours: bool = False


KINDS: dict[str, Reader] = {
    "musicxml": Reader(
        "stylemeter.reading.musicxml.read", (".musicxml", ".mxl", ".xml"), "MusicXML", ("defusedxml",)
    ),
    "midi": Reader("stylemeter.reading.midi.read", (".mid", ".midi", ".rmi", ".kar"), "MIDI"),
    "abc": Reader("stylemeter.reading.abc.read", (".abc",), "ABC"),
    "kern": Reader("stylemeter.reading.kern.read", (".krn", ".kern"), "kern"),
    "mei": Reader("stylemeter.reading.mei.read", (".mei",), "MEI", ("defusedxml",)),
    "jams": Reader("stylemeter.reading.jams.read", (".jams",), "JAMS"),
    "tab": Reader("stylemeter.reading.tab.read", (".tab",), "text tablature"),
    "csv": Reader("stylemeter.reading.table.read", (".csv", ".tsv"), "CSV table of notes", ours=True),
    "json": Reader("stylemeter.reading.table.read", (".json",), "JSON note table", ours=True),
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

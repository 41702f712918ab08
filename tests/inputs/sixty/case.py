"""One input and what must come of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from stylemeter.music.melody import Melody
from stylemeter.reading import ReadOptions


@dataclass(frozen=True)
class Case:
    """An input with the right notes, the right error, or (both given) either of them.

    Attributes
    ----------
    number : int
        In the list of sixty.
    title : str
    data : bytes or callable
        Content of the file, or a function that lays it in a folder and returns its path.
    name : str
        File name for `data`.
    pitches : tuple or None
        Sounding MIDI numbers of the first melody; None where only an error is right.
    onsets : tuple or None
        In quarter notes from the first note.
    error : str or None
        Pattern of the error; None where only notes are right.
    remark : str or None
        Pattern of a remark there must be, if it is read.
    check : callable or None
        More that must hold of the melodies.
    """

    number: int
    title: str
    data: bytes | Callable[[Path], Path]
    name: str = "case.musicxml"
    pitches: tuple[float, ...] | None = None
    onsets: tuple[float, ...] | None = None
    error: str | None = None
    remark: str | None = None
    check: Callable[[list[Melody]], None] | None = None
    options: ReadOptions = field(default_factory=ReadOptions)

    def lay(self, folder: Path) -> Path:
        """Put the input in a folder."""
        if not isinstance(self.data, bytes):
            return self.data(folder)
        path = folder / self.name
        path.write_bytes(self.data)
        return path

    def __str__(self) -> str:
        return f"{self.number}-{self.title.replace(' ', '-')}"

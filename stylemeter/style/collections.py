"""Collections: which tunes a style is fitted from, under which licence, and how to get and read them.

A collection is a file ``corpus/NAME.toml``; it is data, no code is needed to add one. A folder of files is a
collection too. A source is ``music21:FOLDER/*.abc`` (inside music21's own wheel), ``open-data:FOLDER/*.mxl`` (below
the folder a user fetched, ``STYLEMETER_OPEN_DATA`` or ``--open-data``) or a path relative to the file.
"""

from __future__ import annotations

import hashlib
import re
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from stylemeter.errors import InputError, MissingLibraryError, PassingError, StylemeterError, UnknownNameError
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.support import places
from stylemeter.support.files import read_bounded
from stylemeter.support.printable import show
from stylemeter.support.shapes import either, listed, number, record, text
from stylemeter.support.timing import TimeUp, within

__all__ = ["Collection", "TuneSource", "collection_of_paths", "find_collection", "list_collections", "tune_sources"]

#: Bytes of a tune kept in memory until it is its turn.
HELD_BYTES_MAX = 64 * 2**10
#: Bytes of a collection file, and processor seconds for what is searched for in all its tunes.
FILE_BYTES_MAX, SEARCH_SECONDS = 2**20, 20.0

_words = text(10_000)
_shape = record(
    {},
    {
        **dict.fromkeys(("title", "style", "licence", "licence_words", "attribution", "obtain", "prepare"), _words),
        "source": either(text(1000), listed(text(1000), 1000)),
        "leave_out": text(1000),
        "leave_out_why": _words,
        "reading": record(
            {},
            {
                **dict.fromkeys(("part", "key", "meter", "chords", "chord_text"), text(1000)),
                **dict.fromkeys(("tempo", "first_beat"), number),
                "columns": listed(text(100), 100),
            },
        ),
    },
)

_REQUIRED = ("title", "style", "source", "licence", "licence_words", "attribution", "obtain")


@dataclass(frozen=True, slots=True)
class Collection:
    """What a collection file says.

    Attributes
    ----------
    name, title, style : str
        `style` is how its norm is spoken of: "old fiddle tunes".
    source : tuple of str
        Where its files are.
    licence, licence_words, attribution : str
        Short name of the licence, what it says, whom to name.
    obtain, prepare : str
        How a user gets the files, and what to do with them before fitting.
    leave_out : str
        Regular expression on a tune's header lines; tunes it matches are left out, `leave_out_why` says why.
    reading : ReadOptions
        How to read them.
    folder : Path
        Where relative sources count from.
    """

    name: str
    title: str
    style: str
    source: tuple[str, ...]
    licence: str = ""
    licence_words: str = ""
    attribution: str = ""
    obtain: str = ""
    prepare: str = ""
    leave_out: str = ""
    leave_out_why: str = ""
    reading: ReadOptions = field(default_factory=ReadOptions)
    folder: Path = Path()


@dataclass(frozen=True, slots=True)
class TuneSource:
    """One tune (or one file) to read.

    Attributes
    ----------
    label : str
        File name, and the tune's reference number where a file holds many.
    kind : str
        Reader, by name.
    path : Path
        The file.
    place : int
        Which tune of the file, from 0; -1 for the whole of it.
    digest : str
        Of its bytes (SHA-256).
    held : bytes or None
        The bytes themselves, of a small one; a large one is read when it is its turn.
    error : str
        Why it can't be taken; else empty.
    """

    label: str
    kind: str
    path: Path
    place: int = -1
    digest: str = ""
    held: bytes | None = None
    error: str = ""

    @classmethod
    def of(cls, label: str, kind: str, path: Path, data: bytes, place: int = -1) -> TuneSource:
        """Make one of the bytes it has now."""
        held = data if len(data) <= HELD_BYTES_MAX else None
        return cls(label, kind, path, place, hashlib.sha256(data).hexdigest(), held)

    @property
    def data(self) -> bytes:
        """Its bytes.

        Raises
        ------
        InputError
            If the file can't be read any more, or has changed since it was listed.
        """
        if self.held is not None:
            return self.held
        found = _bytes_of(self.path, self.place)
        if hashlib.sha256(found).hexdigest() != self.digest:
            raise PassingError("has changed while it was read", where=self.label, mend="fit again")
        return found

    def loaded(self) -> TuneSource:
        """The same with its bytes, for a machine that does not have the file."""
        return replace(self, held=self.data)


def _bytes_of(path: Path, place: int) -> bytes:
    """Bytes of a file, or of one of its tunes."""
    from stylemeter.reading import load as load_bytes

    return load_bytes(path) if place < 0 else _tunes(path)[place]


@lru_cache(maxsize=1)
def _tunes(path: Path) -> list[bytes]:
    """Tunes of an ABC file; its large tunes are asked for one after the other."""
    from stylemeter.reading import load as load_bytes
    from stylemeter.reading.abc.read import decode, split_tunes

    return [tune.text.encode("utf-8") for tune in split_tunes(decode(load_bytes(path)))]


def list_collections() -> dict[str, Path]:
    """Collection files by name, the user's own before the shipped ones."""
    found: dict[str, Path] = {}
    for folder in (places.user_folder("corpus"), places.shipped("corpus")):
        for path in sorted(folder.glob("*.toml")) if folder.is_dir() else []:
            found.setdefault(path.stem, path)
    return dict(sorted(found.items()))


def find_collection(name: str) -> Collection:
    """Load a collection by name, by the path of its file, or make one of a folder or file of music.

    Raises
    ------
    UnknownNameError, InputError
    """
    there = list_collections()
    if name in there:
        return load(there[name])
    path = Path(name)
    if path.suffix == ".toml" and path.is_file():
        return load(path)
    if path.exists():
        return collection_of_paths([path])
    raise UnknownNameError.among("collection, folder or file", name, list(there))


def collection_of_paths(paths: Sequence[Path]) -> Collection:
    """Make a collection of folders or files of the user's own."""
    title = ", ".join(p.name or str(p) for p in paths)
    return Collection(
        name=re.sub(r"[^A-Za-z0-9_-]+", "-", paths[0].stem).strip("-") or "own",
        title=title,
        style=f"tunes of {title}",
        source=tuple(str(p.resolve()) for p in paths),
        licence="the user's own files",
    )


def load(path: Path) -> Collection:
    """Read a collection file.

    Raises
    ------
    InputError
        Naming the field that is missing or wrong.
    """
    try:
        table = tomllib.loads(read_bounded(path, FILE_BYTES_MAX).decode("utf-8"))
        _shape(table, "")
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"not a collection file: {show(str(error), 200)}", where=show(path)) from None
    missing = [key for key in _REQUIRED if not table.get(key)]
    if missing:
        raise InputError(f"field {missing[0]!r} is missing or empty", where=show(path), mend="see corpus/ for examples")
    reading = table.pop("reading", {})
    known = {f.name for f in fields(Collection)} - {"name", "reading", "folder"}
    unknown = sorted(set(table) - known)
    if unknown:
        raise InputError(f"unknown field {unknown[0]!r}", where=show(path), mend="fields: " + ", ".join(sorted(known)))
    source = [table["source"]] if isinstance(table["source"], str) else table["source"]
    try:
        re.compile(table.get("leave_out", ""))
    except re.error as error:
        raise InputError(f"field 'leave_out': {error}", where=show(path)) from None
    table["source"] = tuple(source)
    return Collection(name=path.stem, reading=_reading(reading, path), folder=path.parent, **table)


def _reading(table: dict[str, Any], path: Path) -> ReadOptions:
    """Options of a collection's [reading] table."""
    known = {f.name for f in fields(ReadOptions)}
    unknown = sorted(set(table) - known)
    if unknown:
        raise InputError(f"unknown reading option {unknown[0]!r}", where=show(path), mend=", ".join(sorted(known)))
    if "columns" in table:
        table["columns"] = tuple(table["columns"])
    return ReadOptions(**table)


def files_of(collection: Collection, open_data: Path | None = None) -> list[Path]:
    """Files of a collection, sorted.

    Raises
    ------
    InputError
        If a source has no files; says how to get them.
    """
    found: set[Path] = set()
    for pattern in collection.source:
        paths = list(_expand(collection, pattern, open_data))
        if not paths:
            raise InputError(
                f"no files for {pattern!r}",
                where=f"collection {collection.name}",
                mend=collection.obtain or "check the path",
            )
        found.update(paths)
    return sorted(found)


def _expand(collection: Collection, pattern: str, open_data: Path | None) -> Iterator[Path]:
    """Files one source stands for."""
    scheme, _, rest = pattern.partition(":")
    if scheme == "music21" and rest:
        root, glob = _music21_corpus(), rest
    elif scheme == "open-data" and rest:
        chosen = open_data or places.open_data_folder()
        if chosen is None:
            raise InputError(
                "its files have to be fetched",
                where=f"collection {collection.name}",
                mend=f"{collection.obtain} Then name their folder with --open-data or STYLEMETER_OPEN_DATA",
            )
        root, glob = chosen, rest
    else:
        path = collection.folder / pattern
        if path.is_file():
            yield path
            return
        if path.is_dir():
            from stylemeter.reading import find

            yield from (Path(p) for p in find([path]))
            return
        root, glob = collection.folder, pattern
    if Path(glob).is_absolute():
        return
    yield from (p for p in root.glob(glob) if p.is_file())


def _music21_corpus() -> Path:
    """Folder of music21's own collections, found without importing it."""
    from importlib.util import find_spec

    spec = find_spec("music21")
    if spec is None or spec.origin is None:
        raise MissingLibraryError.of("music21", "corpus")
    return Path(spec.origin).parent / "corpus"


def tune_sources(collection: Collection, open_data: Path | None = None) -> tuple[list[TuneSource], list[str]]:
    """Tunes of a collection, in order, and what to tell of those left out; one that can't be taken says why.

    Returns
    -------
    sources, remarks
    """
    from stylemeter.reading import load as load_bytes
    from stylemeter.reading import sniff

    sources: list[TuneSource] = []
    left_out, spent = 0, [0.0]
    for path in files_of(collection, open_data):
        try:
            data = load_bytes(path)
            # a table without a header can only be known by what the collection says of it
            kind = "csv" if collection.reading.columns else sniff(data, path.name)
        except StylemeterError as error:
            label = show(path.name)
            sources.append(TuneSource(label, "", path, error=str(error.at(label))))
            continue
        for source, header in _split(path, data, kind):
            if _left_out(collection, header, spent):
                left_out += 1
            else:
                sources.append(source)
    why = collection.leave_out_why or collection.leave_out
    return sources, [f"{left_out} tunes left out: {why}"] if left_out else []


def _left_out(collection: Collection, header: str, spent: list[float]) -> bool:
    """Whether a tune is left out; adds the processor seconds that took to those spent."""
    if not collection.leave_out:
        return False
    start = time.process_time()
    try:
        with within(max(0.1, SEARCH_SECONDS - spent[0])):
            found = re.search(collection.leave_out, header)
    except TimeUp:
        where = f"collection {collection.name}: leave_out"
        raise InputError("takes too long to look for", where=where, mend="write it without nested repeats") from None
    spent[0] += time.process_time() - start
    return found is not None


def _split(path: Path, data: bytes, kind: str) -> Iterator[tuple[TuneSource, str]]:
    """One source a tune of an ABC file, one a file otherwise; and what `leave_out` is matched against."""
    if kind != "abc":
        yield TuneSource.of(path.name, kind, path, data), path.name
        return
    from stylemeter.reading.abc.read import decode, split_tunes

    for place, tune in enumerate(split_tunes(decode(data))):
        yield TuneSource.of(f"{path.name} X:{tune.number}", kind, path, tune.text.encode("utf-8"), place), tune.text

"""What the user's cache keeps of a profile: sorted columns and the document in parts.

Placing again then needs neither pyarrow nor sorting nor a whole ``profile.json``. A derived copy: the profile folder
stays the truth. An entry is named by the files' size and time of change, so that a replaced or edited profile is
checked anew; every entry carries its digest, and a damaged one is made again. Plain arrays and JSON, no pickle.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter._version import __version__
from stylemeter.style.ranks import Ordered
from stylemeter.style.rung import Rung
from stylemeter.support import places
from stylemeter.support.files import keep, kept

__all__ = [
    "RankedRung",
    "entry_folder",
    "load_details",
    "load_head",
    "load_rung",
    "store_document",
    "store_rung",
]

_FORMAT = 3


class RankedRung(Rung):
    """A rung that ranks from sorted columns; its rows are not loaded."""

    def __init__(self, notes: int, names: Sequence[str], families: int, ordered: dict[str, Ordered]) -> None:
        nothing = np.zeros((0, len(names)), dtype=np.float32)
        super().__init__(notes, names, np.zeros(0, dtype=np.int64), nothing)
        self._ordered = ordered
        self._families = families

    @property
    def families(self) -> int:
        """Number of families with a row here."""
        return self._families


def entry_folder(profile: Path) -> Path | None:
    """Folder of what the cache keeps of a profile folder; None where there is no cache or no such profile."""
    cache = places.cache_folder()
    if cache is None:
        return None
    try:
        states = [(profile / name).stat() for name in ("profile.json", "sample.parquet")]
    except OSError:
        return None
    key = f"{_FORMAT} {__version__} {profile.resolve()} {[(s.st_size, s.st_mtime_ns, s.st_ino) for s in states]}"
    return cache / "ranks" / hashlib.sha256(key.encode("utf-8", "surrogateescape")).hexdigest()[:32]


def load_head(folder: Path | None) -> dict[str, Any] | None:
    """Load a checked profile's document, its rungs without their details; None where it is not kept."""
    return _json(folder, "head.json")


def load_details(folder: Path | None, notes: int) -> dict[str, Any] | None:
    """Load the details of one rung, or None where they are not kept."""
    return _json(folder, f"{notes}-details.json")


def _json(folder: Path | None, name: str) -> dict[str, Any] | None:
    if folder is None:
        return None
    data = kept(folder / name)
    found = None if data is None else json.loads(bytes(data))
    return found if isinstance(found, dict) else None


def store_document(folder: Path | None, document: dict[str, Any]) -> None:
    """Keep a checked document, parted so that placing reads only the rungs it needs."""
    if folder is None:
        return
    brief = [{key: rung[key] for key in ("notes", "rows", "families")} for rung in document["rungs"]]
    parts = {f"{rung['notes']}-details.json": rung for rung in document["rungs"]}
    # the head last: where it is there, everything is
    for name, part in {**parts, "head.json": {**document, "rungs": brief}}.items():
        keep(folder / name, json.dumps(part, ensure_ascii=False).encode())


def load_rung(folder: Path | None, notes: int, names: Sequence[str], extra: Sequence[str]) -> Rung | None:
    """Load a rung's sorted columns, or None where they are not there or damaged."""
    if folder is None:
        return None
    columns = [*names, *extra]
    arrays = [_array(kept(folder / f"{notes}-{name}.npy")) for name in ("values", "cumulative", "counts")]
    if any(array is None for array in arrays):
        return None
    values, cumulative, counts = (array for array in arrays if array is not None)
    shape = (len(columns), values.shape[-1])
    if values.shape != shape or cumulative.shape != (shape[0], shape[1] + 1) or counts.shape != (shape[0] + 1,):
        return None
    ordered = {
        name: Ordered.of_sorted(values[i, : counts[i]], cumulative[i, : counts[i] + 1])
        for i, name in enumerate(columns)
    }
    return RankedRung(notes, names, int(counts[-1]), ordered)


def _array(data: memoryview | None) -> npt.NDArray[Any] | None:
    """The array of a file as numpy writes it, in place (`numpy.load` would copy it)."""
    if data is None:
        return None
    head = io.BytesIO(data[:256])
    np.lib.format.read_magic(head)
    shape, _, dtype = np.lib.format.read_array_header_1_0(head)
    return np.frombuffer(data, dtype, offset=head.tell()).reshape(shape)


def store_rung(folder: Path | None, rung: Rung, extra: Sequence[str]) -> None:
    """Keep a rung's sorted columns; a cache that can't be written is no reason to stop."""
    if folder is None:
        return
    columns = [*rung.names, *extra]
    rows = len(rung.family)
    values = np.full((len(columns), rows), np.nan, dtype=np.float32)
    cumulative = np.zeros((len(columns), rows + 1))
    counts = np.zeros(len(columns) + 1, dtype=np.int64)
    for i, name in enumerate(columns):
        sample = rung.ordered(name)
        counts[i] = len(sample.values)
        values[i, : counts[i]] = sample.values
        cumulative[i, : counts[i] + 1] = sample.cumulative
    counts[-1] = rung.families
    for name, array in (("values", values), ("cumulative", cumulative), ("counts", counts)):
        stream = io.BytesIO()
        np.save(stream, array, allow_pickle=False)
        keep(folder / f"{rung.notes}-{name}.npy", stream.getvalue())

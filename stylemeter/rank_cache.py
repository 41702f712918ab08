"""Sorted samples of a profile, kept in the user's cache: placing again needs neither pyarrow nor sorting.

A derived copy: ``sample.parquet`` stays the truth. An entry is named by the sample's digest, size and time of change,
so that a replaced or edited sample is checked and sorted anew; a damaged entry is made again. Plain arrays, no pickle.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from stylemeter import places
from stylemeter.reference import Rung
from stylemeter.stats import Ordered

__all__ = ["RankedRung", "entry_folder", "load_rung", "store_rung"]

_FORMAT = 1


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


def entry_folder(sample: Path, digest: str) -> Path | None:
    """Folder of a sample's sorted columns; None where there is no cache or no sample."""
    cache = places.cache_folder()
    if cache is None:
        return None
    try:
        state = sample.stat()
    except OSError:
        return None
    key = f"{_FORMAT} {digest} {state.st_size} {state.st_mtime_ns}"
    return cache / "ranks" / hashlib.sha256(key.encode()).hexdigest()[:32]


def load_rung(folder: Path | None, notes: int, names: Sequence[str], extra: Sequence[str]) -> Rung | None:
    """Load a rung's sorted columns, or None where they are not there or damaged."""
    if folder is None:
        return None
    columns = [*names, *extra]
    try:
        values = np.load(folder / f"{notes}-values.npy", mmap_mode="r", allow_pickle=False)
        cumulative = np.load(folder / f"{notes}-cumulative.npy", mmap_mode="r", allow_pickle=False)
        counts = np.load(folder / f"{notes}-counts.npy", allow_pickle=False)
    except (OSError, ValueError):
        return None
    shape = (len(columns), values.shape[-1])
    if values.shape != shape or cumulative.shape != (shape[0], shape[1] + 1) or counts.shape != (shape[0] + 1,):
        return None
    ordered = {
        name: Ordered.of_sorted(values[i, : counts[i]], cumulative[i, : counts[i] + 1])
        for i, name in enumerate(columns)
    }
    return RankedRung(notes, names, int(counts[-1]), ordered)


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
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, array in (("values", values), ("cumulative", cumulative), ("counts", counts)):
            part = folder / f".{rung.notes}-{name}.{os.getpid()}.part"
            with part.open("wb") as stream:
                np.save(stream, array, allow_pickle=False)
            part.replace(folder / f"{rung.notes}-{name}.npy")
    except OSError:
        shutil.rmtree(folder, ignore_errors=True)

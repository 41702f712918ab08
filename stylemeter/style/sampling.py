"""From tunes to feature rows: every tune read once, cut at the ladder, measured; kept in chunks, so nothing is lost.

A chunk is one Parquet file in the cache, named by what went into it (tunes, reading options, versions), written
whole or not at all. An interrupted fit finds its finished chunks again; an edited tune makes a new chunk.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from stylemeter._version import __version__
from stylemeter.errors import InputError, PassingError, StylemeterError
from stylemeter.features import CATALOG, FEATURE_VERSION, SCANS, Base, Line, distributions, scan_totals
from stylemeter.features.bulk import excerpt_block
from stylemeter.features.distributions import meter_label
from stylemeter.music.excerpts import LADDER, separate_starts
from stylemeter.music.melody import Melody
from stylemeter.reading import shared_session
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import READER_VERSION
from stylemeter.reading.process.codec import pack, unpack
from stylemeter.style.collections import TuneSource
from stylemeter.style.patterns import line_bytes
from stylemeter.support import places
from stylemeter.support.files import keep, kept
from stylemeter.support.pool import run_many

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["Sample", "TuneRows", "gather", "sample_melody", "sample_of"]

Ints = npt.NDArray[np.int64]
Singles = npt.NDArray[np.float32]

#: Where a chunk's table tells what it lost to time or memory.
LOST = b"lost"
#: Tunes a chunk.
CHUNK_TUNES = 64
#: Distributions kept beside the scalars.
DISTRIBUTIONS = ("intervals", "degrees", "iois", "onsets")


@dataclass(frozen=True, slots=True)
class TuneRows:
    """Excerpts of one tune, measured.

    Attributes
    ----------
    rung, start : ndarray of shape (n_rows,)
        Notes an excerpt and where it begins.
    values : ndarray of shape (n_rows, n_features)
    scans : ndarray of shape (n_rows, n_scans)
        Best stretches of the habits' scans.
    shapes : dict of list of ndarray
        Distributions of each excerpt, empty where unmeasured.
    meter : list of str
        Meter each excerpt's onsets are compared within; empty where it changes.
    line : bytes
        The tune as symbols, as `patterns.line_bytes` makes them.
    """

    rung: Ints
    start: Ints
    values: Singles
    scans: Singles
    shapes: dict[str, list[Singles]]
    meter: list[str]
    line: bytes


def sample_melody(melody: Melody, ladder: Sequence[int] = LADDER) -> TuneRows:
    """Cut a tune at every rung and measure the excerpts.

    Parameters
    ----------
    melody : Melody
    ladder : sequence of int
        Note counts.

    Returns
    -------
    TuneRows
    """
    base = Base(melody)
    cuts = [(rung, start) for rung in ladder for start in separate_starts(base.n, rung)]
    rows = excerpt_block(base, [(start, start + rung) for rung, start in cuts]).astype(np.float32)
    shapes: dict[str, list[Singles]] = {name: [] for name in DISTRIBUTIONS}
    meters, scans = [], []
    for rung, start in cuts:
        line = Line(base, start, start + rung)
        scans.append(scan_totals(line))
        meters.append(meter_label(line))
        found = distributions(line)
        for name in DISTRIBUTIONS:
            shapes[name].append(found.get(name, np.zeros(0)).astype(np.float32))
    pairs = np.array(cuts, dtype=np.int64).reshape(-1, 2)
    totals = np.array(scans, dtype=np.float32).reshape(-1, len(SCANS))
    return TuneRows(pairs[:, 0], pairs[:, 1], rows, totals, shapes, meters, line_bytes(base))


# -- one chunk --------------------------------------------------------------------------------------------------


def _measure(source: TuneSource, options: ReadOptions) -> tuple[list[dict[str, Any]], StylemeterError | None]:
    """Rows of a chunk's table for one source: one a melody, or one that says why there is none; and that error."""
    if source.error:
        return [{"label": source.label, "error": source.error}], PassingError(source.error)
    try:
        melodies = shared_session().read_bytes(source.data, source.kind, source.label, options)
    except StylemeterError as error:
        return [{"label": source.label, "error": str(error if error.where else error.at(source.label))}], error
    return [_row(source.label, melody) for melody in melodies], None


def _row(label: str, melody: Melody) -> dict[str, Any]:
    """One melody's row."""
    rows = sample_melody(melody)
    pitch = np.floor(melody.pitch + 0.5).astype(np.int64)
    return {
        "label": label,
        "error": None,
        "meter": rows.meter,
        "intervals": np.clip(np.diff(pitch), -127, 127).astype(np.int8).tobytes(),
        "line": rows.line,
        "melody": pack([melody]),
        "rung": rows.rung.astype(np.int16).tobytes(),
        "values": rows.values.tobytes(),
        "scans": rows.scans.tobytes(),
        **{f"shape:{name}": [v.tobytes() for v in rows.shapes[name]] for name in DISTRIBUTIONS},
    }


def _schema() -> pa.Schema:
    import pyarrow as pa

    text, binary = pa.string(), pa.binary()
    fields = [("label", text), ("error", text), ("meter", pa.list_(text)), ("intervals", binary), ("melody", text)]
    fields += [("line", binary), ("rung", binary), ("values", binary), ("scans", binary)]
    return pa.schema(fields + [(f"shape:{name}", pa.list_(binary)) for name in DISTRIBUTIONS])


def measure_chunk(sources: Sequence[TuneSource], options: ReadOptions, path: Path | None) -> pa.Table:
    """Read and measure a chunk's tunes, or take the finished chunk from the cache.

    Parameters
    ----------
    sources : sequence of TuneSource
    options : ReadOptions
    path : Path or None
        Where the chunk lies or is to lie.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    if path is not None:
        there = kept(path)
        if there is not None:
            # as one file: as a data set it would load libraries that take longer than the rest
            found = pq.ParquetFile(pa.BufferReader(there)).read()
            if found.schema.equals(_schema()):
                return found
    rows, lost = [], []
    for source in sources:
        more, refused = _measure(source, options)
        rows += more
        lost += [str(refused)] if isinstance(refused, PassingError) else []
    table = pa.Table.from_pylist(rows, schema=_schema())
    if lost:  # what time or memory refused today may be read tomorrow: not kept
        return table.replace_schema_metadata({LOST: json.dumps(lost)})
    if path is not None:
        stream = io.BytesIO()
        pq.write_table(table, stream, compression="zstd")
        keep(path, stream.getvalue())
    return table


def chunk_name(sources: Sequence[TuneSource], options: ReadOptions) -> str:
    """Digest of all that decides a chunk's content."""
    digest = hashlib.sha256()
    versions = (__version__, READER_VERSION, FEATURE_VERSION, list(CATALOG), list(SCANS), LADDER, repr(options))
    digest.update(repr(versions).encode())
    for source in sources:
        data = b"" if source.error else source.data
        digest.update(f"{source.label}\0{source.kind}\0{len(data)}\0".encode("utf-8", "surrogateescape"))
        digest.update(data)
    return digest.hexdigest()


# -- the whole sample -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sample:
    """Feature rows of a whole collection.

    Attributes
    ----------
    labels : list of str
        Tunes read.
    intervals : list of ndarray
        Of each tune, for the families.
    lines : list of bytes
        The tunes as symbols, see `patterns.Lines`.
    packed : list of str
        The melodies, as `reading.wire` packs them.
    tune : ndarray of shape (R,)
        Tune of each row.
    rung : ndarray of shape (R,)
    values : ndarray of shape (R, F)
    scans : ndarray of shape (R, n_scans)
    shapes : dict of list of ndarray
        Distributions of each row.
    meter : list of str
        Meter of each row.
    failures : list of str
        One line a tune that could not be read.
    digest : str
        Of everything that went in.
    """

    labels: list[str]
    intervals: list[npt.NDArray[np.int8]]
    lines: list[bytes]
    packed: list[str]
    tune: Ints
    rung: Ints
    values: Singles
    scans: Singles
    shapes: dict[str, list[Singles]]
    meter: list[str]
    failures: list[str]
    digest: str

    def melody(self, tune: int) -> Melody:
        """Return the note table of a tune."""
        return unpack(self.packed[tune])[0]


def gather(
    parts: Sequence[tuple[Sequence[TuneSource], ReadOptions]],
    *,
    workers: int = 1,
    scheduler: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Sample:
    """Read and measure collections, chunk by chunk.

    Parameters
    ----------
    parts : sequence of (sources, options)
        One a collection.
    workers : int
        Processes.
    scheduler : str, optional
        Address of a dask cluster that does the work instead.
    progress : callable, optional
        Called with tunes done and tunes in all.

    Raises
    ------
    InputError
        If no tune could be read.
    """
    folder = places.cache_folder()
    jobs = []
    for sources, options in parts:
        for start in range(0, len(sources), CHUNK_TUNES):
            chunk = sources[start : start + CHUNK_TUNES]
            name = chunk_name(chunk, options)
            jobs.append((chunk, options, folder / "chunks" / f"{name}.parquet" if folder else None, name))
    total = sum(len(job[0]) for job in jobs)
    tables, done = [], 0
    if all(job[2] and job[2].is_file() for job in jobs):  # what is there is quicker taken than handed over
        workers, scheduler = 1, None
    calls = [([s.loaded() for s in job[0]] if scheduler else job[0], *job[1:3]) for job in jobs]
    for job, table in zip(jobs, run_many(measure_chunk, calls, workers, scheduler), strict=True):
        tables.append(table)
        done += len(job[0])
        if progress:
            progress(done, total)
    lost: list[str] = []
    for place, (job, table) in enumerate(zip(jobs, tables, strict=True)):
        if _lost(table):  # once more, now that nothing else is running
            tables[place] = measure_chunk(*job[:3])
            lost += _lost(tables[place])
    # what is lost to time or memory decides what the sample is, too
    digest = hashlib.sha256("".join([*(job[3] for job in jobs), *lost]).encode("utf-8", "replace")).hexdigest()
    return _assemble(tables, digest)


def _lost(table: pa.Table) -> list[str]:
    """A line for each tune of a chunk that was refused for time or memory."""
    found: list[str] = json.loads((table.schema.metadata or {}).get(LOST, b"[]"))
    return found


def _assemble(tables: Sequence[pa.Table], digest: str) -> Sample:
    """Put the chunks together."""
    return _sample([row for table in tables for row in table.to_pylist()], digest)


def sample_of(melodies: Sequence[Melody]) -> Sample:
    """The sample of melodies that are there already, a tune each."""
    rows = [_row(melody.title or melody.path or f"tune {i}", melody) for i, melody in enumerate(melodies, 1)]
    return _sample(rows, hashlib.sha256("".join(row["melody"] for row in rows).encode()).hexdigest())


def _sample(rows: Sequence[dict[str, Any]], digest: str) -> Sample:
    """Put rows together, one a tune."""
    failures = [row["error"] for row in rows if row["error"] is not None]
    good = [row for row in rows if row["error"] is None]
    if not good:
        raise InputError("no tune could be read", mend=failures[0] if failures else "the collection is empty")
    rungs = [np.frombuffer(row["rung"], dtype=np.int16).astype(np.int64) for row in good]
    block = [np.frombuffer(row["values"], dtype=np.float32).reshape(-1, len(CATALOG)) for row in good]
    shapes = {
        name: [np.frombuffer(cell, dtype=np.float32) for row in good for cell in row[f"shape:{name}"]]
        for name in DISTRIBUTIONS
    }
    return Sample(
        labels=[row["label"] for row in good],
        intervals=[np.frombuffer(row["intervals"], dtype=np.int8) for row in good],
        lines=[row["line"] for row in good],
        packed=[row["melody"] for row in good],
        tune=np.repeat(np.arange(len(good)), [len(r) for r in rungs]),
        rung=np.concatenate(rungs),
        values=np.concatenate(block),
        scans=np.concatenate([np.frombuffer(row["scans"], dtype=np.float32).reshape(-1, len(SCANS)) for row in good]),
        shapes=shapes,
        meter=[label for row in good for label in row["meter"]],
        failures=failures,
        digest=digest,
    )

"""A fitted style: its sample, limits and models, as a folder of plain data.

``recipe.toml`` says what it was fitted from, ``profile.json`` holds counts, licences, digests, limits and models,
``sample.parquet`` the reference rows (one row group a rung), ``vocabulary.parquet`` the patterns its tunes share,
``calibration.json`` what held-out checks measured, ``SHA256SUMS`` the digests of what was fitted (``sha256sum -c``
reads it).
No pickle; nothing in it from which a melody could be rebuilt.
"""

from __future__ import annotations

import io
import json
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from stylemeter.errors import ProfileError, UnknownNameError, WrongTypeError
from stylemeter.style import cache as rank_cache
from stylemeter.style.checking import (
    CALIBRATION,
    FILES,
    SUMS,
    calibration_of,
    check_sums,
    document_of,
    is_profile,
    sample_of,
    sums_of,
)
from stylemeter.style.document import About, Limits, Origin, RungNorm
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG, Rung
from stylemeter.support import places
from stylemeter.support.files import write_whole, writing
from stylemeter.support.install import install
from stylemeter.support.notebook import html_table
from stylemeter.support.printable import show

if TYPE_CHECKING:
    import pandas as pd

    from stylemeter.style.vocabulary import Vocabulary

__all__ = ["Limits", "Profile", "check_whole", "installed", "load_profile", "sample_bytes", "styles"]


@dataclass(frozen=True)
class Profile:
    """A fitted style.

    Attributes
    ----------
    folder : Path or None
        None where it is held in memory.
    about : About
        What ``profile.json`` says beside the norms; those are read when they are asked for, by `norm`.
    calibration : dict or None
        ``calibration.json`` as read, where the profile was calibrated.
    remarks : tuple of str
        What was left out when it was fitted just now.
    recipe : str
        Text of ``recipe.toml``, of one in memory.
    patterns : bytes
        ``vocabulary.parquet``, of one in memory.
    """

    folder: Path | None
    about: About
    calibration: dict[str, Any] | None = None
    remarks: tuple[str, ...] = ()
    recipe: str = ""
    patterns: bytes = field(default=b"", repr=False)
    _rungs: dict[int, Rung] = field(default_factory=dict, repr=False)
    _norms: dict[int, RungNorm] = field(default_factory=dict, repr=False)

    def __repr__(self) -> str:
        good = self.good_rungs
        if good:
            norm = f"a norm for {good[0]} to {good[-1]} notes"
        else:
            norm = "provisional limits only" if self.provisional_rungs else "too few families for any limits"
        calibrated = "calibrated" if self.calibration else "not calibrated"
        return (
            f"<Profile {self.name}: {self.style}, {self.tunes} tunes in {self.families} families\n"
            f" {norm}, {calibrated}, {self.folder or 'in memory'}>"
        )

    def _repr_html_(self) -> str:
        rows = [[notes, families] for notes, families in sorted(self.rung_families.items())]
        return html_table(f"{self.name}: {self.style}", ["notes", "tune families"], rows)

    @cached_property
    def entry(self) -> Path | None:
        """Where the cache keeps what is derived from it."""
        return None if self.folder is None else rank_cache.entry_folder(self.folder)

    @property
    def name(self) -> str:
        """Name it is chosen by."""
        return self.about.name

    @property
    def style(self) -> str:
        """What its tunes are, in the plural."""
        return self.about.style

    @property
    def origins(self) -> tuple[Origin, ...]:
        """The collections its tunes come from, with their licences."""
        return self.about.origins

    @property
    def tunes(self) -> int:
        """Tunes it was fitted from."""
        return self.about.tunes

    @property
    def families(self) -> int:
        """Families they fall into."""
        return self.about.families

    @property
    def names(self) -> list[str]:
        """Features in the order of the sample's columns."""
        return list(self.about.features)

    @property
    def digest(self) -> str:
        """SHA-256 of the sample."""
        return self.about.sample_sha256

    @cached_property
    def rung_families(self) -> dict[int, int]:
        """Families of every rung, by note count."""
        return {size.notes: size.families for size in self.about.rungs}

    @property
    def good_rungs(self) -> list[int]:
        """Rungs with enough families to be a norm."""
        return [notes for notes, families in sorted(self.rung_families.items()) if families >= FAMILIES_FOR_RUNG]

    @property
    def provisional_rungs(self) -> list[int]:
        """Rungs with enough families for limits at all."""
        return [notes for notes, families in sorted(self.rung_families.items()) if families >= FAMILIES_FOR_LIMITS]

    def norm(self, notes: int) -> RungNorm:
        """What the profile says of a rung: limits, quantiles, distributions, the distance.

        Parameters
        ----------
        notes : int
            Note count of the rung's excerpts.

        Raises
        ------
        UnknownNameError
            If there is no rung of so many notes.
        ProfileError
            If the profile is damaged.
        """
        if notes not in self._norms:
            if notes not in self.rung_families:
                raise UnknownNameError.among("rung of", f"{notes} notes", [str(n) for n in self.rung_families])
            self._norms[notes] = self._read_norm(notes)
        return self._norms[notes]

    def _read_norm(self, notes: int) -> RungNorm:
        """A rung's norm from the cache, or from ``profile.json`` itself where the cache lost it."""
        assert self.folder is not None  # of what is in memory all norms are there
        kept = rank_cache.load_details(self.entry, notes)
        if kept is None:
            found = [rung for rung in document_of(self.folder)["rungs"] if rung["notes"] == notes]
            if not found:
                raise ProfileError("has changed since it was loaded", where=show(self.folder), mend="load it again")
            kept = found[0]
        return RungNorm.from_plain(kept)

    def rung(self, notes: int) -> Rung:
        """Load a rung to rank against, once: from the cache's sorted columns where they are there.

        Raises
        ------
        ProfileError
            If the sample is damaged.
        """
        if notes not in self._rungs:
            extra = self.about.extra
            found = rank_cache.load_rung(self.entry, notes, self.names, extra)
            if found is None:
                found = self.full_rung(notes)
                rank_cache.store_rung(self.entry, found, extra)
            self._rungs[notes] = found
        return self._rungs[notes]

    def full_rung(self, notes: int) -> Rung:
        """Load a rung with its rows, from the sample itself.

        Raises
        ------
        ProfileError
            If the sample is damaged.
        """
        if self.folder is None:
            return self._rungs[notes]
        import pyarrow as pa
        import pyarrow.parquet as pq

        group = [size.notes for size in self.about.rungs].index(notes)
        try:
            file = pq.ParquetFile(self.folder / "sample.parquet", memory_map=False)
            _check_size(file, group, self.about.rungs[group].rows)
            table = file.read_row_group(group, use_threads=False)
            family = _plain(table.column("family"), np.int32).astype(np.int64)
            block = np.column_stack([_plain(table.column(name), np.float32) for name in self.names])
            extra = {n: _plain(table.column(n), np.float32) for n in self.about.extra}
        except (OSError, KeyError, ValueError, pa.ArrowException) as error:
            raise ProfileError(
                f"damaged sample ({error})", where=str(self.folder), mend="fit or install it anew"
            ) from None
        return Rung(notes, self.names, family, block, extra)

    @cached_property
    def vocabulary(self) -> Vocabulary:
        """Patterns its tunes share, loaded when they are asked for.

        Raises
        ------
        ProfileError
            If it has none (fitted by an earlier version), or it is damaged.
        """
        from stylemeter.style.vocabulary import FILE, load_vocabulary

        where = self.patterns if self.folder is None else self.folder / FILE
        return load_vocabulary(where, self.about.vocabulary_sha256 or None)

    def limits(self, notes: int, feature: str, coverage: float) -> Limits | None:
        """Central range of a feature in a rung, or None with too few families.

        Parameters
        ----------
        notes : int
        feature : str
        coverage : float
            Share of the style inside, such as 0.9; limits for 0.8, 0.9 and 0.95 are stored, others worked out.
        """
        entry = self.norm(notes).features.get(feature)
        if entry is None or not entry.limits:
            return None
        stored = entry.limits.get(f"{coverage:g}")
        return Limits.of(self._work_out(notes, feature, coverage) if stored is None else stored)

    def to_frame(self, coverage: float = 0.9) -> pd.DataFrame:
        """Return the norms as a frame.

        Parameters
        ----------
        coverage : float
            Share of the style inside, 0.5 to 0.99.

        Returns
        -------
        DataFrame of n_rungs * n_features rows
            Indexed by `notes` (of an excerpt) and `feature`: `families` it is measured in, `median`, `lower` and
            `upper` (ends of the norm, in the feature's unit); NaN where there are too few families.

        Examples
        --------
        >>> load_profile("pop-songs").to_frame().loc[(32, "step_share"), "families"] > 120
        np.True_
        """
        import pandas as pd

        rows = []
        for notes in sorted(self.rung_families):
            for name, entry in self.norm(notes).features.items():
                found = self.limits(notes, name, coverage)
                lower, upper = (found.lower, found.upper) if found else (math.nan, math.nan)
                rows.append([notes, name, entry.families, entry.median, lower, upper])
        frame = pd.DataFrame(rows, columns=["notes", "feature", "families", "median", "lower", "upper"])
        return frame.set_index(["notes", "feature"])

    def to_plain(self) -> dict[str, Any]:
        """What ``profile.json`` holds, as plain data, the norms of all rungs too."""
        return self.about.to_plain() | {"rungs": [self.norm(size.notes).to_plain() for size in self.about.rungs]}

    def save(self, folder: str | PathLike[str] | None = None) -> Path:
        """Write the profile's folder as a transaction: it is checked whole before it takes the place of an older one.

        Parameters
        ----------
        folder : path, optional
            By default the user's own profiles folder, where it is found by name.

        Returns
        -------
        Path

        Raises
        ------
        UsageError
            If something that is no profile lies there, or it can't be written. Nothing is changed then.
        """
        target = places.user_folder("profiles") / self.name if folder is None else Path(folder)
        if self.folder is not None and target.resolve() == self.folder.resolve():
            if self.calibration is not None:
                with writing(target):
                    write_whole(target / CALIBRATION, _calibration_bytes(self.calibration))
            return target
        install(target, self._fill, is_profile, check_whole)
        return target

    def _fill(self, folder: Path) -> None:
        """Write the files into an empty folder."""
        if self.folder is not None:
            for name in FILES:
                if (self.folder / name).is_file():
                    (folder / name).write_bytes((self.folder / name).read_bytes())
        else:
            (folder / "sample.parquet").write_bytes(sample_bytes(self.names, self._rungs))
            (folder / "vocabulary.parquet").write_bytes(self.patterns)
            (folder / "profile.json").write_text(_dump(self.to_plain()) + "\n", encoding="utf-8")
            (folder / "recipe.toml").write_text(self.recipe, encoding="utf-8")
        if self.calibration is not None:
            (folder / CALIBRATION).write_bytes(_calibration_bytes(self.calibration))
        (folder / SUMS).write_text(sums_of(folder), encoding="utf-8")

    def _work_out(self, notes: int, feature: str, coverage: float) -> list[float]:
        """Limits of a coverage that is not stored."""
        from stylemeter.style.limits import limit_rows

        return limit_rows(self.full_rung(notes), feature, [coverage])[0]


def _calibration_bytes(calibration: dict[str, Any]) -> bytes:
    return (json.dumps(calibration, indent=1) + "\n").encode("utf-8")


def check_whole(folder: Path) -> Profile:
    """Load everything of a profile folder that placing a melody needs, past all caches.

    Raises
    ------
    ProfileError
        If anything is damaged, missing or of another version.
    """
    plain = document_of(folder)
    about = About.from_plain(plain, show(folder))
    check_sums(folder)
    sample_of(folder, about.sample_sha256)
    profile = Profile(folder, about, calibration_of(folder, about.input_digest))
    for size in about.rungs:
        rung = profile.full_rung(size.notes)
        if rung.families != size.families:
            raise ProfileError(
                f"damaged sample: families of {size.notes} notes", where=show(folder), mend="fit it anew"
            )
        for name in (*profile.names, *about.extra):
            rung.ordered(name)
    for plain_rung in plain["rungs"]:
        RungNorm.from_plain(plain_rung)
    return profile


def _check_size(file: Any, group: int, rows: int) -> None:
    """Refuse, before it is unpacked, a row group that holds more or other things than the document says."""
    kinds = ("int16", "int32", "float")
    if file.metadata.row_group(group).num_rows != rows or any(str(f.type) not in kinds for f in file.schema_arrow):
        raise ValueError("it does not hold what profile.json says")


def _plain(column: Any, kind: type[np.generic]) -> npt.NDArray[Any]:
    """Numbers of a column without nulls, straight from its buffers (pyarrow's own way would import pandas)."""
    if column.null_count or column.type.bit_width != 8 * np.dtype(kind).itemsize:
        raise ValueError("a column is not what it should be")
    parts = [np.frombuffer(c.buffers()[1], dtype=kind)[c.offset : c.offset + len(c)] for c in column.chunks]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)


def _dump(value: Any, depth: int = 0) -> str:
    """JSON with a line a rung's feature, so that a change can be read in a diff."""
    if depth < 4 and isinstance(value, dict) and value:
        inner = [f"{json.dumps(key)}: {_dump(item, depth + 1)}" for key, item in value.items()]
    elif depth < 4 and isinstance(value, list) and value and isinstance(value[0], dict):
        inner = [_dump(item, depth + 1) for item in value]
    else:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    pad = "\n" + " " * (depth + 1)
    opening, closing = ("{", "}") if isinstance(value, dict) else ("[", "]")
    return opening + pad + ("," + pad).join(inner) + pad[:-1] + closing


def sample_bytes(names: Sequence[str], rungs: Mapping[int, Rung]) -> bytes:
    """The reference rows as Parquet, one row group a rung: the same bytes for the same rows."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    extra = sorted(next(iter(rungs.values())).extra)
    columns = [*names, *extra]
    schema = pa.schema([("family", pa.int32()), ("rung", pa.int16()), *((n, pa.float32()) for n in columns)])
    stream = io.BytesIO()
    with pq.ParquetWriter(stream, schema, compression="zstd", compression_level=19) as writer:
        for notes, rung in rungs.items():
            order = np.argsort(rung.family, kind="stable")
            cells: list[Any] = [rung.family[order].astype(np.int32), np.full(len(order), notes, dtype=np.int16)]
            cells += [rung.values[order, i] for i in range(len(names))]
            cells += [rung.extra[n][order] for n in extra]
            writer.write_table(pa.table([pa.array(c) for c in cells], schema=schema), row_group_size=len(order))
    return stream.getvalue()


def _load_folder(folder: Path) -> Profile:
    """Load a profile folder, checked whole where the cache does not know it."""
    entry = rank_cache.entry_folder(folder)
    kept = rank_cache.load_head(entry)
    plain = kept or document_of(folder)
    about = About.from_plain(plain, show(folder))
    if kept is None:
        check_sums(folder)
        sample_of(folder, about.sample_sha256)
        rank_cache.store_document(entry, plain)
    return Profile(folder, about, calibration_of(folder, about.input_digest))


def installed() -> dict[str, Path]:
    """Profile folders by name: the user's own, then the shipped ones."""
    found: dict[str, Path] = {}
    for folder in (places.user_folder("profiles"), places.shipped("profiles")):
        try:
            paths = sorted(folder.iterdir())
        except OSError:  # there is none, or nobody may look into it
            continue
        for path in paths:
            # whatever it is: that it is no profile is told when it is loaded
            if not path.name.startswith(".") and os.path.lexists(path / "profile.json"):
                found.setdefault(path.name, path)
    return dict(sorted(found.items()))


def styles() -> list[Profile]:
    """Load every style there is and can be used: the user's own and the shipped ones, by name.

    Returns
    -------
    list of Profile

    Raises
    ------
    ProfileError
        If there are styles and none can be used.

    Examples
    --------
    >>> "pop-songs" in [style.name for style in styles()]
    True
    """
    there, passed_over = usable_styles()
    if passed_over and not there:
        raise ProfileError(f"no style can be used: {passed_over[0]}", mend="fit or install them anew")
    return there


def usable_styles() -> tuple[list[Profile], list[str]]:
    """The installed styles, and a line for each that is damaged or of another version: it stops nothing else."""
    there, passed_over = [], []
    for name, folder in installed().items():
        try:
            there.append(_load_folder(folder))
        except ProfileError as error:
            passed_over.append(f"style {show(name)} passed over: {error}")
    return there, passed_over


def load_profile(profile: str | PathLike[str] | Profile) -> Profile:
    """Load a style.

    Parameters
    ----------
    profile : str, path or Profile
        A name (the user's own profiles come before the shipped ones), a profile folder, or a profile, which is
        returned as it is.

    Returns
    -------
    Profile

    Raises
    ------
    UnknownNameError
        If there is neither a profile nor a folder of that name.
    ProfileError
        If it is damaged, edited or of another schema version.

    Examples
    --------
    >>> load_profile("pop-songs").style, load_profile("Pop songs").name
    ('pop songs', 'pop-songs')
    """
    if isinstance(profile, Profile):
        return profile
    if isinstance(profile, str):
        there = installed()
        # a style's own words do as well as its name: "pop songs"
        name = profile if profile in there else "-".join(profile.lower().split())
        if name in there:
            return _load_folder(there[name])
        if not Path(profile).is_dir():
            raise UnknownNameError.among("profile", profile, list(there))
    elif not isinstance(profile, PathLike):
        raise WrongTypeError.of("a profile", profile, "its name, its folder or a Profile")
    return _load_folder(Path(profile))

"""A fitted style: its sample, limits and models, as a folder of plain data.

``recipe.toml`` says what it was fitted from, ``profile.json`` holds counts, licences, digests, limits and models,
``sample.parquet`` the reference rows (one row group a rung), ``calibration.json`` what held-out checks measured.
No pickle; nothing in it from which a melody could be rebuilt.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.errors import ProfileError, UnknownNameError, WrongTypeError
from stylemeter.features import CATALOG, FEATURE_VERSION
from stylemeter.style import cache as rank_cache
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG, Rung
from stylemeter.support import places

__all__ = ["SCHEMA", "Limits", "Profile", "installed", "load_profile"]

SCHEMA = "stylemeter/profile/1"

_REQUIRED = (
    "name",
    "style",
    "tunes",
    "families",
    "collections",
    "rungs",
    "sample_sha256",
    "feature_version",
    "features",
    "extra",
)


@dataclass(frozen=True, slots=True)
class Limits:
    """Central range of a feature in a rung, with the confidence intervals of both ends."""

    lower: float
    upper: float
    lower_ci: tuple[float, float]
    upper_ci: tuple[float, float]


@dataclass(frozen=True)
class Profile:
    """A fitted style.

    Attributes
    ----------
    folder : Path
    document : dict
        ``profile.json`` as read.
    calibration : dict or None
        ``calibration.json`` as read, where the profile was calibrated.
    """

    folder: Path
    document: dict[str, Any]
    calibration: dict[str, Any] | None = None
    _rungs: dict[int, Rung] = field(default_factory=dict, repr=False)
    _details: dict[int, dict[str, Any]] = field(default_factory=dict, repr=False)

    @cached_property
    def entry(self) -> Path | None:
        """Where the cache keeps what is derived from it."""
        return rank_cache.entry_folder(self.folder)

    @property
    def name(self) -> str:
        """Name it is chosen by."""
        return str(self.document["name"])

    @property
    def style(self) -> str:
        """What its tunes are, in the plural."""
        return str(self.document["style"])

    @property
    def names(self) -> list[str]:
        """Features in the order of the sample's columns."""
        return list(self.document["features"])

    @property
    def digest(self) -> str:
        """SHA-256 of the sample."""
        return str(self.document["sample_sha256"])

    @cached_property
    def rung_families(self) -> dict[int, int]:
        """Families of every rung, by note count."""
        return {int(r["notes"]): int(r["families"]) for r in self.document["rungs"]}

    @property
    def good_rungs(self) -> list[int]:
        """Rungs with enough families to be a norm."""
        return [notes for notes, families in sorted(self.rung_families.items()) if families >= FAMILIES_FOR_RUNG]

    @property
    def provisional_rungs(self) -> list[int]:
        """Rungs with enough families for limits at all."""
        return [notes for notes, families in sorted(self.rung_families.items()) if families >= FAMILIES_FOR_LIMITS]

    def rung_document(self, notes: int) -> dict[str, Any]:
        """Return what ``profile.json`` says of a rung."""
        if notes not in self._details:
            found = next(r for r in self.document["rungs"] if r["notes"] == notes)
            if "features" not in found:
                found = rank_cache.load_details(self.entry, notes) or self._read_details(notes)
            self._details[notes] = found
        return self._details[notes]

    def _read_details(self, notes: int) -> dict[str, Any]:
        """Details of a rung from ``profile.json`` itself, where the cache lost them."""
        document = _json(self.folder / "profile.json", str(self.folder))
        found: dict[str, Any] = next(r for r in document["rungs"] if r["notes"] == notes)
        return found

    def rung(self, notes: int) -> Rung:
        """Load a rung to rank against, once: from the cache's sorted columns where they are there.

        Raises
        ------
        ProfileError
            If the sample is damaged.
        """
        if notes not in self._rungs:
            extra = list(self.document["extra"])
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
        import pyarrow as pa
        import pyarrow.parquet as pq

        group = [r["notes"] for r in self.document["rungs"]].index(notes)
        try:
            file = pq.ParquetFile(self.folder / "sample.parquet", memory_map=False)
            table = file.read_row_group(group, use_threads=False)
            family = _plain(table.column("family"), np.int32).astype(np.int64)
            block = np.column_stack([_plain(table.column(name), np.float32) for name in self.names])
            extra = {n: _plain(table.column(n), np.float32) for n in self.document["extra"]}
        except (OSError, KeyError, ValueError, pa.ArrowException) as error:
            raise ProfileError(
                f"damaged sample ({error})", where=str(self.folder), mend="fit or install it anew"
            ) from None
        return Rung(notes, self.names, family, block, extra)

    def limits(self, notes: int, feature: str, coverage: float) -> Limits | None:
        """Central range of a feature in a rung, or None with too few families.

        Parameters
        ----------
        notes : int
        feature : str
        coverage : float
            Share of the style inside, such as 0.9; limits for 0.8, 0.9 and 0.95 are stored, others worked out.
        """
        entry = self.rung_document(notes)["features"].get(feature)
        if entry is None or not entry["limits"]:
            return None
        found = entry["limits"].get(f"{coverage:g}")
        if found is None:
            found = self._work_out(notes, feature, coverage)
        lower, upper, *ends = (float(v) for v in found)
        return Limits(lower, upper, (ends[0], ends[1]), (ends[2], ends[3]))

    def _work_out(self, notes: int, feature: str, coverage: float) -> list[float]:
        """Limits of a coverage that is not stored."""
        from stylemeter.style.limits import limit_rows

        return limit_rows(self.full_rung(notes), feature, [coverage])[0]


def _plain(column: Any, kind: type[np.generic]) -> npt.NDArray[Any]:
    """Numbers of a column without nulls, straight from its buffers (pyarrow's own way would import pandas)."""
    if column.null_count or column.type.bit_width != 8 * np.dtype(kind).itemsize:
        raise ValueError("a column is not what it should be")
    parts = [np.frombuffer(c.buffers()[1], dtype=kind)[c.offset : c.offset + len(c)] for c in column.chunks]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)


def check_document(document: Any, where: str) -> dict[str, Any]:
    """Check that a document is a profile of our schema and features.

    Raises
    ------
    ProfileError
    """
    if not isinstance(document, dict) or not str(document.get("schema", "")).startswith("stylemeter/profile/"):
        raise ProfileError("not a profile", where=where)
    if document["schema"] != SCHEMA:
        raise ProfileError(
            f"schema {document['schema']!r}, this version reads {SCHEMA!r}", where=where, mend="fit it anew"
        )
    missing = [key for key in _REQUIRED if key not in document]
    if missing:
        raise ProfileError(f"field {missing[0]!r} is missing", where=where, mend="fit it anew")
    if document["feature_version"] != FEATURE_VERSION or list(document["features"]) != list(CATALOG):
        raise ProfileError(
            "fitted with another version of the feature dictionary", where=where, mend="fit it anew with this version"
        )
    return document


def _load_folder(folder: Path) -> Profile:
    """Load a profile folder and check its digest."""
    where = str(folder)
    entry = rank_cache.entry_folder(folder)
    kept = rank_cache.load_head(entry)
    document = check_document(kept or _json(folder / "profile.json", where), where)
    if kept is None:
        _check_sample(folder / "sample.parquet", document["sample_sha256"], where)
        rank_cache.store_document(entry, document)
    calibration = folder / "calibration.json"
    return Profile(folder, document, _json(calibration, where) if calibration.is_file() else None)


def _check_sample(sample: Path, digest: str, where: str) -> None:
    """Check the sample's digest."""
    try:
        data = sample.read_bytes()
    except OSError:
        raise ProfileError("sample.parquet is missing", where=where, mend="fit or install it anew") from None
    if hashlib.sha256(data).hexdigest() != digest:
        raise ProfileError(
            "sample.parquet is truncated or edited: its digest is not the one in profile.json",
            where=where,
            mend="fit or install it anew",
        )


def _json(path: Path, where: str) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ProfileError(f"{path.name} is missing", where=where, mend="name a profile folder") from None
    except (OSError, ValueError) as error:
        raise ProfileError(f"{path.name} can't be read ({error})", where=where, mend="fit or install it anew") from None


def installed() -> dict[str, Path]:
    """Profile folders by name: the user's own, then the shipped ones."""
    found: dict[str, Path] = {}
    for folder in (places.user_folder("profiles"), places.shipped("profiles")):
        for path in sorted(folder.iterdir()) if folder.is_dir() else []:
            if (path / "profile.json").is_file():
                found.setdefault(path.name, path)
    return dict(sorted(found.items()))


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

"""What ``profile.json`` and ``calibration.json`` hold: read within bounds and checked field by field."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from stylemeter.errors import ProfileError
from stylemeter.style.document import SCHEMA
from stylemeter.support.files import read_bounded
from stylemeter.support.printable import show
from stylemeter.support.shapes import (
    ShapeError,
    either,
    listed,
    load_json,
    mapped,
    nothing,
    number,
    record,
    text,
    whole,
)

__all__ = [
    "CALIBRATION",
    "FILES",
    "SUMS",
    "calibration_of",
    "check_sums",
    "document_of",
    "is_profile",
    "sample_of",
    "sums_of",
]

CALIBRATION, SUMS = "calibration.json", "SHA256SUMS"
#: All that lies in a profile's folder.
FILES = ("profile.json", "recipe.toml", "sample.parquet", "vocabulary.parquet", "LICENCE.txt", CALIBRATION, SUMS)
#: Bytes of a profile's documents and of its sample, and excerpts of one of its rungs: many times what any has.
DOCUMENT_BYTES_MAX, SAMPLE_BYTES_MAX, ROWS_MAX = 32 * 2**20, 512 * 2**20, 2_000_000
#: Names a table may hold.
_NAMES = 500

_digest = text(64, "[0-9a-f]{64}")
_count = whole()
_share = either(nothing, number)

_feature = record(
    {"families": _count, "quantiles": listed(number, 100), "limits": mapped(listed(number, 6, 6), 20)},
)
_typicality = record(
    {
        "features": listed(text(100), _NAMES),
        "center": listed(number, _NAMES),
        "precision": listed(listed(number, _NAMES), _NAMES),
    }
)
_rung = record(
    {
        "notes": whole(1, 20_000),
        "rows": whole(1, ROWS_MAX),
        "families": whole(1, ROWS_MAX),
        "features": mapped(_feature, _NAMES),
        "distributions": mapped(either(listed(number, 1000), mapped(listed(number, 5000), _NAMES)), 50),
        "typicality": either(nothing, _typicality),
    }
)
_profile = record(
    {
        "name": text(64, "[A-Za-z0-9][A-Za-z0-9_.-]*"),
        "style": text(500),
        "tunes": _count,
        "families": _count,
        "collections": listed(record({"name": text(200)}, {"tunes": _count, "path": text(4096)}), 1000),
        "rungs": listed(_rung, 64),
        "sample_sha256": _digest,
        "feature_version": whole(),
        "features": listed(text(100), _NAMES),
        "extra": listed(text(100), 100),
    },
    {"input_digest": _digest, "vocabulary_sha256": _digest, "failures": _count, "stylemeter": text(50)},
)
_told = record({"shown": _share, "hinted": _share})
_calibration = record(
    {
        "clean": mapped(
            record(
                {"excerpts": _count, "outside": mapped(_share, _NAMES), "habits": mapped(_told, 50)},
                {"outside_mean": number, "measured_mean": number, "clear_mean": number},
            ),
            100,
        ),
        "injected": mapped(mapped(mapped(_told, 100), 10), 50),
    },
    {"coverage": number, "folds": _count, "input_digest": _digest},
)


def document_of(folder: Path) -> dict[str, Any]:
    """``profile.json`` of a folder, checked field by field where it is of this version's schema.

    Raises
    ------
    ProfileError
        If it is missing or not what it should be.
    """
    document = _loaded(folder / "profile.json", "name a profile folder")
    if not isinstance(document, dict) or not str(document.get("schema", "")).startswith("stylemeter/profile/"):
        raise ProfileError("not a profile", where=show(folder))
    if document["schema"] == SCHEMA:
        _check_fields(document, show(folder))
        # a style made elsewhere is quoted on terminals
        document["style"] = show(document["style"], 500)
        for origin in document["collections"]:
            origin |= {key: show(value, 10_000) for key, value in origin.items() if isinstance(value, str)}
    return document


def _check_fields(document: dict[str, Any], where: str) -> None:
    """Refuse a profile's document any field of which is not what it should be.

    Raises
    ------
    ProfileError
    """
    try:
        _profile(document, "")
        for rung in document["rungs"]:
            _fits(set(rung["features"]) == set(document["features"]), "rungs: not its features")
            _fits(rung["families"] <= rung["rows"], "rungs: more families than excerpts")
            model = rung["typicality"]
            sizes = {len(model["features"]), len(model["center"]), len(model["precision"])} if model else {0}
            sizes |= {len(row) for row in model["precision"]} if model else set()
            _fits(len(sizes) == 1, "rungs: a model whose parts don't fit")
        notes = [rung["notes"] for rung in document["rungs"]]
        _fits(len(set(notes)) == len(notes), "rungs: the same twice")
    except ShapeError as error:
        raise ProfileError(f"damaged: {error}", where=where, mend="fit or install it anew") from None


def _fits(condition: bool, what: str) -> None:
    if not condition:
        raise ShapeError(what)


def is_profile(folder: Path) -> bool:
    """Whether a folder holds nothing but what a profile's does, so that it may be replaced."""
    if folder.is_symlink() or not folder.is_dir():
        return False
    return all(p.is_file() and (p.name in FILES or p.name.startswith(".")) for p in folder.iterdir())


def sums_of(folder: Path) -> str:
    """Digests of the files of a profile that stay as they were fitted, as ``sha256sum`` writes them."""
    fixed = sorted(p.name for p in folder.iterdir() if p.name in FILES and p.name not in (CALIBRATION, SUMS))
    return "".join(f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in fixed)


def check_sums(folder: Path) -> None:
    """Refuse a profile whose document is not the one that was fitted; one without digests is let be.

    Raises
    ------
    ProfileError
    """
    try:
        said = read_bounded(folder / SUMS, DOCUMENT_BYTES_MAX).decode("ascii", "replace")
        data = read_bounded(folder / "profile.json", DOCUMENT_BYTES_MAX)
    except FileNotFoundError:
        return
    except OSError as error:
        raise ProfileError(f"{SUMS} can't be read ({error.strerror})", where=show(folder), mend="fit it anew") from None
    if f"{hashlib.sha256(data).hexdigest()}  profile.json\n" not in said:
        raise ProfileError(
            f"profile.json is damaged or edited: its digest is not the one in {SUMS}",
            where=show(folder),
            mend="fit or install it anew",
        )


def calibration_of(folder: Path, input_digest: str) -> dict[str, Any] | None:
    """``calibration.json`` of a folder, or None where there is none or it is of other tunes.

    Raises
    ------
    ProfileError
        If it is not what it should be.
    """
    path = folder / CALIBRATION
    if not path.exists():
        return None
    found = _loaded(path, "calibrate it anew")
    where = show(folder)
    try:
        _calibration(found, "")
    except ShapeError as error:
        raise ProfileError(f"calibration.json is damaged: {error}", where=where, mend="calibrate it anew") from None
    checked: dict[str, Any] = found
    return checked if checked.get("input_digest", input_digest) == input_digest else None


def sample_of(folder: Path, digest: str) -> bytes:
    """Bytes of ``sample.parquet``, once they are those the document names.

    Raises
    ------
    ProfileError
    """
    where = show(folder)
    try:
        data = read_bounded(folder / "sample.parquet", SAMPLE_BYTES_MAX)
    except FileNotFoundError:
        raise ProfileError("sample.parquet is missing", where=where, mend="fit or install it anew") from None
    except OSError as error:
        what = f"sample.parquet can't be read ({error.strerror})"
        raise ProfileError(what, where=where, mend="fit or install it anew") from None
    if hashlib.sha256(data).hexdigest() != digest:
        raise ProfileError(
            "sample.parquet is truncated or edited: its digest is not the one in profile.json",
            where=where,
            mend="fit or install it anew",
        )
    return data


def _loaded(path: Path, missing: str) -> Any:
    where = show(path.parent)
    try:
        return load_json(path, DOCUMENT_BYTES_MAX)
    except (FileNotFoundError, NotADirectoryError):
        raise ProfileError(f"{path.name} is missing", where=where, mend=missing) from None
    except OSError as error:
        what = f"{path.name} can't be read ({error.strerror})"
        raise ProfileError(what, where=where, mend="fit or install it anew") from None
    except ShapeError as error:
        raise ProfileError(f"{path.name} can't be read: {error}", where=where, mend="fit or install it anew") from None

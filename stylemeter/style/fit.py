"""Fitting a profile: what is costly (bootstrap, habit statistics, distances) is worked out here, once."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter._version import __version__
from stylemeter.errors import InputError, ProfileError
from stylemeter.features import CATALOG, FEATURE_VERSION, HABITS
from stylemeter.music.excerpts import LADDER
from stylemeter.style.collections import Collection, find_collection, list_collections, tune_sources
from stylemeter.style.distance import fit_distance
from stylemeter.style.families import tune_families
from stylemeter.style.limits import DRAWS, limit_rows, rounded
from stylemeter.style.profile import SCHEMA, Profile
from stylemeter.style.ranks import family_weights, jensen_shannon, weighted_quantile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung
from stylemeter.style.sampling import Sample, gather
from stylemeter.support import places

__all__ = ["COVERAGES", "QUANTILES", "build_rungs", "fit_profile", "fit_sample", "write_profile"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Shares of the style whose limits are stored.
COVERAGES = (0.8, 0.9, 0.95)
#: Quantiles stored for the plots.
QUANTILES = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)


def _feature_document(rung: Rung, feature: str) -> dict[str, Any]:
    """Counts, quantiles and limits of one feature."""
    sample = rung.ordered(feature)
    families = int(sample.total)
    if families < FAMILIES_FOR_LIMITS:
        return {"families": families, "quantiles": [], "limits": {}}
    rows = limit_rows(rung, feature, COVERAGES)
    return {
        "families": families,
        "quantiles": rounded(weighted_quantile(sample.values, sample.weight, QUANTILES)),
        "limits": {f"{c:g}": row for c, row in zip(COVERAGES, rows, strict=True)},
    }


def build_rungs(sample: Sample, family_of_tune: Ints) -> dict[int, Rung]:
    """Rungs of a sample, their habit statistics worked out.

    Returns
    -------
    dict of Rung
        By note count; rungs without a row are not there.
    """
    rungs = {}
    for notes in LADDER:
        rows = np.flatnonzero(sample.rung == notes)
        if len(rows):
            rungs[notes] = Rung(notes, list(CATALOG), family_of_tune[sample.tune[rows]], sample.values[rows])
    return rungs


def complete(rung: Rung, *, distance: bool = True) -> dict[str, Any] | None:
    """Work out a rung's habit statistics (and distances) in place; return the distance model as plain data."""
    scores = rung.own_scores()
    for name in HABITS:
        rung.extra[f"habit:{name}"] = rung.habit_statistic(scores, name).astype(np.float32)
    fitted = fit_distance(rung, scores) if distance else None
    if fitted is None:
        rung.extra["distance"] = np.full(len(rung.family), np.nan, dtype=np.float32)
        return None
    model, distances = fitted
    rung.extra["distance"] = distances.astype(np.float32)
    return model.to_document()


def _shapes(sample: Sample, rows: Ints, rung: Rung) -> dict[str, Any]:
    """Mean distributions of a rung, and each row's distance to the mean of the other families (into the rung)."""
    document: dict[str, Any] = {}
    for name, cells in sample.shapes.items():
        labels = [sample.meter[r] if name == "onsets" else "" for r in rows.tolist()]
        distance = np.full(len(rows), np.nan)
        means: dict[str, list[float]] = {}
        for label in sorted(set(labels)):
            chosen = [i for i, r in enumerate(rows.tolist()) if labels[i] == label and len(cells[r])]
            if not chosen:
                continue
            block = np.stack([cells[rows[i]] for i in chosen]).astype(float)
            family = np.unique(rung.family[chosen], return_inverse=True)[1]
            if int(family.max()) + 1 < FAMILIES_FOR_LIMITS:
                continue
            mean, others = _means(block, family)
            means[label] = rounded(mean)
            distance[chosen] = jensen_shannon(block, others)
        rung.extra[f"js:{name}"] = distance.astype(np.float32)
        document[name] = means if name == "onsets" else means.get("", [])
    return document


def _means(block: Floats, family: Ints) -> tuple[Floats, Floats]:
    """Mean over families, and for each row the mean of the others."""
    weight = family_weights(family, np.ones(len(family), dtype=bool))
    total = np.zeros((int(family.max()) + 1, block.shape[1]))
    np.add.at(total, family, block * weight[:, None])
    everything = total.sum(axis=0)
    return everything / len(total), (everything - total[family]) / (len(total) - 1)


def fit_sample(
    sample: Sample, progress: Callable[[int, int], None] | None = None
) -> tuple[dict[str, Any], dict[int, Rung]]:
    """Fit everything that can be said of a sample.

    Returns
    -------
    document, rungs
        The part of ``profile.json`` that the sample decides, and the completed rungs.
    """
    family = tune_families(sample.intervals)
    rungs = build_rungs(sample, family)
    documents = []
    for done, (notes, rung) in enumerate(rungs.items(), 1):
        model = complete(rung)
        shapes = _shapes(sample, np.flatnonzero(sample.rung == notes), rung)
        documents.append(
            {
                "notes": notes,
                "rows": len(rung.family),
                "families": rung.families,
                "features": {name: _feature_document(rung, name) for name in rung.names},
                "distributions": shapes,
                "typicality": model,
            }
        )
        if progress:
            progress(done, len(rungs))
    document = {
        "tunes": len(sample.labels),
        "families": int(family.max()) + 1,
        "failures": len(sample.failures),
        "features": list(CATALOG),
        "extra": sorted(next(iter(rungs.values())).extra) if rungs else [],
        "feature_version": FEATURE_VERSION,
        "input_digest": sample.digest,
        "rungs": documents,
    }
    return document, rungs


def write_profile(folder: Path, recipe: str, document: dict[str, Any], rungs: dict[int, Rung]) -> Path:
    """Write a profile folder, whole or not at all.

    Parameters
    ----------
    folder : Path
        Where it is to lie; an older profile there is replaced.
    recipe : str
        Text of ``recipe.toml``.
    """
    part = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        part.mkdir(parents=True)
        sample = part / "sample.parquet"
        _write_sample(sample, rungs)
        document = {**document, "sample_sha256": hashlib.sha256(sample.read_bytes()).hexdigest()}
        (part / "profile.json").write_text(_dump(document) + "\n", encoding="utf-8")
        (part / "recipe.toml").write_text(recipe, encoding="utf-8")
        if folder.exists():
            shutil.rmtree(folder)
        part.replace(folder)
    except OSError as error:
        raise InputError(
            f"can't write the profile ({error.strerror})", where=str(folder), mend="name another with --out"
        ) from None
    return folder


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


def _write_sample(path: Path, rungs: dict[int, Rung]) -> None:
    """Write the reference rows, one row group a rung."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    names = list(CATALOG)
    extra = sorted(next(iter(rungs.values())).extra)
    schema = pa.schema(
        [
            ("family", pa.int32()),
            ("rung", pa.int16()),
            *((n, pa.float32()) for n in names),
            *((n, pa.float32()) for n in extra),
        ]
    )
    with pq.ParquetWriter(path, schema, compression="zstd", compression_level=19) as writer:
        for notes, rung in rungs.items():
            order = np.argsort(rung.family, kind="stable")
            columns: list[Any] = [rung.family[order].astype(np.int32), np.full(len(order), notes, dtype=np.int16)]
            columns += [rung.values[order, i] for i in range(len(names))]
            columns += [rung.extra[n][order] for n in extra]
            writer.write_table(pa.table([pa.array(c) for c in columns], schema=schema), row_group_size=len(order))


def _toml(text: str) -> str:
    """A string as TOML writes it."""
    return json.dumps(text, ensure_ascii=False)


def recipe_text(name: str, style: str, collections: Sequence[Collection]) -> str:
    """Text of ``recipe.toml``."""
    lines = [
        f"name = {_toml(name)}",
        f"style = {_toml(style)}",
        f"collections = [{', '.join(_toml(c.name) for c in collections)}]",
        f"ladder = {list(LADDER)}",
        f"bootstrap_draws = {DRAWS}",
        f"stylemeter = {_toml(__version__)}",
        f"feature_version = {FEATURE_VERSION}",
    ]
    for c in collections:
        lines += ["", f"[collection.{_toml(c.name)}]", f"source = [{', '.join(_toml(s) for s in c.source)}]"]
        lines += [
            f"{key} = {_toml(getattr(c, key))}" for key in ("title", "licence", "attribution", "obtain", "prepare")
        ]
    return "\n".join(lines) + "\n"


def _found_again(collection: Collection) -> dict[str, str]:
    """Path of a collection that is the user's own, by which `gather_profile` finds it; empty where its name does."""
    if not collection.licence_words:  # a folder or file of tunes
        return {"path": collection.source[0]}
    file = (collection.folder / f"{collection.name}.toml").resolve()
    known = list_collections().get(collection.name)
    return {} if known is not None and known.resolve() == file else {"path": str(file)}


def fit_profile(
    collections: Sequence[Collection],
    name: str,
    folder: Path,
    *,
    style: str | None = None,
    open_data: Path | None = None,
    workers: int = 1,
    scheduler: str | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[Path, list[str]]:
    """Fit a profile from collections and write it.

    Parameters
    ----------
    collections : sequence of Collection
    name : str
    folder : Path
        The profile's own folder.
    style : str, optional
        What the tunes are, in the plural; the collections' own by default.
    open_data : Path, optional
        Folder of the collections the user fetched.
    workers, scheduler
        See `sampling.gather`.
    progress : callable, optional
        Called with what is being done, how much is done, and how much there is.

    Returns
    -------
    folder, remarks
    """
    said = style or " and ".join(dict.fromkeys(c.style for c in collections))
    report = progress or (lambda *_: None)
    parts, remarks, listed = [], [], []
    for collection in collections:
        sources, notes = tune_sources(collection, open_data)
        remarks += notes
        parts.append((sources, collection.reading))
        listed.append(
            {
                key: getattr(collection, key)
                for key in ("name", "title", "licence", "licence_words", "attribution", "obtain")
            }
            | {"tunes": len(sources)}
            | _found_again(collection)
        )
    sample = gather(parts, workers=workers, scheduler=scheduler, progress=lambda d, n: report("tunes", d, n))
    recipe = recipe_text(name, said, collections)
    remarks += sample.failures
    kept = _kept_fit(sample.digest, recipe, listed)
    if kept is not None and (kept / "profile.json").is_file():
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(kept, folder)
        return folder, remarks
    fitted, rungs = fit_sample(sample, lambda d, n: report("rungs", d, n))
    document = {
        "schema": SCHEMA,
        "name": name,
        "style": said,
        "stylemeter": __version__,
        "collections": listed,
        **fitted,
    }
    write_profile(folder, recipe, document, rungs)
    if kept is not None:
        shutil.rmtree(kept, ignore_errors=True)
        shutil.copytree(folder, kept)
    return folder, remarks


def gather_profile(
    profile: Profile, open_data: Path | None, workers: int, progress: Callable[[int, int], None] | None = None
) -> Sample:
    """Read a profile's own tunes again, to check it.

    Raises
    ------
    ProfileError
        If they are not the tunes it was fitted from.
    """
    collections = [find_collection(c.get("path") or c["name"]) for c in profile.document["collections"]]
    parts = [(tune_sources(c, open_data)[0], c.reading) for c in collections]
    sample = gather(parts, workers=workers, progress=progress)
    if sample.digest != profile.document["input_digest"]:
        raise ProfileError(
            "its tunes, or the way they are read, have changed since it was fitted",
            where=str(profile.folder),
            mend="fit it anew, then calibrate",
        )
    return sample


def _kept_fit(digest: str, recipe: str, listed: Sequence[dict[str, Any]]) -> Path | None:
    """Where the cache keeps the profile of exactly these inputs."""
    cache = places.cache_folder()
    if cache is None:
        return None
    key = hashlib.sha256(f"{digest}\0{recipe}\0{listed!r}\0{SCHEMA}".encode()).hexdigest()
    return cache / "fits" / key

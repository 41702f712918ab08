"""Fitting a profile: what is costly (bootstrap, habit statistics, distances) is worked out here, once."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from stylemeter._version import __version__
from stylemeter.errors import ProfileError, StylemeterError, UsageError, WrongTypeError
from stylemeter.features import CATALOG, FEATURE_VERSION, SCANS
from stylemeter.music.excerpts import LADDER
from stylemeter.music.melody import Melody, checked
from stylemeter.style.checking import SUMS, is_profile
from stylemeter.style.collections import Collection, find_collection, list_collections, tune_sources
from stylemeter.style.distance import DistanceModel, fit_distance
from stylemeter.style.document import About, FeatureNorm, Origin, RungNorm, RungSize
from stylemeter.style.families import tune_families
from stylemeter.style.limits import DRAWS, limit_rows, rounded
from stylemeter.style.patterns import Lines
from stylemeter.style.profile import Profile, check_whole, load_profile, sample_bytes
from stylemeter.style.ranks import family_weights, jensen_shannon, weighted_quantile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung
from stylemeter.style.sampling import Sample, gather, sample_of
from stylemeter.style.vocabulary import fit_vocabulary
from stylemeter.support.files import read_bounded
from stylemeter.support.install import in_the_way

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["COVERAGES", "QUANTILES", "build_rungs", "fit", "fit_sample", "gather_profile", "rung_of"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: What a profile may be called.
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")
#: What an origin says of its collection.
_SAID = ("name", "title", "licence", "licence_words", "attribution", "obtain")
_SOURCES = "collections, files, melodies or a frame of notes"
#: Shares of the style whose limits are stored.
COVERAGES = (0.8, 0.9, 0.95)
#: Quantiles stored for the plots.
QUANTILES = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)


def _feature_norm(rung: Rung, feature: str) -> FeatureNorm:
    """Counts, quantiles and limits of one feature."""
    sample = rung.ordered(feature)
    families = int(sample.total)
    if families < FAMILIES_FOR_LIMITS:
        return FeatureNorm(families, [], {})
    rows = limit_rows(rung, feature, COVERAGES)
    return FeatureNorm(
        families,
        quantiles=rounded(weighted_quantile(sample.values, sample.weight, QUANTILES)),
        limits={f"{c:g}": row for c, row in zip(COVERAGES, rows, strict=True)},
    )


def rung_of(sample: Sample, family_of_tune: Ints, notes: int, rows: Ints) -> Rung:
    """Rows of a sample as a rung, the scans' best stretches beside the features."""
    scans = {f"scan:{name}": sample.scans[rows, i] for i, name in enumerate(SCANS)}
    return Rung(notes, list(CATALOG), family_of_tune[sample.tune[rows]], sample.values[rows], scans)


def build_rungs(sample: Sample, family_of_tune: Ints) -> dict[int, Rung]:
    """Rungs of a sample.

    Returns
    -------
    dict of Rung
        By note count; rungs without a row are not there.
    """
    rungs = {}
    for notes in LADDER:
        rows = np.flatnonzero(sample.rung == notes)
        if len(rows):
            rungs[notes] = rung_of(sample, family_of_tune, notes, rows)
    return rungs


def complete(rung: Rung, *, distance: bool = True) -> dict[str, Any] | None:
    """Work out a rung's habit statistics (and distances) in place; return the distance model as plain data."""
    scores = rung.own_scores()
    rung.add_habits(scores)
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


@dataclass(frozen=True)
class Fitted:
    """Everything a sample decides: the family of each tune, the completed rungs, and what each says."""

    family: Ints
    rungs: dict[int, Rung]
    norms: dict[int, RungNorm]


def fit_sample(sample: Sample, progress: Callable[[int, int], None] | None = None) -> Fitted:
    """Fit everything that can be said of a sample's excerpts.

    Parameters
    ----------
    sample : Sample
    progress : callable, optional
        Called with rungs done and rungs in all.
    """
    family = tune_families(sample.intervals)
    rungs = build_rungs(sample, family)
    norms = {}
    for done, (notes, rung) in enumerate(rungs.items(), 1):
        model = complete(rung)
        distributions = _shapes(sample, np.flatnonzero(sample.rung == notes), rung)
        norms[notes] = RungNorm(
            RungSize(notes, len(rung.family), rung.families),
            {name: _feature_norm(rung, name) for name in rung.names},
            distributions,
            # with the digits that are stored, so that a profile in memory and a saved one place alike
            None if model is None else DistanceModel.from_document(model),
        )
        if progress:
            progress(done, len(rungs))
    return Fitted(family, rungs, norms)


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


def _found_again(collection: Collection) -> str:
    """Path of a collection that is the user's own, by which its tunes are read again; empty where its name does."""
    if not collection.licence_words:  # a folder or file of tunes
        return collection.source[0]
    file = (collection.folder / f"{collection.name}.toml").resolve()
    known = list_collections().get(collection.name)
    return "" if known is not None and known.resolve() == file else str(file)


def fit(
    source: str | PathLike[str] | Melody | pd.DataFrame | Iterable[str | PathLike[str] | Melody],
    name: str,
    *,
    style: str | None = None,
    folder: Path | None = None,
    open_data: Path | None = None,
    workers: int = 1,
    scheduler: str | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> Profile:
    """Fit a style.

    Parameters
    ----------
    source : str, path, frame, or iterable of str, path or Melody
        Collections by name, folders or files; or melodies, a tune each; or a frame of notes with a column `tune` (the
        others as `Melody.from_frame` takes them; `meter` and `key`, where they are there, are each tune's first).
    name : str
        What the profile is called: letters, digits, ``-``, ``_`` and ``.``, 64 at most.
    style : str, optional
        What the tunes are, in the plural; the collections' own by default.
    folder : Path, optional
        Where to write it, itself the profile's folder. By default it is held in memory, until `Profile.save`.
    open_data : Path, optional
        Folder of the collections the user fetched.
    workers, scheduler
        See `sampling.gather`.
    progress : callable, optional
        Called with what is being done, how much is done, and how much there is.

    Returns
    -------
    Profile
        Its `remarks` say which tunes could not be read.

    Raises
    ------
    UsageError
        If the name can't be one, or there is nothing to fit from.
    InputError
        If no tune could be read, or the profile can't be written.

    Notes
    -----
    39 tune families give limits, 120 a norm. Tunes that share a run of 16 intervals are one family.

    Examples
    --------
    >>> tunes = [Melody.from_arrays(range(16), [60 + (i * k) % 12 for i in range(16)]) for k in range(1, 6)]
    >>> fit(tunes, "five", style="five invented tunes")
    <Profile five: five invented tunes, 5 tunes in 5 families
     too few families for any limits, not calibrated, in memory>
    """
    if not NAME.fullmatch(name):
        raise UsageError(f"{name!r} can't be a profile's name", mend="use letters, digits, - and _")
    if folder is not None and os.path.lexists(folder) and not is_profile(folder):
        raise in_the_way(folder)  # before minutes of work, not after
    report = progress or (lambda *_: None)
    melodies = _melodies(source)
    if melodies is None:
        places_ = [source] if isinstance(source, str | PathLike) else list(source)  # type: ignore[arg-type]
        collections = [find_collection(str(place)) for place in places_]
        gathered = _gathered(collections, open_data, workers, scheduler, lambda d, n: report("tunes", d, n))
        sample, remarks, origins = gathered
    else:
        collections, remarks, origins = [], [], []
        sample = sample_of(melodies)
    said = style or " and ".join(dict.fromkeys(c.style for c in collections)) or name
    recipe = recipe_text(name, said, collections)
    remarks = [*remarks, *sample.failures]
    there = None if folder is None else _there(folder)
    if there is not None and _is_the_same(there, sample, name, recipe, origins):
        return replace(there, remarks=tuple(remarks))
    fitted = fit_sample(sample, lambda d, n: report("rungs", d, n))
    rungs = fitted.rungs
    patterns = fit_vocabulary(Lines.of(sample.lines), fitted.family)
    about = About(
        name=name,
        style=said,
        stylemeter=__version__,
        origins=tuple(origins),
        tunes=len(sample.labels),
        families=int(fitted.family.max()) + 1,
        failures=len(sample.failures),
        features=tuple(CATALOG),
        extra=tuple(sorted(next(iter(rungs.values())).extra)) if rungs else (),
        feature_version=FEATURE_VERSION,
        input_digest=sample.digest,
        rungs=tuple(norm.size for norm in fitted.norms.values()),
        sample_sha256=hashlib.sha256(sample_bytes(list(CATALOG), rungs)).hexdigest(),
        vocabulary_sha256=hashlib.sha256(patterns).hexdigest(),
    )
    profile = Profile(
        None, about, remarks=tuple(remarks), recipe=recipe, patterns=patterns, _rungs=rungs, _norms=fitted.norms
    )
    if folder is None:
        return profile
    if there is not None and there.about.input_digest == sample.digest and there.about.extra == about.extra:
        profile = replace(profile, calibration=there.calibration)  # of the same tunes: it still holds
    profile.save(folder)
    return replace(load_profile(folder), remarks=tuple(remarks))


def _there(folder: Path) -> Profile | None:
    """The profile that lies where one is to be written, where it is whole."""
    try:
        return check_whole(folder)
    except (ProfileError, OSError):
        return None


def _is_the_same(there: Profile, sample: Sample, name: str, recipe: str, origins: Sequence[Origin]) -> bool:
    """Whether a profile is what would be fitted now: it and its calibration are left as they are then."""
    assert there.folder is not None
    about = there.about
    same = (about.name, about.input_digest, about.stylemeter, about.failures, about.origins) == (
        name,
        sample.digest,
        __version__,
        len(sample.failures),
        tuple(origins),
    )
    try:
        told = read_bounded(there.folder / "recipe.toml", 2**20).decode("utf-8", "replace")
        return same and told == recipe and (there.folder / SUMS).is_file()
    except OSError:
        return False


def _melodies(source: Any) -> list[Melody] | None:
    """The melodies of a source that holds them; None where it names collections, folders or files."""
    if isinstance(source, str | PathLike):
        return None
    if isinstance(source, Melody):
        return [source]
    if hasattr(source, "groupby"):
        return _tunes_of_frame(source)
    try:
        given = list(source)
    except TypeError:
        raise WrongTypeError.of(
            "what a style is fitted from", source, "collections, files, melodies or a frame"
        ) from None
    if not given:
        raise UsageError("nothing to fit from", mend=f"give {_SOURCES}")
    if all(isinstance(one, str | PathLike) for one in given):
        return None
    return [checked(one, "a tune") for one in given]


def _tunes_of_frame(frame: pd.DataFrame) -> list[Melody]:
    """A melody a tune of a frame of notes."""
    if "tune" not in frame.columns:
        raise UsageError("the frame has no column 'tune'", mend="name each note's tune in it")
    tunes = []
    for name, rows in frame.groupby("tune", sort=False):
        options = {what: rows[what].iloc[0] for what in ("meter", "key") if what in rows.columns}
        try:
            tunes.append(Melody.from_frame(rows, title=str(name), **options))
        except StylemeterError as error:
            raise error.at(f"tune {name}") from None
    return tunes


def _gathered(
    collections: Sequence[Collection],
    open_data: Path | None,
    workers: int,
    scheduler: str | None,
    progress: Callable[[int, int], None],
) -> tuple[Sample, list[str], list[Origin]]:
    """The sample of some collections, remarks on what was left out, and where the tunes come from."""
    parts, remarks, origins = [], [], []
    for collection in collections:
        sources, told = tune_sources(collection, open_data)
        remarks += told
        parts.append((sources, collection.reading))
        said = {what: getattr(collection, what) for what in _SAID}
        origins.append(Origin(**said, tunes=len(sources), path=_found_again(collection)))
    return gather(parts, workers=workers, scheduler=scheduler, progress=progress), remarks, origins


def gather_profile(
    profile: Profile,
    open_data: Path | None,
    workers: int,
    progress: Callable[[int, int], None] | None = None,
    tunes: Iterable[Melody] | None = None,
) -> Sample:
    """Read a profile's own tunes again, to check it, or take those given.

    Raises
    ------
    ProfileError
        If they are not the tunes it was fitted from.
    """
    if tunes is not None:
        sample = sample_of([checked(tune, "a tune") for tune in tunes])
    else:
        sample = _read_again(profile, open_data, workers, progress)
    if sample.digest != profile.about.input_digest:
        raise ProfileError(
            "its tunes, or the way they are read, have changed since it was fitted",
            where=str(profile.folder or profile.name),
            mend="fit it anew, then calibrate",
        )
    return sample


def _read_again(
    profile: Profile, open_data: Path | None, workers: int, progress: Callable[[int, int], None] | None
) -> Sample:
    """The sample of a profile's collections."""
    if not profile.origins:
        raise ProfileError("fitted from melodies in memory", where=profile.name, mend="give them again to check it")
    collections = [find_collection(origin.path or origin.name) for origin in profile.origins]
    parts = [(tune_sources(c, open_data)[0], c.reading) for c in collections]
    return gather(parts, workers=workers, progress=progress)

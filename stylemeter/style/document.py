"""What ``profile.json`` says, as records: counts, where the tunes come from, and the norm of every rung.

Conventions: `from_plain` reads the plain data of the file and checks it, `to_plain` gives the same data again, its keys
in the order of the file. A rung is what excerpts of one note count make up.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from stylemeter.errors import ProfileError
from stylemeter.features import CATALOG, FEATURE_VERSION, HABITS, SCANS
from stylemeter.style.distance import DistanceModel

__all__ = ["SCHEMA", "About", "FeatureNorm", "Limits", "Origin", "RungNorm", "RungSize"]

SCHEMA = "stylemeter/profile/1"
#: Columns a sample has for the habits.
_HABIT_COLUMNS = {*(f"{kind}:{name}" for kind in ("habit", "shown") for name in HABITS), *(f"scan:{n}" for n in SCANS)}

#: Mean shares of a distribution; those of onsets by meter.
Shares = list[float]


@dataclass(frozen=True, slots=True)
class Limits:
    """Central range of a feature in a rung, with the confidence intervals of both ends."""

    lower: float
    upper: float
    lower_ci: tuple[float, float]
    upper_ci: tuple[float, float]

    @classmethod
    def of(cls, row: list[float]) -> Limits:
        """Read them from a row: both ends, then the ends of the interval of each."""
        lower, upper, *ends = (float(v) for v in row)
        return cls(lower, upper, (ends[0], ends[1]), (ends[2], ends[3]))


@dataclass(frozen=True, slots=True)
class Origin:
    """A collection the tunes come from.

    Attributes
    ----------
    name, title, licence, licence_words, attribution, obtain : str
        See `collections.Collection`.
    tunes : int
        Tunes or files of it.
    path : str
        Where a collection of the user's own lies; empty where its name finds it.
    """

    name: str
    title: str
    licence: str
    licence_words: str
    attribution: str
    obtain: str
    tunes: int
    path: str = ""

    def to_plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        plain = asdict(self)
        return plain if self.path else {key: value for key, value in plain.items() if key != "path"}


@dataclass(frozen=True, slots=True)
class FeatureNorm:
    """What a rung says of one feature.

    Attributes
    ----------
    families : int
        Families it is measured in.
    quantiles : list of float
        See `fit.QUANTILES`; none with too few families.
    limits : dict of list of float
        Rows of `Limits` by the share of the style inside, as text ("0.9"); none with too few families.
    """

    families: int
    quantiles: list[float]
    limits: dict[str, list[float]]

    @property
    def median(self) -> float:
        """Middle of the style; NaN with too few families."""
        return self.quantiles[len(self.quantiles) // 2] if self.quantiles else float("nan")


@dataclass(frozen=True, slots=True)
class RungSize:
    """How much a rung rests on.

    Attributes
    ----------
    notes : int
        Notes an excerpt.
    rows, families : int
        Excerpts, and the tune families they come from.
    """

    notes: int
    rows: int
    families: int


@dataclass(frozen=True, slots=True)
class RungNorm:
    """What a rung says.

    Attributes
    ----------
    size : RungSize
    features : dict of FeatureNorm
    distributions : dict
        Distribution -> mean shares over the families, those of the onsets by meter; empty with too few families.
    distance : DistanceModel or None
        None with too few families.
    """

    size: RungSize
    features: dict[str, FeatureNorm]
    distributions: dict[str, Shares | dict[str, Shares]]
    distance: DistanceModel | None

    def shares(self, distribution: str, meter: str) -> Shares:
        """Mean shares of a distribution, of the onsets those of a meter; none where there are too few families."""
        mean = self.distributions.get(distribution, [])
        return mean.get(meter, []) if isinstance(mean, dict) else mean

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> RungNorm:
        """Read it from plain data."""
        distance = plain["typicality"]
        return cls(
            RungSize(int(plain["notes"]), int(plain["rows"]), int(plain["families"])),
            {name: FeatureNorm(**entry) for name, entry in plain["features"].items()},
            plain["distributions"],
            None if distance is None else DistanceModel.from_document(distance),
        )

    def to_plain(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            **asdict(self.size),
            "features": {name: asdict(norm) for name, norm in self.features.items()},
            "distributions": self.distributions,
            "typicality": None if self.distance is None else self.distance.to_document(),
        }


@dataclass(frozen=True, slots=True)
class About:
    """What a profile says of itself, without its norms.

    Attributes
    ----------
    name : str
        What it is chosen by.
    style : str
        What its tunes are, in the plural.
    stylemeter : str
        Version it was fitted with.
    origins : tuple of Origin
        None of a profile fitted from melodies in memory.
    tunes, families, failures : int
        Tunes, the families they fall into, and tunes that could not be read.
    features, extra : tuple of str
        Columns of the sample: features, and what was worked out when fitting.
    feature_version : int
    input_digest : str
        SHA-256 of what went in.
    rungs : tuple of RungSize
        In the order of the sample's row groups.
    sample_sha256 : str
    vocabulary_sha256 : str
        Of the patterns its tunes share; empty where it keeps none.
    """

    name: str
    style: str
    stylemeter: str
    origins: tuple[Origin, ...]
    tunes: int
    families: int
    failures: int
    features: tuple[str, ...]
    extra: tuple[str, ...]
    feature_version: int
    input_digest: str
    rungs: tuple[RungSize, ...]
    sample_sha256: str
    vocabulary_sha256: str = ""

    @classmethod
    def from_plain(cls, plain: Any, where: str) -> About:
        """Read it from plain data.

        Parameters
        ----------
        plain : object
            As parsed from JSON.
        where : str
            Names it in errors.

        Raises
        ------
        ProfileError
            If it is no profile of our schema and features, or a field is missing or can't be what it should.
        """
        if not isinstance(plain, dict) or not str(plain.get("schema", "")).startswith("stylemeter/profile/"):
            raise ProfileError("not a profile", where=where)
        if plain["schema"] != SCHEMA:
            raise ProfileError(
                f"schema {plain['schema']!r}, this version reads {SCHEMA!r}", where=where, mend="fit it anew"
            )
        try:
            about = cls(
                name=str(plain["name"]),
                style=str(plain["style"]),
                stylemeter=str(plain.get("stylemeter", "")),
                origins=tuple(Origin(**origin) for origin in plain["collections"]),
                tunes=int(plain["tunes"]),
                families=int(plain["families"]),
                failures=int(plain.get("failures", 0)),
                features=tuple(plain["features"]),
                extra=tuple(plain["extra"]),
                feature_version=int(plain["feature_version"]),
                input_digest=str(plain.get("input_digest", "")),
                rungs=tuple(RungSize(int(r["notes"]), int(r["rows"]), int(r["families"])) for r in plain["rungs"]),
                sample_sha256=str(plain["sample_sha256"]),
                vocabulary_sha256=str(plain.get("vocabulary_sha256", "")),
            )
        except KeyError as error:
            raise ProfileError(f"field {error.args[0]!r} is missing", where=where, mend="fit it anew") from None
        except (TypeError, ValueError) as error:
            raise ProfileError(f"a field can't be read ({error})", where=where, mend="fit it anew") from None
        known = about.feature_version == FEATURE_VERSION and about.features == tuple(CATALOG)
        if not known or not set(about.extra) >= _HABIT_COLUMNS:
            raise ProfileError(
                "fitted with another version of the feature dictionary",
                where=where,
                mend="fit it anew with this version",
            )
        return about

    def to_plain(self) -> dict[str, Any]:
        """Return it as plain data, the rungs by their sizes."""
        return {
            "schema": SCHEMA,
            "name": self.name,
            "style": self.style,
            "stylemeter": self.stylemeter,
            "collections": [origin.to_plain() for origin in self.origins],
            "tunes": self.tunes,
            "families": self.families,
            "failures": self.failures,
            "features": list(self.features),
            "extra": list(self.extra),
            "feature_version": self.feature_version,
            "input_digest": self.input_digest,
            "rungs": [asdict(size) for size in self.rungs],
            "sample_sha256": self.sample_sha256,
        } | ({"vocabulary_sha256": self.vocabulary_sha256} if self.vocabulary_sha256 else {})

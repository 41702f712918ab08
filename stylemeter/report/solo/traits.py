"""The table of every trait: where it stands, how surely, and what it means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stylemeter.features import CATALOG
from stylemeter.placement.records import FeaturePlace
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import format_range, format_value, value_and_range, words
from stylemeter.report.draw.svg import standing_strip
from stylemeter.report.solo.words import percentile_text, places_words, say, standing_words

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["Group", "Row", "groups"]

_MARKS = {"above": "▲", "below": "▼", "within": "·", "unmeasured": "–"}

#: Most traits on paper, the surest of those outside: two pages hold no more.
PRINTED = 20


@dataclass(frozen=True, slots=True)
class Row:
    """One trait.

    Attributes
    ----------
    kind : str
        Verdict.
    sort_value, sort_percentile, sort_q : str
        Numbers to sort by; empty where unknown, which always comes last.
    details : tuple of str
        What is told on demand.
    printed : bool
        Whether it is on paper too.
    """

    name: str
    label: str
    kind: str
    mark: str
    verdict: str
    value: str
    usual: str
    standing: str
    percentile: str
    strip: Markup | None
    sure: str
    explain: str
    details: tuple[str, ...]
    sort_value: str = ""
    sort_percentile: str = ""
    sort_q: str = ""
    outside: bool = False
    clear: bool = False
    printed: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """The traits of one family."""

    name: str
    title: str
    explain: str
    rows: tuple[Row, ...]


def groups(findings: Findings) -> Iterator[Group]:
    """Every family: what lies outside first, the surest first; what could not be measured last."""
    printed = {f.name for f in findings.placement.outside[:PRINTED]}
    for family, titled in words().families.items():
        members = [f for f in findings.placement.features if CATALOG[f.name].family == family]
        ordered = sorted(members, key=_order)
        yield Group(family, titled.title, titled.explain, tuple(_row(findings, f, f.name in printed) for f in ordered))


def _order(f: FeaturePlace) -> tuple[int, float, float]:
    """What lies outside by q and p, then the rest in the order of the dictionary."""
    if f.outside:
        return 0, f.q, f.p
    return (2 if f.verdict == "unmeasured" else 1), 0.0, 0.0


def _row(findings: Findings, f: FeaturePlace, printed: bool) -> Row:
    own = words().features[f.name]
    placed = f.verdict != "unmeasured" and f.limits is not None
    coverage = findings.placement.coverage
    standing = standing_words(f.percentile, small=bool(f.reason)) if placed else f.reason
    percentile = percentile_text(f.percentile) if placed else ""
    value, usual = format_value(f.name, f.value), say("traits.no_norm")
    if f.limits:
        value, usual = value_and_range(f.name, f.value, f.limits.lower, f.limits.upper)
    return Row(
        name=f.name,
        label=own.label,
        kind=f.verdict,
        mark=_MARKS[f.verdict],
        verdict=say(f"traits.{f.verdict}"),
        value=value,
        usual=usual,
        standing=standing,
        percentile=percentile,
        strip=standing_strip(f.percentile, coverage, say("traits.strip", percentile=percentile), f.interval)
        if placed
        else None,
        sure=_sure(f),
        explain=own.explain,
        details=tuple(_details(findings, f)),
        sort_value=_key(f.value),
        sort_percentile=_key(f.percentile),
        sort_q=_key(f.q),
        outside=f.outside,
        clear=f.clear,
        printed=printed,
    )


def _end(name: str, interval: tuple[float, float]) -> str:
    """An end of a range by its confidence interval; one value where both its ends look alike."""
    low, high = (format_value(name, end) for end in interval)
    return low if low == high else format_range(name, *interval)


def _key(value: float) -> str:
    """A number to sort by."""
    return f"{value:.9g}" if value == value else ""


def _sure(f: FeaturePlace) -> str:
    """How sure a flag is; empty where there is none."""
    if not f.outside:
        return ""
    return say("traits.unsure") if f.unsure else say("traits.clear") if f.clear else ""


def _details(findings: Findings, f: FeaturePlace) -> Iterator[str]:
    """What is told of a trait on demand."""
    limits = f.limits
    if f.verdict != "unmeasured" and limits is not None:
        yield findings.sentence(f.name)
        yield say("traits.limits", low=_end(f.name, limits.lower_ci), high=_end(f.name, limits.upper_ci))
        yield say("traits.numbers", percentile=f"{f.percentile:.1f}", p=f"{f.p:.4f}", q=f"{f.q:.4f}")
    if f.interval is not None:
        low, high = (percentile_text(end) for end in f.interval)
        yield say("traits.interval", low=low, high=high)
    if f.reason and f.verdict != "unmeasured":
        yield f"{f.reason}."
    if f.evidence:
        yield say("traits.bars", bars=places_words(f.evidence))
    change, tip = findings.changes.get(f.name), findings.tip(f.name)
    if change:
        yield say("traits.amount", words=change.words)
    if tip:
        yield say("traits.advice", exercise=tip.exercise)
    yield say("traits.name", name=f.name)

"""The other styles, and how the norm was made."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stylemeter.placement.records import Typicality
from stylemeter.placement.trust.capability import capability, nearest_count
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import style_words, words
from stylemeter.report.draw.svg import share_bar
from stylemeter.report.solo.head import Fact, expected_words
from stylemeter.report.solo.words import joined, percent, say, texts

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["Seen", "Source", "StyleView", "norm_facts", "seen", "sources", "styles"]


@dataclass(frozen=True, slots=True)
class StyleView:
    """How typical the solo is of one style."""

    style: str
    count: str
    bar: Markup | None
    families: str
    here: bool
    tie: bool
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """A collection behind the norm."""

    title: str
    licence: str
    attribution: str
    licence_words: str


@dataclass(frozen=True, slots=True)
class Seen:
    """How often a habit put in on purpose was seen."""

    habit: str
    shown: str
    hinted: str


def styles(findings: Findings) -> Iterator[StyleView]:
    """Every installed style, most typical first."""
    for t in findings.styles:
        yield _style(t, here=t.profile == findings.placement.profile.name)


def _style(t: Typicality, *, here: bool) -> StyleView:
    known = math.isfinite(t.p)
    count = say("styles.untold", reason=t.reason)
    if known:
        count = say("styles.few") if t.p < 0.005 else say("styles.count", count=f"{100 * t.p:.0f}")
    sentences = []
    for key in ("fitting", "misfitting"):
        labels = [words().features[name].label for name in getattr(t, key)]
        if labels:
            sentences.append(say(f"styles.{key}", labels=joined(labels)))
    return StyleView(
        style=t.style,
        count=count,
        bar=share_bar(t.p, count) if known else None,
        families=say("styles.families", t.families, count=t.families),
        here=here,
        tie=t.tie,
        sentences=tuple(sentences),
    )


def norm_facts(findings: Findings) -> Iterator[Fact]:
    """What the norm is and how far it can be trusted."""
    placed = findings.placement
    profile = placed.profile
    said = style_words(profile)
    yield Fact(say("norm.made_of"), say("norm.made_of_value", who=said.who, families=profile.families))
    if said.means:
        yield Fact(say("norm.means"), said.means)
    if placed.plan is not None:
        yield Fact(say("norm.compared"), _compared(findings))
        yield Fact(say("norm.range"), say("norm.range_value", coverage=f"{100 * placed.coverage:.0f}"))
        total = sum(f.verdict != "unmeasured" for f in placed.features)
        if total:
            expected = expected_words(placed)
            value = say("norm.chance_value", expected=expected, total=total, count=len(placed.outside))
            yield Fact(say("norm.chance"), value[:1].upper() + value[1:])
        yield Fact(say("norm.calibration"), _calibration(findings))
    digest = say("norm.digest_value", name=profile.name, digest=profile.digest, version=profile.about.feature_version)
    yield Fact(say("norm.digest"), digest)


def _compared(findings: Findings) -> str:
    """The rungs compared with, and the families behind them."""
    placed = findings.placement
    assert placed.plan is not None
    parts: dict[str, Any] = {"how": placed.plan.words}
    for end, (notes, _) in zip(("", "_b"), placed.plan.rungs, strict=False):
        parts |= {f"notes{end}": notes, f"families{end}": placed.profile.rung_families[notes]}
    return say("norm.compared_two" if len(placed.plan.rungs) > 1 else "norm.compared_value", **parts)


def _calibration(findings: Findings) -> str:
    """What held-out tunes of the style itself showed, at the nearest length."""
    placed = findings.placement
    clean = (placed.profile.calibration or {}).get("clean", {})
    notes = nearest_count(list(clean), placed.plan.length) if placed.plan else None
    if notes is None:
        return say("norm.not_calibrated")
    entry = clean[notes]
    said = say(
        "norm.calibrated",
        notes=notes,
        excerpts=entry["excerpts"],
        outside=f"{100 * entry['outside_mean']:.0f}",
        clear=f"{entry['clear_mean']:.1f}",
    )
    told = [
        f"{words().habits[name].title} {100 * shares['shown']:.0f}"
        for name, shares in entry["habits"].items()
        if shares.get("shown") is not None
    ]
    return f"{said}. {say('norm.calibrated_habits', habits=texts()['comma'].join(told))}" if told else said


def seen(findings: Findings) -> Iterator[Seen]:
    """How often each habit was seen when it was put into clean tunes; nothing where that was not measured."""
    placed = findings.placement
    for h in placed.habits:
        found = capability(placed.profile, h.name, placed.plan.length if placed.plan else max(1, len(placed.melody)))
        if math.isfinite(found.shown):
            yield Seen(words().habits[h.name].title, percent(found.shown), percent(found.hinted))


def sources(findings: Findings) -> Iterator[Source]:
    """The collections with their licences."""
    for c in findings.placement.profile.origins:
        tunes = c.tunes
        yield Source(
            title=say("norm.source", tunes, title=c.title, tunes=tunes),
            licence=say("norm.licence", licence=c.licence.rstrip(".")),
            attribution=say("norm.attribution", attribution=c.attribution) if c.attribution else "",
            licence_words=c.licence_words,
        )

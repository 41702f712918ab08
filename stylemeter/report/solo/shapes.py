"""Distributions of the solo beside the style's, as charts with a sentence each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stylemeter.features.distributions import IOI_CELLS
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import words
from stylemeter.report.draw.svg import Chart, chart
from stylemeter.report.solo.words import joined, percent, say, table

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["Shape", "scale_sentence", "shapes"]

#: Difference of two shares that is told of.
TOLD = 0.02


@dataclass(frozen=True, slots=True)
class Shape:
    """A distribution: its chart and what is said of it; no chart where it can't be compared."""

    title: str
    explain: str
    picture: Markup | None
    sentences: tuple[str, ...]


def shapes(findings: Findings) -> Iterator[Shape]:
    """The four distributions in the order of the dictionary."""
    placed = findings.placement
    for name, titled in words().distributions.items():
        found = placed.shapes.get(name)
        if found is None:
            reason = say("shapes.no_reason") if placed.plan else placed.typicality.reason
            yield Shape(titled.title, titled.explain, None, (say("shapes.none", reason=reason),))
            continue
        solo, style = tuple(found["solo"]), tuple(found["style"])
        sentences = (*_differences(name, solo, style, placed.melody), *_far(found["percentile"]))
        data = Chart(solo, style, _ticks(name, len(solo), placed.melody), say(f"shapes.axis_{name}"))
        yield Shape(titled.title, titled.explain, chart(data, f"{titled.title}. {' '.join(sentences)}"), sentences)


def _differences(name: str, solo: Sequence[float], style: Sequence[float], melody: Melody) -> Iterator[str]:
    """The cells furthest above and below the style."""
    gaps = [own - other for own, other in zip(solo, style, strict=True)]
    over, under = gaps.index(max(gaps)), gaps.index(min(gaps))
    if max(gaps) < TOLD and min(gaps) > -TOLD:
        yield say("shapes.alike")
        return
    for cell, key in ((over, "over"), (under, "under")):
        if abs(gaps[cell]) >= TOLD:
            said = cell_words(name, cell, melody)
            yield say(f"shapes.{key}", cell=said, solo=percent(solo[cell]), style=percent(style[cell]))


def _far(percentile: float) -> Iterator[str]:
    """How far the whole lies from the style's mean, never further than all or than none."""
    if not math.isfinite(percentile):
        return
    count = math.floor(percentile + 0.5)
    if count >= 100:
        yield say("shapes.far_all")
    elif count <= 0:
        yield say("shapes.near_all")
    else:
        yield say("shapes.far", count=count)


def cell_words(name: str, cell: int, melody: Melody) -> str:
    """A cell of a distribution in words.

    Parameters
    ----------
    name : {"intervals", "degrees", "iois", "onsets"}
    cell : int
    melody : Melody
    """
    if name == "intervals":
        return _interval_words(cell - 12)
    if name == "degrees":
        return say("shapes.degree", name=table("degrees")[str(cell)])
    if name == "iois":
        return table("iois")[IOI_CELLS[cell]]
    beat = 1 + cell * TICKS / 24 / melody.meters[0].beat
    return say("shapes.onset", beat=f"{beat:.2f}".rstrip("0").rstrip("."))


def _interval_words(semitones: int) -> str:
    if semitones == 0:
        return say("shapes.same")
    way = "up" if semitones > 0 else "down"
    size = abs(semitones)
    return say(f"shapes.{way}_most") if size == 12 else say(f"shapes.{way}", size, count=size)


def _ticks(name: str, cells: int, melody: Melody) -> dict[int, str]:
    """Labels below the chart."""
    if name == "intervals":
        return {i: f"{'+' if i > 12 else '−' if i < 12 else ''}{abs(i - 12)}" for i in range(0, cells, 3)}
    if name == "degrees":
        return {int(i): sign for i, sign in table("degree_signs").items()}
    if name == "iois":
        # every other fraction, so that they don't run into each other
        return {i: cell for i, cell in enumerate(IOI_CELLS[:-2]) if cell in ("1/8", "1/4", "1/2", "1", "2", "4")}
    beat = max(1, round(melody.meters[0].beat * 24 / TICKS))
    every = beat * max(1, cells // beat // 8)
    return {i: str(1 + i // beat) for i in range(0, cells, every)}


def scale_sentence(findings: Findings) -> str:
    """The best-fitting scale on the tonic, ties told; empty where none is known."""
    best = [s for s in findings.placement.scales if s.rank == 1]
    if not best:
        return ""
    names, share = joined([s.name.replace("_", " ") for s in best]), percent(best[0].notes)
    return say("shapes.scale_tie" if len(best) > 1 else "shapes.scale", names=names, share=share)

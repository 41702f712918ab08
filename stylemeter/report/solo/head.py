"""The top of the page: what was read, and the answer in a few sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from stylemeter.music.melody import Melody
from stylemeter.placement.records import Placement
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import style_words
from stylemeter.report.solo.document import bar_count
from stylemeter.report.solo.words import say, texts
from stylemeter.support.numbers import number
from stylemeter.support.printable import show

__all__ = ["Fact", "answer", "facts", "notices", "remarks", "solo_title"]

#: Most characters of a title and of a remark.
TITLE_MAX, REMARK_MAX = 200, 400


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and what is said of it."""

    name: str
    value: str


def solo_title(melody: Melody, most: int = TITLE_MAX) -> str:
    """Title, else the file's name."""
    return show(melody.title.strip() or Path(melody.path).name or texts()["untitled"], most)


def facts(melody: Melody) -> Iterator[str]:
    """What was read, in short."""
    if melody.path and melody.title.strip():
        yield show(Path(melody.path).name, 80)
    if melody.part and not melody.part.startswith("X:"):
        # the number of a tune in a collection file says nothing by itself
        yield show(melody.part, 80)
    bars = bar_count(melody)
    yield say("read.bars", bars, bars=bars, meter=texts()["comma"].join(dict.fromkeys(str(m) for m in melody.meters)))
    yield say("read.notes", len(melody), notes=len(melody))
    yield _key(melody)
    if melody.tempo is not None:
        yield say("read.tempo_value", tempo=f"{melody.tempo:.4g}")


def _key(melody: Melody) -> str:
    """The key and how it is known."""
    key = melody.key
    if key is None:
        return say("read.no_key")
    said = say(f"read.{key.source}", key=key.name)
    if key.source == "estimated" and key.runner_up:
        said += texts()["comma"] + say("read.runner_up", key=key.runner_up)
    return said


def remarks(melody: Melody) -> list[str]:
    """What the reader had to mend or guess."""
    return [show(remark, REMARK_MAX) for remark in melody.remarks]


def answer(findings: Findings) -> Iterator[str]:
    """What the measurements are, and how many traits lie outside and how many would by chance: said once, here."""
    placed = findings.placement
    if placed.plan is None:
        return
    yield say("answer.compared", who=style_words(placed.profile).who, how=placed.plan.words)
    outside = placed.outside
    yield say(
        "answer.outside",
        len(outside),
        count=len(outside),
        total=sum(f.verdict != "unmeasured" for f in placed.features),
        coverage=f"{100 * placed.coverage:.0f}",
        expected=expected_words(placed),
    )
    clear = sum(f.clear for f in outside)
    yield say("answer.clear", clear, count=clear) if clear else say("answer.no_clear")


def expected_words(placed: Placement) -> str:
    """How many traits chance alone would put outside, and how many the style's own have there at most."""
    known, most = number(placed.expected), number(placed.usual_most)
    if known is None:
        return say("answer.unknown")
    about = say("answer.about", amount=f"{known:.0f}")
    return about if most is None else say("answer.about_most", about=about, most=f"{most:.0f}")


def notices(findings: Findings) -> Iterator[str]:
    """What the answer must be read with."""
    placed = findings.placement
    if placed.plan is not None and placed.plan.provisional:
        yield say("answer.provisional")
    if round(100 * placed.uncertain_share):
        yield say("answer.uncertain", share=f"{100 * placed.uncertain_share:.0f}")

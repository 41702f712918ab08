"""Progress in words, and as plain data: what the terminal, the page, JSON and CSV share. Computes no statistics."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import Any

from stylemeter.practice.advice import Choice
from stylemeter.practice.words import words
from stylemeter.report.classroom.words import of_hundred, say, texts
from stylemeter.support.numbers import number
from stylemeter.support.printable import show
from stylemeter.takes.progress import By, Point, Progress, Trajectory
from stylemeter.takes.trend import FEWEST
from stylemeter.writing.table import escape

__all__ = [
    "COLUMNS",
    "SCHEMA",
    "answer",
    "chosen",
    "csv_text",
    "ends",
    "head",
    "next_lines",
    "sentence",
    "to_document",
    "trait_title",
    "verdict",
]

SCHEMA = "stylemeter/progress/1"


COLUMNS = (
    *("order", "take", "title", "notes", "kind", "trait", "value"),
    *("percentile", "lower", "upper", "reason", "moved", "p", "q"),
)


def trait_title(trajectory: Trajectory) -> str:
    """What a habit or trait is called."""
    return words().title(trajectory.name)


def head(progress: Progress, by: By) -> list[str]:
    """What was compared, and what has to be known about it."""
    count = len(progress.takes)
    lines = [
        say(
            "progress.compared",
            count,
            count=count,
            by=texts()[f"progress.by_{by}"],
            style=progress.profile.style,
            length=progress.length,
            families=progress.families,
        )
    ]
    if progress.left_out:
        told = [say("progress.short_take", title=show(title, 60), notes=notes) for title, notes in progress.left_out]
        lines.append(say("progress.short", takes=", ".join(told)))
    if len(progress.keys) > 1:
        lines.append(say("progress.keys", keys=", ".join(k or "?" for k in progress.keys)))
    if any(take.guessed_share for take in progress.takes):
        lines.append(texts()["progress.guessed"])
    if not progress.certain:
        lines.append(texts()["progress.no_intervals"])
    return lines


def answer(progress: Progress) -> list[str]:
    """What moved, soberly, with what would be needed where nobody can tell."""
    lines = []
    if progress.missing:
        count = len(progress.takes)
        lines.append(say("progress.few", count, count=count, missing=progress.missing))
        apart = [trait_title(t) for t in progress.habits if t.apart]
        if apart:
            lines.append(say("progress.answer_apart", titles=", ".join(apart)))
        elif progress.certain:
            lines.append(texts()["progress.answer_together"])
    else:
        moved = [t for t in progress.habits if t.moved in ("less", "more")]
        told = [_moved_title(t) for t in moved]
        lines.append(
            say("progress.answer_moved", titles=", ".join(told)) if told else texts()["progress.answer_steady"]
        )
        lines.append(texts()["progress.enough"])
    return [*lines, texts()["progress.no_fault"]]


def next_lines(following: Choice) -> list[str]:
    """What the last take asks for: its one sentence, and the exercise if there is one."""
    lines = [say("progress.next", reason=following.reason)]
    return [*lines, say("progress.next_exercise", exercise=following.tip.exercise)] if following.tip else lines


def _moved_title(t: Trajectory) -> str:
    """What moved and which way; of what came from the style's edge to its middle, that."""
    title = trait_title(t)
    if t.came_home:
        return say("progress.moved_home", title=title, **_home(t))
    return say(f"progress.moved_{t.moved}", title=title)


def _home(t: Trajectory) -> dict[str, str]:
    """How something came to what is usual."""
    return {"way": texts()["moved.rose" if t.moved == "more" else "moved.fell"], "began": texts()[f"moved.{t.began}"]}


def verdict(t: Trajectory) -> str:
    """Whether it moved, in a few words."""
    if t.came_home:
        return say("moved.home", **_home(t))
    return texts()["moved.few_apart" if t.moved == "few" and t.apart else f"moved.{t.moved}"]


def sentence(t: Trajectory) -> str:
    """What is said of one habit or trait."""
    if t.moved == "unmeasured":
        reason = next((p.reason for p in t.points if p.reason), texts()["progress.unmeasured_take"])
        return say("moved_said.unmeasured", reason=reason)
    if t.moved == "few":
        how = "unknown" if t.apart is None else "apart" if t.apart else "together"
        there = [p.percentile for p in t.points if math.isfinite(p.percentile)]
        return say(f"moved_said.few_{how}", first=of_hundred(there[0]), last=of_hundred(there[-1]))
    first, last = ends(t)
    said = {"first": first, "last": last, "odds": _odds(t.p), "q": f"{t.q:.2g}"}
    if t.came_home:
        return say("moved_said.home", **said, **_home(t))
    return say(f"moved_said.{t.moved}", **said, neighbours=f"{t.neighbours:.0f}")


def ends(t: Trajectory) -> tuple[str, str]:
    """The first and the last percentile; in tenths where something moved within a whole number."""
    first, last = of_hundred(t.first), of_hundred(t.last)
    if t.moved in ("less", "more") and first == last and math.isfinite(t.first + t.last):
        first, last = (f"{min(99.9, max(0.1, p)):.1f}" for p in (t.first, t.last))
    return first, last


def _odds(p: float) -> str:
    count = round(1000 * p)
    return say("moved_said.odds", count=count) if count else texts()["moved_said.odds_rare"]


def chosen(progress: Progress, wanted: Iterable[str]) -> list[Trajectory]:
    """Traits asked for, then those that moved beyond chance, the surest first."""
    by_name = {t.name: t for t in progress.features}
    asked = [by_name[name] for name in dict.fromkeys(wanted)]
    moved = sorted((t for t in progress.features if t.moved in ("less", "more")), key=lambda t: (t.q, t.p, t.name))
    return [*asked, *(t for t in moved if t not in asked)]


# -- plain data ----------------------------------------------------------------------------------------------------


def to_document(progress: Progress, by: By) -> dict[str, Any]:
    """Return the whole answer as plain data; unknown numbers are None."""
    profile = progress.profile
    return {
        "schema": SCHEMA,
        "profile": {"name": profile.name, "style": profile.style, "digest": profile.digest},
        "by": by,
        "notes": progress.length,
        "families": progress.families,
        "takes": [
            {
                "title": take.title,
                "path": take.path,
                "part": take.part,
                "notes": take.notes,
                "key": take.key or None,
                "excerpts": take.excerpts,
                "guessed_share": take.guessed_share,
                "remarks": list(take.remarks),
            }
            for take in progress.takes
        ],
        "left_out": [{"title": title, "notes": notes} for title, notes in progress.left_out],
        "fewest_takes": FEWEST,
        "habits": [_trajectory(t) for t in progress.habits],
        "features": [_trajectory(t) for t in progress.features],
        "words": answer(progress),
    }


def _trajectory(t: Trajectory) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": t.name,
        "moved": t.moved,
        "slope": number(t.slope),
        "p": number(t.p),
        "q": number(t.q),
        "apart": t.apart,
        "first": number(t.first),
        "last": number(t.last),
        "began": t.began,
        "ended": t.ended,
        "neighbours": number(t.neighbours),
        "caution": t.caution,
        "takes": [_point(p) for p in t.points],
        "words": sentence(t),
    }
    if t.limits:
        found |= {"usual": [t.limits.lower, t.limits.upper]}
    return found


def _point(p: Point) -> dict[str, Any]:
    return {
        "percentile": number(p.percentile),
        "lower": number(p.lower),
        "upper": number(p.upper),
        "value": number(p.value),
        "dose": number(p.dose),
        "reason": p.reason,
    }


def csv_text(progress: Progress) -> str:
    """A row a take and habit or trait, no cell that a spreadsheet would run."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for kind, trajectories in (("habit", progress.habits), ("feature", progress.features)):
        for t in trajectories:
            for i, (take, p) in enumerate(zip(progress.takes, t.points, strict=True), 1):
                row = [i, escape(take.path), escape(take.title), take.notes, kind, t.name, _cell(p.value)]
                row += [_cell(p.percentile), _cell(p.lower), _cell(p.upper), p.reason, t.moved, _cell(t.p), _cell(t.q)]
                writer.writerow(row)
    return out.getvalue()


def _cell(value: float) -> str:
    return f"{value:.10g}" if math.isfinite(value) else ""


def numbers(points: Sequence[Point]) -> list[str]:
    """Percentiles in words, one a take."""
    return [_number_words(p) for p in points]


def _number_words(p: Point) -> str:
    if not math.isfinite(p.percentile):
        return texts()["progress.unmeasured_take"]
    if not math.isfinite(p.lower):
        return of_hundred(p.percentile)
    low, high = of_hundred(p.lower), of_hundred(p.upper)
    return say("progress.interval", count=of_hundred(p.percentile), low=low, high=high)

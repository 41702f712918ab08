"""Progress for the terminal: a line of blocks a habit, in 80 columns, plain text through a pipe."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import NormalDist

from rich.table import Table
from rich.text import Text

from stylemeter.practice.advice import Choice
from stylemeter.practice.words import format_range, format_value
from stylemeter.report.classroom.terminal import put_out
from stylemeter.report.classroom.words import say, texts
from stylemeter.report.progress.document import answer, ends, head, next_lines, sentence, trait_title, verdict
from stylemeter.support.printable import show
from stylemeter.takes.progress import By, Progress, Trajectory

__all__ = ["print_progress", "spark"]

#: Cells of the line of blocks; more takes than that share cells.
CELLS = 16
_BLOCKS = "▁▂▃▄▅▆▇█"
_NORMAL = NormalDist()


def spark(percentiles: Sequence[float], cells: int = CELLS) -> str:
    """A line of blocks, one a take (or a few), as high as the percentile's normal score; a point where unmeasured.

    Examples
    --------
    >>> spark([99, 95, float("nan"), 51, 20, 1])
    '█▇·▅▃▁'
    """
    count = min(cells, len(percentiles))
    edges = [round(i * len(percentiles) / count) for i in range(count + 1)] if count else []
    line = []
    for start, stop in pairwise(edges):
        there = [p for p in percentiles[start:stop] if math.isfinite(p)]
        mean = sum(there) / len(there) if there else math.nan
        line.append(_block(mean) if there else "·")
    return "".join(line)


def _block(percentile: float) -> str:
    """Block of a height: the eight of them share the scores from -2.2 to 2.2, percentiles 1.4 to 98.6."""
    score = _NORMAL.inv_cdf(min(0.999, max(0.001, percentile / 100)))
    return _BLOCKS[min(7, max(0, int((score + 2.2) / 0.55)))]


def print_progress(progress: Progress, features: Sequence[Trajectory], by: By, following: Choice | None = None) -> None:
    """Print what moved, then what to do next, then the takes.

    Parameters
    ----------
    progress : Progress
    features : sequence of Trajectory
        Traits to list beside the habits.
    by : {"name", "date"}
    following : Choice, optional
        What the last take asks for.
    """
    first, *rest = answer(progress)
    blocks: list[Table | Text] = [Text(first, style="bold"), *_spoken(progress.habits), *map(Text, rest), Text()]
    if following is not None:
        blocks += [*map(Text, next_lines(following)), Text()]
    blocks += [_table("habit", progress.habits), Text(texts()["progress_terminal.legend"], style="dim"), Text()]
    blocks += [*(Text(line) for line in head(progress, by)), _takes(progress)]
    if features:
        blocks += [Text(), _table("trait", features), *_values(features)]
    put_out(*blocks)


def _takes(progress: Progress) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim", show_header=False)
    table.add_column(justify="right", width=3)
    table.add_column(width=52, no_wrap=True, overflow="ellipsis")
    table.add_column(justify="right", no_wrap=True)
    for i, take in enumerate(progress.takes, 1):
        notes = f"{take.notes} {texts()['progress.notes'].lower()}"
        table.add_row(str(i), Text(show(take.title or take.path, 120)), notes)
    return table


def _table(kind: str, trajectories: Sequence[Trajectory]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    table.add_column(texts()[f"progress_terminal.{kind}"], width=24)
    table.add_column(texts()["progress_terminal.takes"], width=CELLS, no_wrap=True)
    table.add_column(texts()["progress_terminal.way"], width=12, no_wrap=True)
    table.add_column(texts()["progress_terminal.said"], width=24)
    for t in trajectories:
        moved = t.moved in ("less", "more")
        mark = {"less": "▼ ", "more": "▲ "}.get(t.moved, "")
        way = " → ".join(ends(t)) if math.isfinite(t.first) else ""
        said = Text(mark + verdict(t), style="bold yellow" if moved else "")
        table.add_row(trait_title(t), spark([p.percentile for p in t.points]), way, said)
    return table


def _spoken(trajectories: Sequence[Trajectory]) -> list[Text]:
    """A sentence on every habit that moved, lies apart or has a caution."""
    lines = []
    for t in trajectories:
        if t.moved in ("less", "more") or (t.moved == "few" and t.apart) or t.caution:
            caution = " " + say("progress.caution", reason=t.caution) if t.caution else ""
            lines.append(Text(f"- {trait_title(t)}: {sentence(t)}{caution}"))
    return lines


def _values(trajectories: Sequence[Trajectory]) -> list[Text]:
    """A line a trait: its first and last value, and the usual range."""
    lines = []
    for t in trajectories:
        there = [p.value for p in t.points if math.isfinite(p.value)]
        if there and t.limits:
            usual = say("progress.usual", range=format_range(t.name, t.limits.lower, t.limits.upper))
            first, last = format_value(t.name, there[0]), format_value(t.name, there[-1])
            lines.append(Text(f"- {trait_title(t)}: {first} → {last}. {usual}"))
    return lines

"""A placement for the terminal: 80 columns, colour never the only sign, plain text through a pipe."""

from __future__ import annotations

import io
import os
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from stylemeter.features import CATALOG
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace, Stretch
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import fill, format_value, habit_verdict, value_and_range, words
from stylemeter.report.solo.document import bar_count
from stylemeter.support.numbers import number
from stylemeter.support.printable import show

__all__ = ["as_text", "print_placement"]

WIDTH = 80
#: Cells of the strip that shows where a habit lies in the style.
STRIP = 21
#: Cells of the name of a trait.
TRAIT = 27

_MARKS = {"shown": "■", "hinted": "▪", "none": "·", "unmeasured": " "}
_STYLES = {"shown": "bold yellow", "hinted": "yellow", "none": "", "unmeasured": "dim"}


def as_text(findings: Findings, *, every: bool = False) -> str:
    """Return the report as plain text."""
    out = io.StringIO()
    _report(Console(file=out, width=WIDTH, no_color=True, highlight=False, force_terminal=False), findings, every)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def print_placement(findings: Findings, *, every: bool = False) -> None:
    """Print the report: in colour on a terminal, as plain text through a pipe.

    Parameters
    ----------
    findings : Findings
    every : bool
        Whether to list the features inside the norm too.
    """
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR"):
        sys.stdout.write(as_text(findings, every=every))
        return
    console = Console(width=min(WIDTH, Console().width), highlight=False)
    _report(console, findings, every)


def _report(console: Console, findings: Findings, every: bool) -> None:
    for block in (_head(findings), _summary(findings), _habits(findings), _spoken(findings), _first(findings)):
        for line in block:
            console.print(line)
        console.print()
    table, hidden = _features(findings, every)
    if table.row_count:
        console.print(table)
    if hidden:
        console.print(Text(f"({hidden} more are inside or not measured: --all)", style="dim"))
    for line in [*_scales(findings), *_styles(findings), *_norm(findings), *_cautions(findings)]:
        console.print(line)


def _safe(text: str, most: int = 60) -> str:
    return show(text, most)


def key_words(melody: Melody) -> str:
    """The key and how it is known."""
    key = melody.key
    if key is None:
        return "key not known (say it with --key)"
    how = {"declared": "declared by the file", "given": "given", "estimated": "estimated from the notes"}[key.source]
    if key.source == "estimated" and key.runner_up:
        how += f"; next best {key.runner_up}"
    return f"{key.name} ({how})"


def _head(findings: Findings) -> Iterable[Text]:
    melody = findings.placement.melody
    title = _safe(melody.title or Path(melody.path).name or "untitled")
    yield Text(title, style="bold")
    meter = ", ".join(dict.fromkeys(str(m) for m in melody.meters))
    notes, bars = len(melody), bar_count(melody)
    counts = [fill("{count} {note|notes}", notes, count=str(notes)), fill("{count} {bar|bars}", bars, count=str(bars))]
    facts = [*counts, meter, key_words(melody)]
    if melody.part:
        facts.insert(0, f"part {_safe(melody.part)}")
    yield Text(", ".join(facts))
    for remark in melody.remarks:
        yield Text(f"- {_safe(remark, 300)}", style="dim")


def _summary(findings: Findings) -> Iterable[Text]:
    placed = findings.placement
    profile, plan = placed.profile, placed.plan
    measured = [f for f in placed.features if f.verdict != "unmeasured"]
    if plan is None:
        yield Text(f"Compared with {profile.style}: not possible, {placed.typicality.reason}.")
        return
    outside = placed.outside
    yield Text(f"Compared with {profile.style} {plan.words}.")
    if not measured:
        yield Text("No trait could be measured: there is too little of the solo.")
        return
    clear = sum(f.clear for f in outside)
    chance = number(placed.expected)
    said = "unknown" if chance is None else f"about {chance:.0f}"
    lie = fill("{lies|lie}", len(outside))
    yield Text(
        f"{len(outside)} of {len(measured)} measured traits {lie} outside the style's central "
        f"{100 * placed.coverage:.0f}%, {clear} of them clearly; chance alone would put {said} there."
    )
    if plan.provisional:
        yield Text("Too few tune families for a norm: take this as provisional.", style="yellow")
    if placed.uncertain_share:
        yield Text(
            f"{100 * placed.uncertain_share:.0f}% of the notes are taken as uncertain; flags that hang on them say so."
        )


def strip(share: float | None, cells: int = STRIP) -> str:
    """Where a share lies on a line of cells, the style's middle half drawn stronger.

    Examples
    --------
    >>> strip(0.98, 11)
    '···------·●'
    """
    line = ["-" if cells / 4 <= i < cells * 3 / 4 else "·" for i in range(cells)]
    if share is not None:
        line[min(cells - 1, int(share * cells))] = "●"
    return "".join(line)


def _habits(findings: Findings) -> Iterable[Table]:
    table = Table(box=None, pad_edge=False, expand=False, header_style="dim")
    table.add_column("habit", width=22)
    table.add_column("less     style   more", width=STRIP)
    table.add_column("verdict", width=14)
    table.add_column("clearest place", width=17)
    for h in findings.placement.habits:
        mark = f"{_MARKS[h.verdict]} {habit_verdict(h)}" + (" (unsure)" if h.unsure else "")
        table.add_row(
            words().habits[h.name].title,
            strip(number(h.share)),
            Text(mark, style=_STYLES[h.verdict]),
            where(h.evidence),
        )
    yield table


def where(evidence: tuple[Stretch, ...], most: int = 1) -> str:
    """Places in words: "bars 3-5"."""
    told = []
    for s in evidence[:most]:
        bars = f"bar {s.bar_from}" if s.bar_from == s.bar_to else f"bars {s.bar_from}-{s.bar_to}"
        told.append(bars)
    more = len(evidence) - most
    return ", ".join(told) + (f" and {more} more" if more > 0 else "")


def _spoken(findings: Findings) -> Iterable[Text | Padding]:
    """A paragraph a habit shown or hinted, a line a habit that is the opposite or can't be told."""
    for h in findings.placement.habits:
        if h.verdict in ("shown", "hinted"):
            yield from _told(findings, h)
        elif h.free or h.reason:
            sentence = findings.sentence(h.name)
            others = findings.others_can(h.name) if h.reason else []
            more = f" {', '.join(others)} can." if others else ""
            yield Text(f"{sentence}{more}", style="" if h.free else "dim")


def _told(findings: Findings, h: HabitPlace) -> Iterable[Text | Padding]:
    yield Text(f"{_MARKS[h.verdict]} {findings.sentence(h.name)}", style=_STYLES[h.verdict])
    lines = []
    if h.features:
        lines.append("seen in: " + ", ".join(words().features[name].label for name in h.features))
    if h.evidence:
        s = h.evidence[0]
        lines.append(f"most clearly in {where(h.evidence)} (notes {s.notes[0]}-{s.notes[-1]})")
    change = findings.changes.get(h.name)
    if change:
        lines.append(f"to come inside: {change.words}" + (" (tried on the notes)" if change.checked else ""))
    tip = findings.tip(h.name)
    if tip:
        lines.append(f"try: {tip.exercise}")
    for line in lines:
        yield Padding(Text(line), (0, 0, 0, 2))


def _first(findings: Findings) -> Iterable[Text | Padding]:
    first = findings.first
    yield Text("First: " + first.reason, style="bold")
    if first.tip:
        yield Padding(Text(first.tip.words), (0, 0, 0, 2))
        yield Padding(Text(f"{first.tip.exercise} ({first.tip.basis})"), (0, 0, 0, 2))


def _features(findings: Findings, every: bool) -> tuple[Table, int]:
    """Features grouped by family, outside the norm first, and how many are left out."""
    table = Table(box=None, pad_edge=False, header_style="dim", show_lines=False)
    table.add_column("trait", width=TRAIT)
    table.add_column("this solo", width=9)
    table.add_column("usual", width=15)
    table.add_column("and so", width=23)
    hidden = 0
    for family, titled in words().families.items():
        members = [f for f in findings.placement.features if CATALOG[f.name].family == family]
        told = sorted((f for f in members if f.outside), key=lambda f: (f.q, f.p))
        rest = [f for f in members if not f.outside and (every or (f.verdict == "unmeasured" and every))]
        hidden += len(members) - len(told) - len(rest)
        if not told and not rest:
            continue
        table.add_row(Text(titled.title, style="bold"))
        for f in [*told, *rest]:
            table.add_row(*_feature_row(f))
    return table, hidden


def _feature_row(f: FeaturePlace) -> list[str | Text]:
    own = words().features[f.name]
    if f.verdict == "unmeasured" or f.limits is None:
        value = format_value(f.name, f.value)
        return [_hanging(own.label), Text(value, style="dim"), "", Text(f.reason, style="dim")]
    value, usual = value_and_range(f.name, f.value, f.limits.lower, f.limits.upper)
    mark = {"below": "▼", "within": " ", "above": "▲"}[f.verdict]
    said = f"{mark} {hundred(f.percentile)}"
    if f.outside:
        said += ", unsure" if f.unsure else ", clear" if f.clear else ", may be chance"
        said += f"; {where(f.evidence)}" if f.evidence else ""
    said += f"; {f.note}" if f.note else ""
    style = "bold yellow" if f.clear else "yellow" if f.outside else ""
    return [_hanging(own.label), value, usual, Text(said, style=style)]


def _hanging(label: str) -> str:
    """A label below its family, what doesn't fit on the line further in: no family's title starts there."""
    return textwrap.fill(label, TRAIT, initial_indent="  ", subsequent_indent="    ")


def hundred(percentile: float) -> str:
    """A percentile in short, never beyond 99.

    Examples
    --------
    >>> hundred(97.2), hundred(0.1), hundred(50)
    ('more than 97 of 100', 'less than 99 of 100', 'more than 50 of 100')
    """
    if percentile >= 50:
        return f"more than {min(99, round(percentile))} of 100"
    return f"less than {min(99, round(100 - percentile))} of 100"


def _scales(findings: Findings) -> Iterable[Text]:
    fits = findings.placement.scales
    if not fits:
        return
    best = [s for s in fits if s.rank == 1]
    names = ", ".join(s.name for s in best)
    tie = " (a tie)" if len(best) > 1 else ""
    yield Text(f"\nBest-fitting scale on its tonic{tie}: {names}, {100 * best[0].notes:.0f}% of the notes.")


def _styles(findings: Findings) -> Iterable[Text]:
    """The other styles, most typical first."""
    if not findings.styles:
        return
    yield Text("\nHow typical it is of each style (share of the style's own tunes that lie as far out):", style="bold")
    for t in findings.styles:
        if number(t.p) is None:
            yield Text(f"  {t.style}: can't be told ({t.reason})", style="dim")
            continue
        tie = "  (tied with the one above)" if t.tie else ""
        far = f"; furthest: {', '.join(words().features[n].label for n in t.misfitting)}" if t.misfitting else ""
        told = f"  {100 * t.p:3.0f} of 100  {t.style}{tie}{far}"
        yield Text(textwrap.fill(told, WIDTH, subsequent_indent=" " * 14))


def _norm(findings: Findings) -> Iterable[Text]:
    document = findings.placement.profile.document
    yield Text(
        f"\nNorm: {document['tunes']} {document['style']} in {document['families']} tune families; "
        f"{'calibrated' if findings.placement.profile.calibration else 'not calibrated'}. "
        "Differing from a style is no fault.",
        style="dim",
    )


def _cautions(findings: Findings) -> Iterable[Text]:
    yield Text(f"{findings.advice.cautions} {findings.advice.credit}", style="dim")

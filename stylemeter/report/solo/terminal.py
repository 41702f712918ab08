"""A placement for the terminal: 80 columns, colour never the only sign, plain text through a pipe."""

from __future__ import annotations

import io
import os
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from stylemeter.features import CATALOG
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace, Stretch
from stylemeter.practice.advice import Tip
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import fill, format_value, habit_verdict, style_words, value_and_range, words
from stylemeter.report.solo.against import sides
from stylemeter.report.solo.document import bar_count
from stylemeter.report.solo.words import say
from stylemeter.support.numbers import number
from stylemeter.support.printable import show

__all__ = ["as_text", "line_of", "print_against", "print_placement"]

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
        Whether to tell the other habits, every trait and the norm too.
    """
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR"):
        sys.stdout.write(as_text(findings, every=every))
        return
    console = Console(width=min(WIDTH, Console().width), highlight=False)
    _report(console, findings, every)


def _report(console: Console, findings: Findings, every: bool) -> None:
    for block in (_head(findings, every), _lead(findings), _habits(findings), _todo(findings)):
        for line in block:
            console.print(line)
        console.print()
    if not every:
        for line in _more(findings):
            console.print(line)
        return
    for line in [*_others(findings), *_summary(findings)]:
        console.print(line)
    console.print(_features(findings))
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


#: Remarks printed where not everything is asked for.
REMARKS = 3


def _head(findings: Findings, every: bool) -> Iterable[Text]:
    melody = findings.placement.melody
    file = _safe(Path(melody.path).name) if melody.path else ""
    yield Text(_safe(melody.title) or file or "untitled", style="bold")
    meter = ", ".join(dict.fromkeys(str(m) for m in melody.meters))
    notes, bars = len(melody), bar_count(melody)
    counts = [
        fill("{count} {note|notes}", notes, count=str(notes)),
        fill("{count} {bar|bars} of {meter}", bars, count=str(bars), meter=meter),
    ]
    facts = [file] if file and melody.title.strip() else []
    if melody.part and not melody.part.startswith("X:"):
        facts.append(f"part {_safe(melody.part)}")
    yield Text(", ".join([*facts, *counts, key_words(melody)]))
    shown = melody.remarks if every else melody.remarks[:REMARKS]
    for remark in shown:
        yield Text(f"- {_safe(remark, 300)}", style="dim")
    left = len(melody.remarks) - len(shown)
    if left:
        yield Text(fill("- and {count} more {remark|remarks}: --all", left, count=str(left)), style="dim")
    plan = findings.placement.plan
    said = style_words(findings.placement.profile)
    if plan is not None:
        yield Text(f"Compared with {said.who}.")
        if plan.provisional:
            yield Text("Too few tunes for a norm: take this as provisional.", style="yellow")
    uncertain = round(100 * findings.placement.uncertain_share)
    if uncertain:
        yield Text(f"{uncertain}% of the notes are taken as uncertain; what hangs on them says so.")


def _lead(findings: Findings) -> Iterable[Text]:
    """The one sentence."""
    yield Text(findings.headline, style="bold")


def _summary(findings: Findings) -> Iterable[Text]:
    """How many traits lie outside, and how many would by chance: said once, above the list."""
    placed = findings.placement
    measured = [f for f in placed.features if f.verdict != "unmeasured"]
    if placed.plan is None or not measured:
        return
    outside = placed.outside
    clear = sum(f.clear for f in outside)
    chance = number(placed.expected)
    said = "an unknown number" if chance is None else f"about {chance:.0f}"
    if placed.usual_most == placed.usual_most:
        said += f" (nine in ten of the style's own have at most {placed.usual_most:.0f})"
    lie = fill("{lies|lie}", len(outside))
    yield Text(
        f"Compared {placed.plan.words}: {len(outside)} of {len(measured)} measured traits {lie} outside the style's "
        f"central {100 * placed.coverage:.0f}%; chance alone would put {said} there. "
        + (f"The {clear} marked clearly lie further out than that." if clear else "None lies further out than that.")
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
    table.add_column("", width=22)
    table.add_column("less     style   more", width=STRIP)
    table.add_column("", width=16)
    table.add_column("", width=15)
    for h in findings.placement.habits:
        mark = f"{_MARKS[h.verdict]} {habit_verdict(h)}" + (" (unsure)" if h.unsure else "")
        bars = where(h.evidence)
        table.add_row(words().habits[h.name].title, strip(number(h.share)), Text(mark, style=_STYLES[h.verdict]), bars)
    yield table


def where(evidence: tuple[Stretch, ...], most: int = 1) -> str:
    """Places in words: "bars 3-5"."""
    told = []
    for s in evidence[:most]:
        bars = f"bar {s.bar_from}" if s.bar_from == s.bar_to else f"bars {s.bar_from}-{s.bar_to}"
        told.append(bars)
    more = len(evidence) - most
    return ", ".join(told) + (f" and {more} more" if more > 0 else "")


def _todo(findings: Findings) -> Iterable[Text]:
    """Where, how much and the exercise, of what to work on first."""
    first = findings.first
    h = findings.placed(first.name) if first.name else None
    if isinstance(h, HabitPlace):
        yield from _lines(findings, h, tip=first.tip)


def _lines(findings: Findings, h: HabitPlace, tip: Tip | None) -> Iterable[Text]:
    """What is said of a habit shown or hinted at, a labelled paragraph each."""
    said = []
    if h.evidence:
        s = h.evidence[0]
        said.append(("Where", f"{where(h.evidence, 3)} (notes {s.notes[0]}-{s.notes[-1]} most of all)"))
    change = findings.changes.get(h.name)
    if change:
        said.append(("How much", change.words))
    if tip:
        said.append(("Exercise", tip.exercise))
    for label, text in said:
        yield Text(textwrap.fill(f"{label + ':':<10}{text}", WIDTH, subsequent_indent=" " * 10))


def _more(findings: Findings) -> Iterable[Text]:
    """What else there is, in two lines."""
    habits = findings.placement.habits
    well = [words().habits[h.name].well for h in habits if h.verdict == "none" and h.free]
    if well:
        yield Text("Does well: " + " ".join(well))
    there = sum(h.verdict in ("shown", "hinted") for h in habits)
    more = "the traits behind it" if there < 2 else "the other habits and the traits behind them"
    yield Text(f"--all tells {more}; --report take.html makes a page to look at, hear and print.", style="dim")
    if findings.first.tip:
        yield Text(findings.advice.cautions, style="dim")


def _others(findings: Findings) -> Iterable[Text]:
    """The habits beside the first: a paragraph each that is shown or hinted at, a line each that can't be told."""
    for h in findings.placement.habits:
        if h.name == findings.first.name:
            continue
        if h.verdict in ("shown", "hinted"):
            yield Text(f"{_MARKS[h.verdict]} {findings.sentence(h.name)}", style=_STYLES[h.verdict])
            for line in _lines(findings, h, findings.tip(h.name)):
                yield Text.assemble(line)
        elif h.free or h.reason:
            others = findings.others_can(h.name) if h.reason else []
            more = f" {', '.join(others)} can." if others else ""
            yield Text(f"{findings.sentence(h.name)}{more}", style="dim" if h.reason else "")
    yield Text()


def _features(findings: Findings) -> Table:
    """Every trait by family, what lies outside first."""
    table = Table(box=None, pad_edge=False, header_style="dim", show_lines=False)
    table.add_column("trait", width=TRAIT)
    table.add_column("this solo", width=9)
    table.add_column("usual", width=15)
    table.add_column("among 100 tunes", width=23)
    for family, titled in words().families.items():
        members = [f for f in findings.placement.features if CATALOG[f.name].family == family]
        told = [f for f in findings.placement.outside if CATALOG[f.name].family == family]
        table.add_row(Text(titled.title, style="bold"))
        for f in [*told, *(f for f in members if not f.outside)]:
            table.add_row(*_feature_row(f))
    return table


def _feature_row(f: FeaturePlace) -> list[str | Text]:
    own = words().features[f.name]
    if f.verdict == "unmeasured" or f.limits is None:
        value = format_value(f.name, f.value)
        return [_hanging(own.label), Text(value, style="dim"), "", Text(f.reason, style="dim")]
    value, usual = value_and_range(f.name, f.value, f.limits.lower, f.limits.upper)
    mark = {"below": "▼", "within": " ", "above": "▲"}[f.verdict]
    said = f"{mark} beyond all {f.beyond}" if f.beyond and f.outside else f"{mark} {hundred(f.percentile)}"
    if f.outside:
        said += ", unsure" if f.unsure else ", clearly" if f.clear else ""
        said += f"; {where(f.evidence)}" if f.evidence else ""
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
    profile = findings.placement.profile
    yield Text(
        f"\nNorm: {profile.tunes} {profile.style} in {profile.families} tune families; "
        f"{'calibrated' if findings.placement.profile.calibration else 'not calibrated'}. "
        "Differing from a style is no fault.",
        style="dim",
    )


def print_against(now: Findings, earlier: Findings) -> None:
    """Print two takes side by side: what moved, and the bars of both."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    for name, width in ((say("against.habit"), 20), (say("against.earlier"), 21), (say("against.now"), 21), ("", 14)):
        table.add_column(name, width=width)
    for side in sides(now, earlier):
        mark = {"less": "▼ ", "more": "▲ ", "": ""}[side.moved]
        table.add_row(side.title, side.earlier, side.now, Text(mark + side.said, style="bold" if mark else ""))
    melody = earlier.placement.melody
    title = _safe(Path(melody.path).name or melody.title or "untitled")
    blocks = [Text(say("against.heading", title=title), style="bold"), table, Text(say("against.caution"), style="dim")]
    plain = not sys.stdout.isatty() or bool(os.environ.get("NO_COLOR"))
    out = io.StringIO()
    console = Console(file=out if plain else None, width=WIDTH, no_color=plain, highlight=False)
    for block in [Text(), *blocks]:
        console.print(block)
    if plain:
        sys.stdout.write("\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n")


def line_of(findings: Findings, *, style: bool = False) -> str:
    """A solo in a line of 80 columns at the most: its file, and what to work on."""
    melody = findings.placement.melody
    name = show(Path(melody.path).name or melody.title or "untitled", 200)
    said, first = words(), findings.first
    if first.name:
        h = findings.placed(first.name)
        there = [f for f in findings.placement.habits if f.verdict in ("shown", "hinted")]
        what = said.habits[first.name].work if first.tip else f"listen for {said.habits[first.name].title.lower()}"
        bars = where(h.evidence)
        what += f", {bars}" if bars else ""
        what += f" (and {len(there) - 1} more)" if len(there) > 1 else ""
    else:
        what = "not compared" if findings.placement.plan is None else "keep it: nothing stands out"
    if style:
        what += f" [{show(findings.placement.profile.style, 30)}]"
    room = max(20, WIDTH - len(what) - 2)
    name = name if len(name) <= room else name[: room - 1] + "…"
    return f"{name:<{min(room, 28)}}  {what}"


def _cautions(findings: Findings) -> Iterable[Text]:
    yield Text(f"{findings.advice.cautions} {findings.advice.credit}", style="dim")

"""A comparison for the terminal, in 80 columns, plain text through a pipe."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from rich.table import Table
from rich.text import Text

from stylemeter.practice.words import format_value, words
from stylemeter.report.classroom.terminal import WIDTH, put_out
from stylemeter.report.comparison.document import (
    head,
    heard_sentence,
    pattern_sentence,
    shape_sentence,
    shift_text,
    signed,
)
from stylemeter.report.vocabulary.words import say, texts
from stylemeter.support.printable import show
from stylemeter.takes.comparison import Comparison

__all__ = ["print_comparison"]

#: Traits and figures a side that are told.
TRAITS_MOST, PATTERNS_MOST = 12, 6


def print_comparison(c: Comparison) -> None:
    """Print what differs."""
    put_out(*_blocks(c))


def _blocks(c: Comparison) -> Iterator[Table | Text]:
    for line in head(c):
        yield _line(line, "")
    yield Text("")
    yield Text(say("compare.heard") + ":", style="bold")
    for t in c.heard:
        yield _line(heard_sentence(c, t))
    if not c.heard:
        yield _line(say("compare.nothing_heard"))
    yield Text("")
    yield from _traits(c)
    yield Text(say("compare.shapes") + ":", style="bold")
    for s in c.shapes:
        yield _line(shape_sentence(s))
    yield Text("")
    yield Text(say("compare.patterns") + ":", style="bold")
    yield from _patterns(c)
    yield Text(say("compare.no_fault"), style="dim")


def _traits(c: Comparison) -> Iterator[Table | Text]:
    differ = [t for t in c.traits if t.differs and t.effect is not None]
    compared = sum(t.effect is not None for t in c.traits)
    a, b = (show(n, 24) for n in c.names)
    yield Text(say("compare.traits") + ":", style="bold")
    yield _line(say("compare.traits_intro", count=len(differ), all=compared, a=a, b=b))
    if not differ:
        yield Text("")
        return
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("trait", "middle", "delta", "shift"):
        table.add_column(texts()[f"column.{name}"], no_wrap=name != "trait")
    for t in differ[:TRAITS_MOST]:
        assert t.effect is not None
        e = t.effect
        middle = " | ".join(format_value(t.name, m) for m in t.middle)
        low, high = e.delta_interval
        label = Text(words().features[t.name].label)
        table.add_row(label, middle, f"{signed(e.delta)} ({signed(low)}, {signed(high)})", shift_text(t.name, e.shift))
    yield table
    if len(differ) > TRAITS_MOST:
        more = len(differ) - TRAITS_MOST
        yield _line(say("compare.more_traits", more, count=more))
    yield Text("")


def _patterns(c: Comparison) -> Iterator[Text]:
    if c.reason:
        yield _line(say("compare.no_patterns", reason=c.reason))
    elif not c.patterns:
        yield _line(say("compare.nothing_patterns"))
    else:
        yield _line(say("compare.patterns_intro", tried=c.tried))
    for side in (0, 1):
        own = [d for d in c.patterns if (d.log_odds > 0) == (side == 0)]
        if own:
            yield _line(say("compare.side_has", name=show(c.names[side])) + ":")
        for d in own[:PATTERNS_MOST]:
            yield _line(pattern_sentence(d), "    ")
    yield Text("")


def _line(text: str, indent: str = "  ") -> Text:
    return Text(textwrap.fill(text, WIDTH - 2, initial_indent=indent, subsequent_indent=indent + "  "))

"""A comparison as plain data: one JSON document, a row a trait, shape or pattern; and what is said of them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from stylemeter.features import CATALOG
from stylemeter.practice.words import format_value, words
from stylemeter.report.vocabulary.words import example, of_hundred, say
from stylemeter.support.numbers import number
from stylemeter.support.printable import show
from stylemeter.takes.comparison import Comparison, PatternDifference, Shape, Trait
from stylemeter.writing.table import escape

__all__ = [
    "SCHEMA",
    "head",
    "heard_sentence",
    "pattern_sentence",
    "q_text",
    "rows",
    "shape_sentence",
    "shift_text",
    "signed",
    "to_document",
]

#: Name and version of the document's layout.
SCHEMA = "stylemeter/comparison/1"


# -- sentences -----------------------------------------------------------------------------------------------------


def head(c: Comparison) -> list[str]:
    """What was compared."""
    tunes = [say("compare.tunes", n, count=n) for n in c.tunes]
    said = [
        say(
            "compare.head",
            tunes_a=tunes[0],
            families_a=c.families[0],
            a=show(c.names[0]),
            tunes_b=tunes[1],
            families_b=c.families[1],
            b=show(c.names[1]),
            notes=c.notes,
        )
    ]
    if c.players:
        said.append(say("compare.paired", players=", ".join(show(p) for p in c.players)))
    return [*said, say("compare.unit_paired" if c.players else "compare.unit")]


def heard_sentence(c: Comparison, t: Trait) -> str:
    """What a listener would hear: the side that has more of it, or where the words say "fewer", less."""
    assert t.effect is not None
    side = 0 if t.effect.delta > 0 else 1
    own = words().features[t.name]
    parts: dict[str, object] = {
        "name": show(c.names[side]),
        "clause": own.more,
        "value": format_value(t.name, t.middle[side]),
        "other": format_value(t.name, t.middle[1 - side]),
        "other_name": show(c.names[1 - side]),
    }
    share = (1 + abs(t.effect.delta)) / 2
    if c.players:
        went = round(share * t.families[0])
        return say("compare.heard_paired", share=went, all=t.families[0], **parts)
    return say("compare.heard_line", count=of_hundred(share), **parts)


def shape_sentence(s: Shape) -> str:
    """How far two shapes lie apart."""
    title = words().distributions[s.name].title + (f" ({s.label})" if s.label else "")
    if math.isnan(s.chance):
        return say("compare.shape_mean", title=title, distance=f"{s.distance:.3f}")
    low, high = (f"{v:.3f}" for v in s.interval)
    return say(
        "compare.shape_line", title=title, distance=f"{s.distance:.3f}", low=low, high=high, chance=f"{s.chance:.3f}"
    )


def pattern_sentence(d: PatternDifference) -> str:
    """A pattern as notes, and how often either side has it."""
    rates = d.rates if d.log_odds > 0 else d.rates[::-1]
    rate, other = (f"{10 * r:.3g}" for r in rates)
    return say("compare.pattern_line", notes=example(d.kind, d.pattern), rate=rate, other=other)


def signed(value: float) -> str:
    """A number to two decimals, with its sign.

    Examples
    --------
    >>> signed(0.614), signed(-0.001), signed(-0.5)
    ('+0.61', '0.00', '-0.50')
    """
    shown = f"{value:+.2f}"
    return shown if float(shown) else "0.00"


def q_text(q: float) -> str:
    """A q to three decimals, never 0.

    Examples
    --------
    >>> q_text(0.0004), q_text(0.0214)
    ('under 0.001', '0.021')
    """
    return say("compare.q_small") if q < 0.001 else f"{q:.3f}"


def shift_text(name: str, shift: float) -> str:
    """A shift in the trait's unit, with its sign; of a share in points of a hundred.

    Examples
    --------
    >>> shift_text("step_share", -0.213), shift_text("pitch_range", 7.3)
    ('-21 points', '+7 semitones')
    """
    if words().features[name].show == "percent":
        return f"{100 * shift:+.0f} points" if abs(shift) >= 0.005 else "0 points"
    said = format_value(name, abs(shift))
    return said if shift == 0 else f"{'+' if shift > 0 else '-'}{said}"


# -- data ----------------------------------------------------------------------------------------------------------


def to_document(c: Comparison) -> dict[str, Any]:
    """Everything, unknown numbers as None."""
    return {
        "schema": SCHEMA,
        "a": {"name": c.names[0], "tunes": c.tunes[0], "families": c.families[0]},
        "b": {"name": c.names[1], "tunes": c.tunes[1], "families": c.families[1]},
        "notes": c.notes,
        "paired": list(c.players),
        "heard": [{"feature": t.name, "words": heard_sentence(c, t)} for t in c.heard],
        "features": [_trait(t) for t in c.traits],
        "distributions": [
            {
                "name": s.name,
                "meter": s.label or None,
                "distance": s.distance,
                "interval": [number(v) for v in s.interval],
                "chance": number(s.chance),
                "a": list(s.cells[0]),
                "b": list(s.cells[1]),
            }
            for s in c.shapes
        ],
        "patterns_tried": c.tried,
        "patterns": [_pattern(d) for d in c.patterns],
        "patterns_reason": c.reason or None,
    }


def _trait(t: Trait) -> dict[str, Any]:
    e = t.effect
    return {
        "name": t.name,
        "family": CATALOG[t.name].family,
        "unit": CATALOG[t.name].unit,
        "families": list(t.families),
        "median": [number(m) for m in t.middle],
        "cliffs_delta": None if e is None else e.delta,
        "cliffs_delta_interval": None if e is None else list(e.delta_interval),
        "hodges_lehmann": None if e is None else e.shift,
        "hodges_lehmann_interval": None if e is None else list(e.shift_interval),
        "p": None if e is None else e.p,
        "q": number(t.q),
        "differs": t.differs,
    }


def _pattern(d: PatternDifference) -> dict[str, Any]:
    return {
        "kind": d.kind,
        "pattern": d.pattern,
        "notes": d.length + 1,
        "count": list(d.counts),
        "families": list(d.families),
        "rate_per_hundred": list(d.rates),
        "log_odds": d.log_odds,
        "z": d.z,
        "robust_z": d.robust_z,
        "p": d.p,
        "q": d.q,
    }


def rows(comparisons: Sequence[tuple[str, Comparison]], column: str = "") -> Iterator[dict[str, Any]]:
    """A row a trait, shape and pattern; safe for a spreadsheet.

    Parameters
    ----------
    comparisons : sequence of (str, Comparison)
        With the group each is of.
    column : str
        What they are grouped by; empty for no groups.
    """
    for group, c in comparisons:
        first: dict[str, Any] = {escape(column): escape(group)} if column else {}
        first |= {"a": escape(c.names[0]), "b": escape(c.names[1]), "notes": c.notes}
        for t in c.traits:
            yield first | _trait_row(t)
        for s in c.shapes:
            name = f"{s.name} {s.label}".rstrip()
            yield first | _row("distribution", name, distance=s.distance, lower=s.interval[0], upper=s.interval[1])
        for d in c.patterns:
            yield first | _row(
                f"pattern ({d.kind})",
                d.pattern,
                families_a=d.families[0],
                families_b=d.families[1],
                value_a=d.rates[0],
                value_b=d.rates[1],
                log_odds=d.log_odds,
                z=d.z,
                robust_z=d.robust_z,
                p=d.p,
                q=d.q,
            )


_COLUMNS = (
    "families_a",
    "families_b",
    "value_a",
    "value_b",
    "cliffs_delta",
    "lower",
    "upper",
    "hodges_lehmann",
    "shift_lower",
    "shift_upper",
    "distance",
    "log_odds",
    "z",
    "robust_z",
    "p",
    "q",
)


def _trait_row(t: Trait) -> dict[str, Any]:
    found: dict[str, Any] = {
        "families_a": t.families[0],
        "families_b": t.families[1],
        "value_a": t.middle[0],
        "value_b": t.middle[1],
        "q": t.q,
    }
    if t.effect is not None:
        found |= {"cliffs_delta": t.effect.delta, "hodges_lehmann": t.effect.shift, "p": t.effect.p}
        found |= dict(zip(("lower", "upper"), t.effect.delta_interval, strict=True))
        found |= dict(zip(("shift_lower", "shift_upper"), t.effect.shift_interval, strict=True))
    return _row("feature", t.name, **found)


def _row(what: str, name: str, **cells: float) -> dict[str, Any]:
    row: dict[str, Any] = {"what": what, "name": name}
    for column in _COLUMNS:
        value = cells.get(column)
        row[column] = value if isinstance(value, int) else number(value)
    return row

"""The overview of a class: one page with a row a solo, and the same as CSV, Parquet and JSON.

Conventions: computes no statistics; the same rows give the same bytes; no dates. Titles and names are escaped in the
page and made safe for spreadsheets in the CSV.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from stylemeter.features import CATALOG, HABITS
from stylemeter.practice.advice import Advice
from stylemeter.practice.words import capital, format_range, format_value, style_words, words
from stylemeter.report.classroom.page import render
from stylemeter.report.classroom.words import of_hundred, say
from stylemeter.report.draw.score import Glyphs
from stylemeter.report.draw.svg import tag
from stylemeter.style.profile import Profile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS
from stylemeter.support.files import write_whole
from stylemeter.support.printable import show
from stylemeter.takes.class_rows import (
    COMMON_SOLOS,
    Row,
    Shared,
    common,
    groups,
    keys_read,
    pupil,
    register_order,
    spread,
)
from stylemeter.writing.table import escape

__all__ = [
    "SCHEMA",
    "ClassView",
    "class_view",
    "group_title",
    "habits_in_common",
    "keys_words",
    "to_document",
    "write_overview",
]

SCHEMA = "stylemeter/class/1"


@dataclass(frozen=True)
class ClassView:
    """A class, ready to be reported.

    Attributes
    ----------
    profile : Profile
    coverage : float
    rows : list of row
        In the order of the register (see `class_rows`).
    spread : dict
    common : list of Shared
    unread : list of (name, reason)
    passed_over : list of str
    anonymous : bool
    advice : Advice
    """

    profile: Profile
    coverage: float
    rows: list[Row]
    spread: dict[str, dict[str, Any]]
    common: list[Shared]
    unread: list[tuple[str, str]]
    passed_over: list[str]
    anonymous: bool
    advice: Advice


def class_view(
    rows: Sequence[Row],
    profile: Profile,
    advice: Advice,
    coverage: float,
    *,
    unread: Sequence[tuple[str, str]] = (),
    passed_over: Sequence[str] = (),
    anonymous: bool = False,
) -> ClassView:
    """Put the rows of a class together."""
    return ClassView(
        profile,
        coverage,
        register_order(rows),
        spread(rows),
        common(rows, coverage),
        list(unread),
        list(passed_over),
        anonymous,
        advice,
    )


def write_overview(view: ClassView, folder: Path) -> None:
    """Write index.html, sheets.html, class.csv, class.parquet and class.json."""
    document = json.dumps(to_document(view), ensure_ascii=False, allow_nan=False) + "\n"
    write_whole(folder / "class.json", document.encode("utf-8", "replace"))
    write_whole(folder / "class.csv", csv_text(view.rows).encode("utf-8", "replace"))
    write_whole(folder / "class.parquet", parquet_bytes(view.rows))
    write_whole(folder / "sheets.html", sheets_html(view).encode("utf-8"))
    write_whole(folder / "index.html", overview_html(view).encode("utf-8"))


def to_document(view: ClassView) -> dict[str, Any]:
    """Return the class as plain data."""
    return {
        "schema": SCHEMA,
        "profile": {"name": view.profile.name, "style": view.profile.style, "digest": view.profile.digest},
        "coverage": view.coverage,
        "solos": [{key: value for key, value in row.items() if key != "sheet"} for row in view.rows],
        "spread": view.spread,
        "common": [asdict(s) for s in view.common],
        "unread": [{"name": name, "reason": reason} for name, reason in view.unread],
        "passed_over": view.passed_over if not view.anonymous else len(view.passed_over),
    }


# -- tables --------------------------------------------------------------------------------------------------------


def _columns(row: Row) -> dict[str, Any]:
    """A solo as one row of a table; unknown is None."""
    solo = row["solo"]
    cells = {
        "solo": solo["path"],
        "title": solo["title"],
        "part": solo["part"],
        "page": f"pages/{row['name']}.html",
        "notes": solo["notes"],
        "bars": solo["bars"],
        "key": solo["key"],
        "outside": row["outside"],
        "clear": row["clear"],
        "measured": row["measured"],
        "typicality": row["typicality"],
        "first": row["first"]["name"] or None,
    }
    for name in HABITS:
        habit = row["habits"][name]
        cells |= {f"{name}_verdict": habit["verdict"], f"{name}_percentile": habit["percentile"]}
    for name in CATALOG:
        feature = row["features"][name]
        cells |= {name: feature["value"], f"{name}_percentile": feature["percentile"]}
    return cells


def csv_text(rows: Sequence[Row]) -> str:
    """The class as CSV: a row a solo, no cell that a spreadsheet would run."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(_kinds()), lineterminator="\n")
    writer.writeheader()
    writer.writerows({k: _cell(v) for k, v in _columns(row).items()} for row in rows)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else escape(value) if isinstance(value, str) else value


def parquet_bytes(rows: Sequence[Row]) -> bytes:
    """The same as Parquet; unknown is null."""
    import pyarrow as pa
    import pyarrow.json as pj
    import pyarrow.parquet as pq

    kinds = {str: pa.string(), int: pa.int64(), float: pa.float64()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in _kinds().items()])
    if not rows:
        table = schema.empty_table()
    else:
        # by way of JSON: made from lists, a table would load pandas, which takes longer than all the rest
        lines = "".join(json.dumps(_columns(row), ensure_ascii=False) + "\n" for row in rows).encode("utf-8", "replace")
        parse = pj.ParseOptions(explicit_schema=schema, unexpected_field_behavior="error")
        table = pj.read_json(
            io.BytesIO(lines), pj.ReadOptions(use_threads=False, block_size=len(lines)), parse_options=parse
        )
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def _kinds() -> dict[str, type]:
    """Columns of the tables and what they hold."""
    texts = dict.fromkeys(("solo", "title", "part", "page"), str)
    counts = dict.fromkeys(("outside", "clear", "measured"), int)
    habits = {f"{n}_{c}": kind for n in HABITS for c, kind in (("verdict", str), ("percentile", float))}
    features = {c: float for n in CATALOG for c in (n, f"{n}_percentile")}
    head: dict[str, type] = {
        **texts,
        "notes": int,
        "bars": int,
        "key": str,
        **counts,
        "typicality": float,
        "first": str,
    }
    return head | habits | features


# -- the page ------------------------------------------------------------------------------------------------------


def overview_html(view: ClassView) -> str:
    """Return the overview as one page that holds everything but the solos' own pages."""
    profile = view.profile
    said = style_words(view.profile)
    return render(
        "overview.html.j2",
        style=view.profile.style,
        who=said.who,
        means=said.means,
        coverage=f"{100 * view.coverage:.0f}",
        solos=say("class.solos", len(view.rows), count=len(view.rows)),
        keys=keys_words(view.rows),
        anonymous=view.anonymous,
        titles={name: words().habits[name].title for name in HABITS},
        groups=[_group_view(group.kind, group.habit, group.rows) for group in groups(view.rows)],
        rows=[_row_view(row, view.coverage) for row in view.rows],
        verdicts=words().habit_verdicts,
        spread=[_spread_view(view, name) for name in HABITS] if view.rows else [],
        common=[_shared_view(s) for s in view.common],
        few=len(view.rows) < COMMON_SOLOS,
        shared_habits=habits_in_common(view),
        medians=_medians(view.rows),
        medians_intro=_medians_intro(len(view.rows)),
        unread=view.unread,
        passed_over=[] if view.anonymous else view.passed_over,
        passed_count=len(view.passed_over),
        norm={"tunes": profile.tunes, "families": profile.families, "digest": view.profile.digest},
        name=view.profile.name,
        cautions=[view.advice.cautions, view.advice.credit],
    )


def sheets_html(view: ClassView) -> str:
    """Return all lesson sheets as one page to print, a side each, in the order of the register."""
    glyphs = Glyphs()
    sheets = []
    for row in view.rows:
        sheet = row.get("sheet")
        if sheet:
            glyphs.shapes |= sheet["glyphs"]
            sheets.append(Markup(sheet["html"]))  # noqa: S704 - made by our own template, which escapes
    return render("sheets.html.j2", style=view.profile.style, sheets=sheets, glyphs=glyphs.markup)


#: Different keys from which on a class is told that it is read in several.
KEYS_MANY = 3


def keys_words(rows: Sequence[Row]) -> str:
    """A warning where the class is read in many keys, most of them estimated; else empty."""
    keys = keys_read(rows)
    estimated = sum(row["solo"].get("key_source") == "estimated" for row in rows)
    if len(keys) < KEYS_MANY or 2 * estimated < len(rows):
        return ""
    return say("class.keys", count=len(keys), keys=", ".join(f"{key} ({n})" for key, n in keys.most_common(6)))


def group_title(kind: str, habit: str) -> str:
    """What a group of pupils has to do."""
    own = words().habits[habit] if habit else None
    return say(f"groups.{kind}", work=own.work if own else "", title=own.title.lower() if own else "")


def _group_view(kind: str, habit: str, rows: Sequence[Row]) -> dict[str, Any]:
    pupils = [{"name": show(pupil(row), 60), "link": f"pages/{quote(row['name'])}.html"} for row in rows]
    return {"id": f"{kind}-{habit}", "title": capital(group_title(kind, habit)), "pupils": pupils}


def _medians(rows: Sequence[Row]) -> list[dict[str, str]]:
    """The class's own middle of each trait, and from which solo to which it reaches."""
    found = []
    for name in CATALOG:
        values = sorted(v for row in rows if (v := row["features"][name]["value"]) is not None)
        if len(values) >= COMMON_SOLOS:
            own = words().features[name]
            ends = format_range(name, values[0], values[-1])
            found.append({"label": own.label, "median": format_value(name, median(values)), "range": ends})
    return found


def _medians_intro(solos: int) -> str:
    few = solos < FAMILIES_FOR_LIMITS
    return say("medians.few" if few else "medians.intro", count=solos, least=FAMILIES_FOR_LIMITS)


def solo_title(row: Row) -> str:
    """What a solo is called: its title, else its file."""
    solo = row["solo"]
    return str(solo["title"] or Path(solo["path"]).name or say("class.untitled"))


def _row_view(row: Row, coverage: float) -> dict[str, Any]:
    """A solo's cells."""
    (group,) = groups([row])
    solo = row["solo"]
    return {
        "link": f"pages/{quote(row['name'])}.html",
        "pupil": show(pupil(row), 80),
        "title": solo_title(row),
        "group": f"{group.kind}-{group.habit}",
        "key": solo["key"] or "",
        "key_source": say(f"table.{solo['key_source']}") if solo.get("key_source") else "",
        "notes": solo["notes"],
        "reason": row["reason"],
        "first": capital(group_title(group.kind, group.habit)),
        "habits": [_habit_view(name, row["habits"][name], coverage) for name in HABITS],
    }


def _habit_view(name: str, habit: Row, coverage: float) -> dict[str, Any]:
    shown = "free" if habit["verdict"] == "none" and habit["free"] else habit["verdict"]
    percentile = habit["percentile"]
    return {
        "title": words().habits[name].title,
        "verdict": habit["verdict"],
        "said": words().habit_verdicts[shown],
        "sort": "" if percentile is None else f"{percentile:.4f}",
        "bars": bars_text(habit.get("bars") or []),
        "reason": habit["reason"],
        "unsure": habit["unsure"],
        "strip": "" if percentile is None else _mini(percentile, coverage),
    }


def bars_text(bars: Sequence[Sequence[int]]) -> str:
    """Where a habit lies, in short: the first of its places.

    Examples
    --------
    >>> bars_text([[3, 8], [12, 12]]), bars_text([[5, 5]]), bars_text([])
    ('bars 3–8 …', 'bar 5', '')
    """
    if not bars:
        return ""
    low, high = bars[0]
    said = say("table.bar", low=low) if low == high else say("table.bars", low=low, high=high)
    return f"{said} …" if len(bars) > 1 else said


def _mini(percentile: float, coverage: float) -> Markup:
    """A mark on the style's line; the number stands beside it."""
    edge = 50 * (1 - coverage)
    parts = (
        tag("rect", x=edge, y=4, width=100 - 2 * edge, height=4, class_="band"),
        tag("circle", cx=min(97.0, max(3.0, percentile)), cy=6, r=4, class_="solo"),
    )
    return tag("svg", *parts, class_="plot mini", viewBox="0 0 100 12", aria_hidden="true")


_LINE, _DOT = 340.0, 5.0


def _spread_view(view: ClassView, name: str) -> dict[str, Any]:
    """A habit's marks and counts."""
    found = view.spread[name]
    title = words().habits[name].title
    median = of_hundred(found["median"])
    there = found["percentiles"]
    label = say("spread.picture", habit=title, solos=say("class.solos", len(there), count=len(there)), median=median)
    return {
        "title": title,
        "median": median,
        "picture": _dots(there, view.coverage, label) if there else "",
        "counts": {v: found[v] for v in ("shown", "hinted", "none", "unmeasured")},
    }


def _dots(percentiles: Sequence[float], coverage: float, label: str) -> Markup:
    """A mark a solo, piled up where they meet."""
    cells = [min(39, int(p / 2.5)) for p in percentiles]
    most = max(Counter(cells).values())
    rise = min(2 * _DOT, 80 / most)
    foot = 12 + rise * most

    def x(percentile: float) -> float:
        return 8 + (_LINE - 16) * percentile / 100

    edge = 50 * (1 - coverage)
    parts = [
        tag("rect", x=x(edge), y=4, width=x(100 - edge) - x(edge), height=foot - 4, class_="hill"),
        tag("line", x1=x(50), x2=x(50), y1=4, y2=foot, class_="grid"),
        tag("line", x1=4, x2=_LINE - 4, y1=foot, y2=foot, class_="axis"),
    ]
    piled: Counter[int] = Counter()
    for cell in cells:
        piled[cell] += 1
        at = foot - rise * (piled[cell] - 0.5)
        parts.append(tag("circle", cx=x(2.5 * cell + 1.25), cy=at, r=min(_DOT, rise), class_="solo"))
    for p, text in ((edge, of_hundred(edge)), (50.0, "50"), (100 - edge, of_hundred(100 - edge))):
        parts.append(tag("text", text, x=x(p), y=foot + 14, text_anchor="middle"))
    box = f"0 0 {_LINE:g} {foot + 18:g}"
    return tag("svg", *parts, class_="plot dots", viewBox=box, role="img", aria_label=label)


def _shared_view(shared: Shared) -> dict[str, str]:
    own = words().features[shared.name]
    clause = own.more if shared.verdict == "above" else own.less
    said = say(
        f"common.{shared.verdict}", label=own.label, count=shared.count, measured=shared.measured, clause=clause.lower()
    )
    return {"said": said, "chance": say("common.chance", expected=_about(shared.expected)), "explain": own.explain}


def _about(expected: float) -> str:
    return f"{expected:.1f}" if expected < 10 else f"{expected:.0f}"


def habits_in_common(view: ClassView) -> list[str]:
    """Titles of the habits that half of the solos or more show or hint at."""
    titles = []
    for name in HABITS:
        found = view.spread[name]
        seen = found["shown"] + found["hinted"]
        if len(view.rows) >= COMMON_SOLOS and 2 * seen >= len(view.rows):
            titles.append(words().habits[name].title)
    return titles

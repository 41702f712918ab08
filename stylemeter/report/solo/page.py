"""The page of one solo: one HTML file that holds everything, loads nothing and runs nothing but its own script.

Conventions: the same findings give the same bytes; no dates. What comes from files (titles, parts, remarks, names of
styles, advice) is escaped by the template, and a content policy names the page's own script and style by their
hashes, so that nothing else could run.
"""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from stylemeter._version import __version__
from stylemeter.features import HABITS
from stylemeter.practice.findings import Findings
from stylemeter.report.draw.html import TEMPLATES, environment, write_html
from stylemeter.report.draw.notation import engraver
from stylemeter.report.draw.svg import swatch
from stylemeter.report.solo import against as page_against
from stylemeter.report.solo import data as page_data
from stylemeter.report.solo import head as page_head
from stylemeter.report.solo import lesson as page_lesson
from stylemeter.report.solo import norm as page_norm
from stylemeter.report.solo import shapes as page_shapes
from stylemeter.report.solo import traits as page_traits
from stylemeter.report.solo.words import bars_range, say, texts

__all__ = ["page_html", "page_script", "page_style", "sheet", "warm_up", "write_page"]


def write_page(findings: Findings, path: Path, earlier: Findings | None = None) -> None:
    """Write the page of one solo.

    Parameters
    ----------
    findings : Findings
    path : Path
    earlier : Findings, optional
        An earlier take to set beside it.

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    write_html(page_html(findings, earlier=earlier), path)


def page_html(findings: Findings, *, linked: bool = False, back: str = "", earlier: Findings | None = None) -> str:
    """Return the page of one solo.

    Parameters
    ----------
    findings : Findings
    linked : bool
        Whether style and script are linked ("page.css", "page.js" beside the page, see `page_style` and
        `page_script`), for a server that says what a page may do by its own header; else they stand in the page.
    back : str
        Address of the overview the page belongs to, if any.
    earlier : Findings, optional
        An earlier take to set beside it.

    Returns
    -------
    str
        HTML, with everything inside.
    """
    page: str = _template().render(_context(findings), linked=linked, back=back, **_beside(findings, earlier))
    return page.encode("utf-8", "replace").decode("utf-8")


def _beside(findings: Findings, earlier: Findings | None) -> dict[str, Any]:
    """What the template prints of an earlier take."""
    if earlier is None:
        return {"sides": [], "earlier_title": ""}
    title = page_head.solo_title(earlier.placement.melody, 60)
    return {"sides": list(page_against.sides(findings, earlier)), "earlier_title": title}


def sheet(findings: Findings, pupil: str) -> dict[str, Any]:
    """Return the lesson of one solo as one side of paper, to be printed with others.

    Parameters
    ----------
    findings : Findings
    pupil : str
        Whose it is.

    Returns
    -------
    dict
        "html", and "glyphs": name -> outline, to stand once in the page that holds the sheets.
    """
    lesson = page_lesson.lesson(findings)
    wanted = f"in-{lesson.chosen or 'none'}"
    html: str = (
        _environment()
        .get_template("sheet.html.j2")
        .render(
            lesson=lesson,
            pupil=pupil,
            title=page_head.solo_title(findings.placement.melody),
            facts=list(page_head.facts(findings.placement.melody)),
            lines=[line for line in lesson.wide if wanted in line.habits.split()],
            cautions=[findings.advice.cautions],
        )
    )
    return {"html": html.encode("utf-8", "replace").decode("utf-8"), "glyphs": lesson.glyphs.shapes}


def warm_up() -> None:
    """Load what every page needs."""
    _template()
    engraver()


@lru_cache(maxsize=1)
def _template() -> Any:
    return _environment().get_template("page.html.j2")


@lru_cache(maxsize=1)
def _environment() -> Any:
    return environment(say=say, text=texts(), swatch=swatch, bars_range=bars_range)


def _context(findings: Findings) -> dict[str, Any]:
    """All that the template prints."""
    placed = findings.placement
    lesson = page_lesson.lesson(findings)
    rows = list(page_traits.groups(findings))
    title = page_head.solo_title(placed.melody)
    return {
        "version": __version__,
        "style": placed.profile.style,
        "coverage": f"{100 * placed.coverage:.0f}",
        "title": title,
        "short_title": page_head.solo_title(placed.melody, 60),
        "facts": list(page_head.facts(placed.melody)),
        "remarks": page_head.remarks(placed.melody),
        "answer": list(page_head.answer(findings)),
        "notices": list(page_head.notices(findings)),
        "lesson": lesson,
        "sound": Markup(lesson.sound),  # noqa: S704 - numbers, and names of our own
        "groups": rows,
        "unlisted": sum(not row.printed for group in rows for row in group.rows),
        "shapes": list(page_shapes.shapes(findings)),
        "scale": page_shapes.scale_sentence(findings),
        "styles": list(page_norm.styles(findings)),
        "norm": list(page_norm.norm_facts(findings)),
        "seen": list(page_norm.seen(findings)),
        "sources": list(page_norm.sources(findings)),
        "cautions": [findings.advice.cautions, findings.advice.credit],
        "json_link": page_data.json_link(findings),
        "csv_link": page_data.csv_link(findings),
        "stem": page_data.file_stem(findings),
        "css": page_style(),
        "js": page_script(),
        "policy": _policy(),
    }


@lru_cache(maxsize=1)
def page_style() -> Markup:
    """The page's style sheet: our own file, and for each habit the rules that show what belongs to it."""
    rules = [
        f".lesson:has(#show-{name}:checked) .on-{name}{{display:inline}}\n"
        f".lesson:has(#show-{name}:checked) .for-{name}{{display:block}}\n"
        f"@media print{{.lesson:has(#show-{name}:checked) .in-{name}{{display:block}}}}\n"
        for name in HABITS
    ]
    return Markup(_asset("page.css") + "".join(rules))  # noqa: S704 - our own file


def page_script() -> Markup:
    """The page's script."""
    return Markup(_asset("page.js"))  # noqa: S704 - our own file


@lru_cache(maxsize=2)
def _asset(name: str) -> str:
    """A file of our own that stands in the page as it is."""
    return (TEMPLATES / name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _policy() -> str:
    """What the page may do: its own script and style, links that hold data, and nothing else."""
    script, style = (
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (page_script(), page_style())
    )
    return (
        f"default-src 'none'; script-src 'sha256-{script}'; style-src 'sha256-{style}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )

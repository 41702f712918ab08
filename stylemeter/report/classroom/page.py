"""What the overview of a class and the page of progress share: the templates' environment, style and policy."""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from stylemeter._version import __version__
from stylemeter.features import HABITS
from stylemeter.report.classroom.words import of_hundred, say, texts
from stylemeter.report.draw.html import TEMPLATES, environment

__all__ = ["render"]


def render(template: str, **context: Any) -> str:
    """Fill in a template; everything but our own style sheet is escaped.

    Parameters
    ----------
    template : str
        File in the templates' folder.
    context : object
        What it prints, by name.

    Returns
    -------
    str
        HTML that loads nothing and runs nothing but our own script.
    """
    page: str = (
        _environment()
        .get_template(template)
        .render(**context, css=_css(), js=_js(), policy=_policy(), version=__version__)
    )
    return page.encode("utf-8", "replace").decode("utf-8")


@lru_cache(maxsize=1)
def _environment() -> Any:
    return environment(say=say, text=texts(), of_hundred=of_hundred)


@lru_cache(maxsize=1)
def _css() -> Markup:
    """The style of the solo's page, and ours behind it: a sheet shows the marks of its habit."""
    sheets = [(TEMPLATES / name).read_text(encoding="utf-8") for name in ("page.css", "class.css")]
    sheets += [f".show-{name} .on-{name} {{ display: inline; }}" for name in HABITS]
    return Markup("\n".join(sheets))  # noqa: S704 - our own files


@lru_cache(maxsize=1)
def _js() -> Markup:
    """The script that sorts the table of a class."""
    return Markup((TEMPLATES / "class.js").read_text(encoding="utf-8"))  # noqa: S704 - our own file


@lru_cache(maxsize=1)
def _policy() -> str:
    """What a page may do: its own style and script, and nothing else."""
    style, script = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (_css(), _js()))
    return (
        f"default-src 'none'; script-src 'sha256-{script}'; style-src 'sha256-{style}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )

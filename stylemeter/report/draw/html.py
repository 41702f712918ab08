"""What every page shares: its templates' environment, its texts by "section.name", and writing it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from stylemeter.errors import StylemeterError
from stylemeter.practice.words import fill
from stylemeter.support.files import writing

__all__ = ["TEMPLATES", "environment", "filled", "flat_texts", "write_html"]

#: Folder of the templates.
TEMPLATES = Path(__file__).resolve().parents[1] / "templates"


def environment(**names: object) -> Any:
    """Return a jinja environment over the templates: everything escaped, nothing left undefined.

    Parameters
    ----------
    names : object
        What every template sees, by name.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.globals.update(names)
    return made


def flat_texts(document: Mapping[str, Any], where: str) -> dict[str, str]:
    """Return the texts of a document by "section.name"; one outside a section by its name.

    Raises
    ------
    StylemeterError
        If an entry is not a text.
    """
    found: dict[str, str] = {}
    for section, entry in document.items():
        for name, text in entry.items() if isinstance(entry, dict) else [("", entry)]:
            if not isinstance(text, str) or not text.strip():
                raise StylemeterError(f"text {section}.{name} is not a text or is empty", where=where)
            found[f"{section}.{name}" if name else section] = text
    return found


def filled(text: str, number: float, parts: Mapping[str, object]) -> str:
    """Fill in a text, the parts said as they print."""
    return fill(text, number, **{key: str(value) for key, value in parts.items()})


def write_html(html: str, path: Path) -> None:
    """Write a page.

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    with writing(path):
        path.write_bytes(html.encode("utf-8"))

"""What every page shares: its templates' environment, and writing it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from stylemeter.support.files import writing

__all__ = ["TEMPLATES", "environment", "write_html"]

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


def write_html(html: str, path: Path) -> None:
    """Write a page.

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    with writing(path):
        path.write_bytes(html.encode("utf-8"))

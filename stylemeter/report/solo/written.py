"""The findings on a solo as a file of any kind they are reported in."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from stylemeter.errors import UsageError, WrongTypeError
from stylemeter.practice.findings import Findings
from stylemeter.support.files import write_whole, writing

__all__ = ["FORMATS", "report_text", "write_report"]

#: Format -> suffix of its files.
FORMATS = {"html": ".html", "json": ".json", "csv": ".csv", "text": ".txt"}


def report_text(findings: Findings, format: str = "text") -> str:  # noqa: A002 - what it is
    """Report the findings on a solo.

    Parameters
    ----------
    findings : Findings
    format : {"text", "html", "json", "csv"}
        As `stylemeter place` prints it; one page that holds everything; one document; a row a feature.

    Returns
    -------
    str

    Raises
    ------
    UnknownNameError
        If there is no such format.
    """
    from stylemeter.errors import UnknownNameError

    if not isinstance(findings, Findings):
        raise WrongTypeError.of("a report", findings, "what findings() returns")
    if format == "html":
        from stylemeter.report.solo.page import page_html

        return page_html(findings)
    if format == "text":
        from stylemeter.report.solo.terminal import as_text

        return as_text(findings)
    from stylemeter.report.solo.data import csv_text, json_text

    if format == "json":
        return json_text(findings)
    if format == "csv":
        return csv_text(findings)
    raise UnknownNameError.among("format", str(format), list(FORMATS))


def write_report(findings: Findings, path: str | PathLike[str]) -> Path:
    """Write the findings on a solo to a file.

    Parameters
    ----------
    findings : Findings
    path : path
        Its suffix says the format: ``.html``, ``.json``, ``.csv`` or ``.txt``.

    Returns
    -------
    Path

    Raises
    ------
    UsageError
        If no report has such a suffix, or the file can't be written.
    """
    target = Path(path)
    format_ = next((name for name, suffix in FORMATS.items() if suffix == target.suffix.lower()), None)
    if format_ is None:
        raise UsageError(f"no report has the suffix {target.suffix!r}", mend="there is: " + ", ".join(FORMATS.values()))
    data = report_text(findings, format_).encode("utf-8", "replace")
    with writing(target):
        write_whole(target, data)
    return target

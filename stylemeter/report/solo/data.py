"""The data to take away, held inside the page: links that need no script and no server."""

from __future__ import annotations

import base64
import io
import json
import re
from pathlib import Path

from stylemeter.practice.findings import Findings
from stylemeter.report.solo.csv import CsvPrinter
from stylemeter.report.solo.document import to_document

__all__ = ["csv_link", "csv_text", "file_stem", "json_link", "json_text"]


def json_text(findings: Findings) -> str:
    """The placement as JSON, in ASCII."""
    return json.dumps(to_document(findings), ensure_ascii=True, allow_nan=False) + "\n"


def csv_text(findings: Findings) -> str:
    """The placement as CSV: one row a trait, no cell a spreadsheet would run."""
    out = io.StringIO()
    CsvPrinter(out)(findings)
    return out.getvalue()


def json_link(findings: Findings) -> str:
    """The JSON as a link that holds it."""
    return _link("application/json", json_text(findings))


def csv_link(findings: Findings) -> str:
    """The CSV as a link that holds it."""
    return _link("text/csv;charset=utf-8", csv_text(findings))


def _link(kind: str, text: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(text.encode('utf-8', 'replace')).decode('ascii')}"


def file_stem(findings: Findings) -> str:
    """A plain file name for the downloads, made from that of the solo.

    Only letters, digits, hyphens and underscores of ASCII are kept, 40 of them at the most.
    """
    melody = findings.placement.melody
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(melody.path).stem or melody.title)[:40].strip("-_")
    return f"{stem or 'take'}-{re.sub(r'[^A-Za-z0-9_-]+', '-', findings.placement.profile.name)[:40]}"

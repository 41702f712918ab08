"""Placements as rows of a table: one a feature, for a spreadsheet or pandas."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable
from typing import Any, TextIO

from stylemeter.features import CATALOG
from stylemeter.practice.findings import Findings
from stylemeter.writing.table import escape

__all__ = ["COLUMNS", "CsvPrinter", "feature_rows"]

COLUMNS = (
    "solo",
    "title",
    "part",
    "profile",
    "feature",
    "family",
    "unit",
    "value",
    "lower",
    "upper",
    "percentile",
    "p",
    "q",
    "verdict",
    "clear",
    "unsure",
    "reason",
    "bars",
)


def feature_rows(findings: Findings) -> Iterable[dict[str, Any]]:
    """Return one row a feature, its cells in the order of `COLUMNS`; unknown numbers are empty."""
    placed = findings.placement
    melody = placed.melody
    names = {
        "solo": escape(melody.path),
        "title": escape(melody.title),
        "part": escape(melody.part),
        "profile": escape(placed.profile.name),
    }
    for f in placed.features:
        bars = [f"{s.bar_from}-{s.bar_to}" for s in f.evidence]
        yield {
            **names,
            "feature": f.name,
            "family": CATALOG[f.name].family,
            "unit": CATALOG[f.name].unit,
            "value": _cell(f.value),
            "lower": _cell(f.limits.lower if f.limits else None),
            "upper": _cell(f.limits.upper if f.limits else None),
            "percentile": _cell(f.percentile),
            "p": _cell(f.p),
            "q": _cell(f.q),
            "verdict": f.verdict,
            "clear": int(f.clear),
            "unsure": int(f.unsure),
            "reason": f.reason,
            "bars": " ".join(bars),
        }


def _cell(value: float | None) -> str:
    """A number for a spreadsheet; empty where unknown."""
    return "" if value is None or value != value else f"{value:.10g}"


class CsvPrinter:
    """Prints findings as CSV rows, the header once; by default on standard output."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._writer = csv.writer(sys.stdout if stream is None else stream, lineterminator="\n")
        self._writer.writerow(COLUMNS)

    def __call__(self, findings: Findings) -> None:
        """Print one solo's rows."""
        self._writer.writerows(row.values() for row in feature_rows(findings))

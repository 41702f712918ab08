"""The main job: place solos against a style."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stylemeter.cli.common import Inputs, errors_to_exit_codes, read_options, say, tell_remarks
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions

if TYPE_CHECKING:
    from stylemeter.practice.findings import Findings

__all__ = ["place"]


@click.command()
@click.argument("solo", nargs=-1, required=True)
@click.option("--profile", "name", help="Style to compare with: a name or a profile folder; else the most typical.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line.")
@click.option("--csv", "as_csv", is_flag=True, help="One row a feature.")
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Write a page (HTML), of one solo.")
@click.option("--all", "every", is_flag=True, help="List the traits inside the norm too.")
@click.option("--coverage", type=float, default=0.9, show_default=True, help="Share of the style the norm holds.")
@click.option("--uncertain-notes", "uncertain", type=float, help="Share of the notes that may be wrong: 0.05.")
@click.option("--advice", "advice_file", type=click.Path(), help="Your own advice file, laid over ours.")
@errors_to_exit_codes
@read_options
def place(
    solo: tuple[str, ...],
    name: str | None,
    as_json: bool,
    as_csv: bool,
    report: Path | None,
    every: bool,
    coverage: float,
    uncertain: float | None,
    advice_file: str | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Place each SOLO (a file, a folder, or - for standard input) against a style.

    \b
    Example: stylemeter place take.musicxml --profile old-fiddle-tunes
    Example: stylemeter place takes/ --json > placed.jsonl
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv exclude each other")
    inputs = Inputs(solo, options, kind)
    from stylemeter.analysis import prepare

    analysis = prepare(name or None, coverage=coverage, uncertain=uncertain, advice=advice_file)
    printer = _printer(as_json, as_csv, every)
    pages = 0
    for melody in inputs.melodies():
        tell_remarks(melody)
        findings = analysis.of(melody)
        why = analysis.why_this_style(findings)
        if why:
            say(f"stylemeter: {why}")
        printer(findings)
        if report is not None:
            pages = _write_page(findings, report, pages)
    inputs.exit()


def _printer(as_json: bool, as_csv: bool, every: bool) -> Any:
    """How findings are printed."""
    if as_json:
        from stylemeter.report.solo.document import to_document

        return lambda findings: click.echo(json.dumps(to_document(findings), ensure_ascii=False, allow_nan=False))
    if as_csv:
        from stylemeter.report.solo.csv import CsvPrinter

        return CsvPrinter()
    from stylemeter.report.solo.terminal import print_placement

    printed = 0

    def print_one(findings: Findings) -> None:
        # a folder or a collection file holds many too: nobody knows how many before they are read
        nonlocal printed
        if printed:
            click.echo("=" * 80)
        print_placement(findings, every=every)
        printed += 1

    return print_one


def _write_page(findings: Findings, report: Path, pages: int) -> int:
    """Write the page of the first solo; tell that a page holds one."""
    if pages:
        if pages == 1:
            say("stylemeter: --report holds one solo, the first; use `stylemeter batch` for a page each")
        return pages + 1
    from stylemeter.report.solo.page import write_page

    write_page(findings, report)
    return 1

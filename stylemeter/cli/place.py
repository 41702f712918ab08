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
    from stylemeter.analysis import Analysis
    from stylemeter.practice.findings import Findings

__all__ = ["place"]


@click.command()
@click.argument("solo", nargs=-1, required=True)
@click.option("--profile", "name", help="Style to compare with: a name or a profile folder; else the most typical.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line.")
@click.option("--csv", "as_csv", is_flag=True, help="One row a feature.")
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Write a page (HTML), of one solo.")
@click.option("--all", "every", is_flag=True, help="Tell the other habits, every trait and the norm too.")
@click.option("--each", is_flag=True, help="Print each of several solos whole, not a line each.")
@click.option("--against", type=click.Path(), help="An earlier take, set beside the one SOLO.")
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
    each: bool,
    against: str | None,
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
    Example: stylemeter place week-9.mid --against week-1.mid --profile pop-songs
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv exclude each other")
    inputs = Inputs(solo, options, kind)
    from stylemeter.analysis import prepare

    analysis = prepare(name or None, coverage=coverage, uncertain=uncertain, advice=advice_file)
    for line in analysis.passed_over:
        say(f"stylemeter: {line}")
    earlier = None if against is None else _earlier(against, analysis, options)
    printer = _printer(as_json, as_csv, every, each, bool(name))
    pages = 0
    told: set[str] = set()
    for melody in inputs.melodies():
        if as_json or as_csv:
            # the report tells them itself
            tell_remarks(melody)
        findings = analysis.of(melody)
        for why in (analysis.why_this_style(findings), _no_chords(findings) if options.chords else ""):
            if why and why not in told:
                say(f"stylemeter: {why}")
                told.add(why)
        printer(findings)
        if report is not None:
            pages = _write_page(findings, report, pages, earlier)
    if isinstance(printer, _Lines):
        printer.close(earlier)
    inputs.exit()


def _earlier(path: str, analysis: Analysis, options: ReadOptions) -> Findings:
    """The findings of an earlier take, read as this one is."""
    from stylemeter.reading import read

    if analysis.profile is None:
        raise UsageError("--against needs one style for both takes", mend="name it with --profile")
    found = read(Path(path), options)
    if len(found) != 1:
        raise UsageError(f"{len(found)} solos in it, one can be set beside another", where=path)
    return analysis.of(found[0])


def _no_chords(findings: Findings) -> str:
    """That a style has no chords to compare a take's with; empty where it has, or the take has none."""
    from stylemeter.features import CATALOG

    placed = findings.placement
    over = [f for f in placed.features if CATALOG[f.name].family == "harmony"]
    if not placed.melody.chords or placed.plan is None or any(f.limits is not None for f in over):
        return ""
    return f"the {placed.profile.style} have no chords: how the line sits on yours is measured, not compared"


def _printer(as_json: bool, as_csv: bool, every: bool, each: bool, named: bool) -> Any:
    """How findings are printed."""
    if as_json:
        from stylemeter.report.solo.document import to_document

        return lambda findings: click.echo(json.dumps(to_document(findings), ensure_ascii=False, allow_nan=False))
    if as_csv:
        from stylemeter.report.solo.csv import CsvPrinter

        return CsvPrinter()
    return _Lines(every, each, named)


class _Lines:
    """Prints one solo whole, and of several a line each: nobody knows how many a folder holds before they are read."""

    def __init__(self, every: bool, each: bool, named: bool) -> None:
        self.every, self.each, self.named = every, each, named
        self.first: Findings | None = None
        self.printed = 0

    def __call__(self, findings: Findings) -> None:
        from stylemeter.report.solo.terminal import line_of, print_placement

        self.printed += 1
        if self.each or self.every:
            if self.printed > 1:
                click.echo("=" * 80)
            print_placement(findings, every=self.every)
        elif self.printed == 1:
            self.first = findings
        else:
            for one in (self.first, findings) if self.first else (findings,):
                click.echo(line_of(one, style=not self.named))
            self.first = None

    def close(self, earlier: Findings | None = None) -> None:
        """Print what was held back, beside an earlier take if there is one."""
        from stylemeter.report.solo.terminal import print_against, print_placement

        if self.first is not None:
            print_placement(self.first)
            if earlier is not None:
                print_against(self.first, earlier)
        elif self.printed > 1 and not self.each and not self.every:
            say("stylemeter: --each prints every solo whole, `stylemeter batch` makes a page each and an overview")


def _write_page(findings: Findings, report: Path, pages: int, earlier: Findings | None) -> int:
    """Write the page of the first solo; tell that a page holds one."""
    if pages:
        if pages == 1:
            say("stylemeter: --report holds one solo, the first; use `stylemeter batch` for a page each")
        return pages + 1
    from stylemeter.report.solo.page import write_page

    write_page(findings, report, earlier)
    return 1

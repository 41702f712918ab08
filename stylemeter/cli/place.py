"""The main job: place solos against a style."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stylemeter.cli.common import Inputs, errors_to_exit_codes, read_options, say, tell_remarks, workers_option
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions

if TYPE_CHECKING:
    from stylemeter.placement.records import Typicality
    from stylemeter.practice.findings import Findings
    from stylemeter.style.profile import Profile

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
@workers_option
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
    workers: int,
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
    inputs = Inputs(solo, options, kind, workers)
    with inputs.open() as melodies:
        # the reading process starts up while the style is loaded here
        judge = _Judge(name, coverage, uncertain, advice_file)
        printer = _printer(as_json, as_csv, every)
        pages = 0
        for melody in melodies:
            tell_remarks(melody)
            findings = judge(melody)
            printer(findings)
            if report is not None:
                pages = _write_page(findings, report, pages)
    inputs.exit()


class _Judge:
    """Finds out all that is said of a melody, against the style named or the most typical one."""

    def __init__(self, name: str | None, coverage: float, uncertain: float | None, advice_file: str | None) -> None:
        from stylemeter.practice.advice import load_advice
        from stylemeter.practice.findings import Settings
        from stylemeter.style.profile import find_profile, installed

        self.settings = Settings(coverage, uncertain)
        if not 0.5 <= coverage <= 0.99:
            raise UsageError(f"--coverage {coverage:g} is out of range", mend="0.5 to 0.99")
        if uncertain is not None and not 0 <= uncertain <= 0.5:
            raise UsageError(f"--uncertain-notes {uncertain:g} is out of range", mend="0 to 0.5")
        self.advice = load_advice(advice_file)
        self.profile: Profile | None = find_profile(name) if name else None
        self.styles: list[Profile] = []
        for there in installed():
            if self.profile is not None and there == self.profile.name:
                self.styles.append(self.profile)
            else:
                self.styles.append(find_profile(there))
        if self.profile is not None and self.profile not in self.styles:
            self.styles.append(self.profile)
        if not self.styles:
            raise UsageError("no style is installed", mend="fit one: stylemeter fit --help")

    def __call__(self, melody: Any) -> Findings:
        from stylemeter.practice.findings import find_out

        if self.profile is not None:
            return find_out(melody, self.profile, self.styles, self.advice, self.settings)
        from stylemeter.placement.styles import rank_styles

        ranked = rank_styles(melody, self.styles)
        return find_out(melody, self._chosen(ranked[0]), self.styles, self.advice, self.settings, ranked)

    def _chosen(self, first: Typicality) -> Profile:
        """Take the style the solo is most typical of, the first where that can't be told, and say so."""
        best = first.profile
        others = ", ".join(s.name for s in self.styles if s.name != best)
        why = "which style is most typical can't be told" if math.isnan(first.p) else "the most typical style"
        say(f"stylemeter: compared with {best}, {why}; choose another with --profile: {others}")
        return next(s for s in self.styles if s.name == best)


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

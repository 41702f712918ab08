"""The vocabulary of solos: what a player leans on, and plain counts of patterns."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stylemeter.cli.common import (
    Inputs,
    errors_to_exit_codes,
    metadata_options,
    put,
    read_options,
    tell_remarks,
)
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions

if TYPE_CHECKING:
    from stylemeter.practice.vocabulary import Shared, TakeVocabulary
    from stylemeter.style.groups import Metadata
    from stylemeter.style.profile import Profile

__all__ = ["vocabulary"]


@click.command()
@click.argument("solo", nargs=-1, required=True)
@click.option("--profile", "name", help="Style to compare with: a name or a profile folder.")
@click.option("--counts", is_flag=True, help="Print plain counts of every pattern instead.")
@click.option("--length", type=click.IntRange(1, 40), default=6, show_default=True, help="With --counts: intervals.")
@click.option(
    "--pattern",
    "kind_of_pattern",
    type=click.Choice(["intervals", "rhythm", "degrees"]),
    default="intervals",
    show_default=True,
    help="With --counts: intervals, intervals with their rhythm, or degrees of the key.",
)
@click.option("--within-phrases", is_flag=True, help="With --counts: leave out patterns that run into the next phrase.")
@click.option("--apart", is_flag=True, help="With --counts: leave out what begins inside the occurrence before.")
@click.option("--least", type=click.IntRange(1), default=1, show_default=True, help="With --counts: least count told.")
@metadata_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document (with --counts one a line).")
@click.option("--csv", "as_csv", is_flag=True, help="One row a take and pattern.")
@click.option("--parquet", type=click.Path(dir_okay=False, path_type=Path), help="Write the rows to a Parquet file.")
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Write a page (HTML).")
@errors_to_exit_codes
@read_options
def vocabulary(
    solo: tuple[str, ...],
    name: str | None,
    counts: bool,
    length: int,
    kind_of_pattern: str,
    within_phrases: bool,
    apart: bool,
    least: int,
    by: str | None,
    metadata: Path | None,
    as_json: bool,
    as_csv: bool,
    parquet: Path | None,
    report: Path | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Tell which figures a player leans on in each SOLO, and between them.

    SOLO is a file or a folder of one player's takes, in the order of their names. Against a style, figures are told
    that few of the style's own tunes lean on as strongly, and patterns common in the style that are hardly played.

    \b
    Example: stylemeter vocabulary take.musicxml --profile old-fiddle-tunes
    Example: stylemeter vocabulary takes-of-kv/ --profile pop-songs --report kv.html
    Example: stylemeter vocabulary solos/ --counts --length 6 --csv > counts.csv
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv exclude each other")
    if counts and (name or report):
        raise UsageError("--counts takes neither --profile nor --report", mend="leave --counts out")
    from stylemeter.style.groups import load_metadata
    from stylemeter.style.profile import load_profile

    table = load_metadata(metadata)
    if by is not None:
        table.check(by)
    inputs = Inputs(_in_order(solo), options, kind)
    if counts:
        wish = _Counts(length, kind_of_pattern, within_phrases, apart, least)
        rows = list(_counted(inputs, wish, by, table))
        _put_counts(rows, kind_of_pattern, as_json, as_csv, parquet)
        inputs.exit()
        return
    profile = load_profile(name) if name else None
    if profile is not None:
        _ = profile.vocabulary  # tells at once where there is none
    groups: dict[str, list[Any]] = {}
    for melody in inputs.melodies():
        tell_remarks(melody)
        groups.setdefault(_group(melody.path, by, table), []).append(melody)
    found = [_Group(group, groups[group], profile) for group in sorted(groups)]
    if found:
        _put(found, profile, by or "", as_json, as_csv, parquet, report)
    inputs.exit()


def _in_order(solo: tuple[str, ...]) -> list[str]:
    """The files named or in the folders named, takes in the order of their numbers."""
    if "-" in solo:
        return list(solo)
    from stylemeter.reading import find
    from stylemeter.takes.progress import natural_order

    return [str(p) for p in sorted(find(Path(s) for s in solo), key=natural_order)]


def _group(path: str, by: str | None, table: Metadata) -> str:
    """Group a file is in; empty without groups."""
    from stylemeter.style.groups import UNKNOWN

    return "" if by is None else table.of(path)[by] or UNKNOWN


class _Group:
    """Takes of one player or group, looked through."""

    def __init__(self, name: str, melodies: list[Any], profile: Profile | None) -> None:
        from stylemeter.practice.vocabulary import shared_figures, vocabularies

        known = None if profile is None else profile.vocabulary
        self.name = name
        self.takes: list[TakeVocabulary] = vocabularies(melodies, known)
        self.shared: tuple[Shared, ...] = shared_figures(melodies, known) if len(melodies) > 1 else ()


def _put(
    groups: list[_Group],
    profile: Profile | None,
    by: str,
    as_json: bool,
    as_csv: bool,
    parquet: Path | None,
    report: Path | None,
) -> None:
    """Write what was found."""
    from stylemeter.report.vocabulary.document import rows, to_document

    if report is not None:
        from stylemeter.report.vocabulary.page import write_vocabulary

        write_vocabulary([(g.name, g.takes, g.shared) for g in groups], profile, report)
    if as_csv or parquet is not None:
        flat = [row for g in groups for row in rows(g.takes, g.shared, g.name, by)]
        if parquet is not None:
            _put_parquet(flat, parquet)
    if as_csv:
        put(_csv(flat), None)
    elif as_json:
        for g in groups:
            document = to_document(g.takes, g.shared, profile, g.name)
            click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False))
    elif parquet is None:
        from stylemeter.report.vocabulary.terminal import print_vocabulary

        for g in groups:
            print_vocabulary(g.takes, g.shared, profile, g.name)


# -- plain counts --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Counts:
    """What is to be counted."""

    length: int
    kind: Any
    within_phrases: bool
    apart: bool
    least: int


def _counted(inputs: Inputs, wish: _Counts, by: str | None, table: Metadata) -> Iterator[dict[str, Any]]:
    """Rows of counts, the commonest first; of each solo only its symbols are kept."""
    from stylemeter.features import Base
    from stylemeter.style.patterns import Lines, line_bytes, pattern_counts

    lines: dict[str, list[bytes]] = {}
    for melody in inputs.melodies():
        lines.setdefault(_group(melody.path, by, table), []).append(line_bytes(Base(melody)))
    for group in sorted(lines):
        counted = pattern_counts(
            Lines.of(lines[group]),
            wish.kind,
            wish.length,
            across=not wish.within_phrases,
            apart=wish.apart,
            least=wish.least,
        )
        for pattern, count, solos in counted:
            yield ({by: group} if by else {}) | {wish.kind: pattern, "count": count, "solos": solos}


#: Rows of counts the terminal shows.
SHOWN = 40


def _put_counts(rows: list[dict[str, Any]], kind: str, as_json: bool, as_csv: bool, parquet: Path | None) -> None:
    """Write the counts."""
    if parquet is not None:
        _put_parquet(rows, parquet)
    if as_csv:
        put(_csv(rows) if rows else f"{kind},count,solos\n", None)
    elif as_json:
        put("".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows), None)
    elif parquet is None:
        from stylemeter.report.styles.listing import plain_table

        click.echo(plain_table(rows[:SHOWN]))
        if len(rows) > SHOWN:
            click.echo(f"{len(rows) - SHOWN} more: --csv prints all of them")


def _csv(rows: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    if rows:
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in rows)
    return text.getvalue()


def _put_parquet(rows: list[dict[str, Any]], path: Path) -> None:
    import pandas as pd

    table = io.BytesIO()
    pd.DataFrame(rows).to_parquet(table, index=False)
    put(table.getvalue(), path)

"""Two samples side by side: styles, folders, terms of a class, players, groups of a collection."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stylemeter.cli.common import errors_to_exit_codes, metadata_options, open_data_option, put, say
from stylemeter.errors import UsageError
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from stylemeter.takes.comparison import Comparison, Side

__all__ = ["compare"]


@click.command()
@click.argument("sides", nargs=-1, required=True, metavar="A [B]")
@metadata_options
@click.option("--only", multiple=True, help="With --by: compare these groups alone; give it twice for two.")
@click.option("--notes", type=int, help="Length of the excerpts compared; else the longest that keeps most tunes.")
@click.option("--unpaired", is_flag=True, help="Don't pair takes whose names say they are one player's.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a comparison.")
@click.option("--csv", "as_csv", is_flag=True, help="One row a trait, shape and pattern.")
@click.option("--parquet", type=click.Path(dir_okay=False, path_type=Path), help="Write the rows to a Parquet file.")
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Write a page (HTML).")
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="Processes to read with.")
@click.option("--scheduler", help="Address of a dask cluster to do the reading.")
@open_data_option
@errors_to_exit_codes
def compare(
    sides: tuple[str, ...],
    by: str | None,
    metadata: Path | None,
    only: tuple[str, ...],
    notes: int | None,
    unpaired: bool,
    as_json: bool,
    as_csv: bool,
    parquet: Path | None,
    report: Path | None,
    workers: int,
    scheduler: str | None,
    open_data: Path | None,
) -> None:
    """Compare A with B: what differs, by how much and how surely.

    A and B are folders or files of solos, collections or fitted styles. With --by, A alone is parted into the groups
    of a column, and each is compared with all the others together (two groups with each other). Takes are paired
    where their names say they are one player's: anna-1.mid here, anna-2.mid there.

    \b
    Example: stylemeter compare takes/term-1 takes/term-2
    Example: stylemeter compare old-fiddle-tunes pop-songs --notes 48 --report styles.html
    Example: stylemeter compare solos/ --by style --metadata meta.csv --only bebop --only cool
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv exclude each other")
    from stylemeter.takes.comparison import compare as run

    read = _Reader(open_data, workers, scheduler)
    if by is None:
        if len(sides) != 2:
            raise UsageError(
                f"{len(sides)} to compare", mend="name two: folders, collections or styles (one alone with --by COLUMN)"
            )
        a, b = read.two(*sides)
        pairs = [("", a, b)]
    else:
        if len(sides) != 1:
            raise UsageError("--by takes one folder or collection", mend="or leave --by out to compare two")
        pairs = read.groups(sides[0], by, metadata, only)
    found = [(group, run(a, b, notes=notes, paired=not unpaired)) for group, a, b in pairs]
    _put(found, by or "", as_json, as_csv, parquet, report)


class _Reader:
    """Reads what is named."""

    def __init__(self, open_data: Path | None, workers: int, scheduler: str | None) -> None:
        self.how: dict[str, Any] = {"open_data": open_data, "workers": workers, "scheduler": scheduler}

    def two(self, *names: str) -> list[Side]:
        """Two sides by what they are called."""
        from stylemeter.takes.comparison import joined_families

        labels = _labels(names)
        return joined_families([self._side(name, label) for name, label in zip(names, labels, strict=True)])

    def _side(self, name: str, label: str) -> Side:
        from stylemeter.style.collections import find_collection, list_collections
        from stylemeter.style.profile import installed, load_profile
        from stylemeter.takes.comparison import profile_side

        if name in installed() or (Path(name) / "profile.json").is_file():
            return replace(profile_side(load_profile(name)), name=label)
        if not Path(name).exists() and name not in list_collections():
            known = ", ".join(sorted({*installed(), *list_collections()}))
            raise UsageError(f"no folder, file, collection or style {show(name)!r}", mend=f"styles are: {known}")
        return self._gathered(label, [find_collection(name)])

    def _gathered(self, label: str, collections: Sequence[Any]) -> Side:
        from stylemeter.takes.comparison import gathered_side

        side, remarks = gathered_side(label, collections, **self.how)
        for remark in remarks:
            say(f"stylemeter: {remark}")
        return side

    def groups(self, name: str, by: str, metadata: Path | None, only: Sequence[str]) -> list[tuple[str, Side, Side]]:
        """Groups of one collection: two with each other, more each with all the others."""
        from stylemeter.style.collections import files_of, find_collection
        from stylemeter.style.groups import UNKNOWN, grouped, load_metadata
        from stylemeter.takes.comparison import joined_families, united

        collection = find_collection(name)
        files = files_of(collection, self.how["open_data"])
        there = grouped(files, load_metadata(metadata), by)
        unknown = [] if UNKNOWN in only else there.pop(UNKNOWN, [])
        if unknown:
            say(f"stylemeter: {len(unknown)} of {len(files)} files left out: nothing is said of their {by}")
        for group in only:
            if group not in there:
                raise UsageError(f"no group {show(group)!r}", mend=f"groups by {by} are: {', '.join(there)}")
        chosen = list(dict.fromkeys(only)) if only else list(there)
        if len(chosen) < 2:
            raise UsageError(f"{len(chosen)} group by {by}", mend=f"two are the least; groups are: {', '.join(there)}")
        sides = joined_families(
            [self._gathered(g, [replace(collection, source=tuple(map(str, there[g])))]) for g in chosen]
        )
        if len(sides) == 2:
            return [(f"{sides[0].name} | {sides[1].name}", sides[0], sides[1])]
        return [(s.name, s, united("the others", [o for o in sides if o is not s])) for s in sides]


def _labels(names: Sequence[str]) -> list[str]:
    """What the sides are called: their folders' names, or as much of their paths as tells them apart."""
    paths = [Path(n) for n in names]
    short = [p.stem if p.suffix and not p.is_dir() else p.name or n for p, n in zip(paths, names, strict=True)]
    return short if len(set(short)) == len(short) else list(names)


def _put(
    found: list[tuple[str, Comparison]],
    by: str,
    as_json: bool,
    as_csv: bool,
    parquet: Path | None,
    report: Path | None,
) -> None:
    """Write what was found."""
    from stylemeter.report.comparison.document import rows, to_document

    if report is not None:
        from stylemeter.report.comparison.page import write_comparison

        write_comparison([c for _, c in found], by, report)
    if parquet is not None:
        import pandas as pd

        table = io.BytesIO()
        pd.DataFrame(list(rows(found, by))).to_parquet(table, index=False)
        put(table.getvalue(), parquet)
    if as_json:
        for _, c in found:
            click.echo(json.dumps(to_document(c), ensure_ascii=False, allow_nan=False))
    elif as_csv:
        put(_csv(list(rows(found, by))), None)
    elif parquet is None:
        from stylemeter.report.comparison.terminal import print_comparison

        for i, (_, c) in enumerate(found):
            if i:
                click.echo("=" * 80)
            print_comparison(c)


def _csv(flat: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(flat[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in flat)
    return text.getvalue()

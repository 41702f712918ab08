"""The feature table of solos, and the dictionary of features."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stylemeter.cli.common import Inputs, errors_to_exit_codes, metadata_options, put, read_options_from
from stylemeter.errors import StylemeterError, UsageError
from stylemeter.reading import ReadOptions, shared_session
from stylemeter.support.numbers import number
from stylemeter.support.pool import cores, run_many

if TYPE_CHECKING:
    from stylemeter.style.groups import Metadata

__all__ = ["features"]

#: Columns that say which solo a row is of.
_SOLO = ("solo", "title", "part", "notes", "key")

#: Files from which on more than one process works unasked (before, they take longer to start than to help), and how
#: many do at most.
MANY_FILES, WORKERS_MAX = 64, 4


@click.command()
@click.argument("file", nargs=-1)
@click.option("--list", "dictionary", is_flag=True, help="Print the dictionary: name, unit, meaning, needs, source.")
@click.option(
    "--format",
    "target",
    type=click.Choice(["csv", "json", "parquet"]),
    default="csv",
    show_default=True,
    help="Table format.",
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="File to write (needed for Parquet).")
@metadata_options
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    help=f"Processes. [default: 1, from {MANY_FILES} files on one a core, {WORKERS_MAX} at most]",
)
@errors_to_exit_codes
@read_options_from
def features(
    file: tuple[str, ...],
    dictionary: bool,
    target: str,
    out: Path | None,
    by: str | None,
    metadata: Path | None,
    workers: int | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Print every feature of each FILE, a row a solo.

    The columns of a table of metadata go with each row; with --by there is a row a group instead, with the number of
    its solos and the median of each feature.

    \b
    Example: stylemeter features takes/*.mid --format csv > features.csv
    Example: stylemeter features solos/ --metadata meta.csv --by style
    Example: stylemeter features --list
    """
    if dictionary:
        put(_dictionary(target), out)
        return
    if not file:
        raise UsageError("no file named", mend="name files or folders, or ask for the dictionary with --list")
    if target == "parquet" and out is None:
        raise UsageError("Parquet goes to a file", mend="name it with --out features.parquet")
    table = _metadata(by, metadata)
    inputs = Inputs(file, options, kind)
    files = inputs.files()
    jobs = [(path, options, kind) for path in files]
    alone = Path("-") in files
    rows = []
    for found, error in run_many(_measured, jobs, 1 if alone else workers or _workers(len(files))):
        rows += [row | _known(row["solo"]["path"], table, by) for row in found] if inputs.took(error) else []
        if target == "json" and out is None and by is None:
            # one document a line, as soon as it is there
            click.echo("".join(_line(row) for row in rows), nl=False)
            rows = []
    _write(rows if by is None else _grouped(rows, by), target, out)
    inputs.exit()


def _metadata(by: str | None, metadata: Path | None) -> Metadata | None:
    """What is known of the files, where it is asked for."""
    if by is None and metadata is None:
        return None
    from stylemeter.style.groups import load_metadata

    table = load_metadata(metadata)
    if by is not None:
        table.check(by)
    return table


def _known(path: str, table: Metadata | None, by: str | None) -> dict[str, Any]:
    """Metadata of a file, as a part of its row."""
    if table is None:
        return {}
    known = table.of(path)
    return {"metadata": {c: known[c] for c in [*table.columns, *([by] if by and by not in table.columns else [])]}}


def _grouped(rows: list[dict[str, Any]], by: str) -> list[dict[str, Any]]:
    """A row a group: how many solos it has, and the median of each feature over those it is measured in."""
    import statistics

    from stylemeter.style.groups import UNKNOWN

    groups: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(row["metadata"][by] or UNKNOWN, []).append(row["features"])
    found = []
    for name in sorted(groups):
        medians = {}
        for feature in groups[name][0]:
            there = [f[feature] for f in groups[name] if f[feature] is not None]
            medians[feature] = statistics.median(there) if there else None
        found.append({"group": {by: name, "solos": len(groups[name])}, "features": medians})
    return found


def _workers(files: int) -> int:
    """How many processes measure so many files unasked."""
    return cores(WORKERS_MAX) if files >= MANY_FILES else 1


def _measured(
    path: Path, options: ReadOptions, kind: str | None
) -> tuple[list[dict[str, Any]], StylemeterError | None]:
    """The rows of a file, or why there are none."""
    [result] = shared_session().read_all([path], options, kind)
    return [_row(melody) for melody in result.melodies], result.error


def _line(row: dict[str, Any]) -> str:
    return json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n"


def _row(melody: Any) -> dict[str, Any]:
    """Features of one solo as plain data."""
    from stylemeter.features import measure

    found = measure(melody)
    return {
        "solo": {
            "title": melody.title,
            "path": melody.path,
            "part": melody.part,
            "notes": len(melody),
            "key": None if melody.key is None else melody.key.name,
        },
        "features": {name: number(value) for name, value in found.values.items()},
        "reasons": found.reasons,
    }


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    from stylemeter.writing.table import escape

    if "group" in row:
        group = {escape(k): escape(v) if isinstance(v, str) else v for k, v in row["group"].items()}
        return {**group, **row["features"]}
    solo = {k: escape(v) if isinstance(v, str) else v for k, v in row["solo"].items()}
    flat: dict[str, Any] = {"solo": solo["path"], **{k: solo[k] for k in _SOLO[1:]}}
    for name, value in row.get("metadata", {}).items():
        # a column of ours keeps its name
        taken = name in flat or name in row["features"]
        flat[escape(f"metadata_{name}" if taken else name)] = value if _is_number(value) else escape(value)
    return {**flat, **row["features"]}


def _is_number(text: str) -> bool:
    """Whether a cell is a number: nothing a spreadsheet would run."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _write(rows: list[dict[str, Any]], target: str, out: Path | None) -> None:
    """Write the table."""
    if target == "json":
        put("".join(_line(row) for row in rows), out)
        return
    if not rows:
        return
    flat = [_flat(row) for row in rows]
    if target == "parquet":
        import pandas as pd

        assert out is not None
        table = io.BytesIO()
        pd.DataFrame(flat).to_parquet(table, index=False)
        put(table.getvalue(), out)
        return
    text = io.StringIO()
    _write_csv(flat, text)
    put(text.getvalue(), out)


def _write_csv(flat: list[dict[str, Any]], stream: Any) -> None:
    writer = csv.DictWriter(stream, list(flat[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in flat)


def _dictionary(target: str) -> str:
    """Return the dictionary as text or JSON."""
    from stylemeter.features import CATALOG, habit_of

    rows = [
        {
            "name": f.name,
            "family": f.family,
            "unit": f.unit,
            "meaning": f.meaning,
            "needs": list(f.needs),
            "minimum_notes": f.minimum_notes,
            "habit": habit_of(f),
            "invariances": list(f.invariances),
            "source": f.source,
            "version": f.version,
        }
        for f in CATALOG.values()
    ]
    if target == "json":
        return json.dumps(rows, ensure_ascii=False, indent=1) + "\n"
    lines: list[str] = []
    family = ""
    for row in rows:
        if row["family"] != family:
            family = str(row["family"])
            lines.append(f"\n{family}" if lines else family)
        needs = f" Needs: {', '.join(CATALOG[str(row['name'])].needs)}." if row["needs"] else ""
        habit = f" Habit: {row['habit']}." if row["habit"] else ""
        lines.append(f"  {row['name']} ({row['unit']}): {row['meaning']}.{needs}{habit} Source: {row['source']}.")
    return "\n".join(lines) + "\n"

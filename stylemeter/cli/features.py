"""The feature table of solos, and the dictionary of features."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import click

from stylemeter.cli.common import Inputs, errors_to_exit_codes, put, read_options_from, readers_option
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions
from stylemeter.support.numbers import number

__all__ = ["features"]


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
@readers_option
@errors_to_exit_codes
@read_options_from
def features(
    file: tuple[str, ...],
    dictionary: bool,
    target: str,
    out: Path | None,
    workers: int | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Print every feature of each FILE, a row a solo.

    \b
    Example: stylemeter features takes/*.mid --format csv > features.csv
    Example: stylemeter features --list
    """
    if dictionary:
        put(_dictionary(target), out)
        return
    if not file:
        raise UsageError("no file named", mend="name files or folders, or ask for the dictionary with --list")
    if target == "parquet" and out is None:
        raise UsageError("Parquet goes to a file", mend="name it with --out features.parquet")
    inputs = Inputs(file, options, kind, workers)
    rows = []
    with inputs.open() as melodies:
        for melody in melodies:
            rows.append(_row(melody))
            if target == "json" and out is None:
                # one document a line, as soon as it is there
                click.echo(json.dumps(rows.pop(), ensure_ascii=False, allow_nan=False))
    _write(rows, target, out)
    inputs.exit()


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

    solo = {k: escape(v) if isinstance(v, str) else v for k, v in row["solo"].items()}
    return {"solo": solo["path"], **{k: solo[k] for k in ("title", "part", "notes", "key")}, **row["features"]}


def _write(rows: list[dict[str, Any]], target: str, out: Path | None) -> None:
    """Write the table."""
    if target == "json":
        if out is not None:
            put("".join(json.dumps(r, ensure_ascii=False, allow_nan=False) + "\n" for r in rows), out)
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

"""The note table as read: to look at, to correct by hand, to hear elsewhere."""

from __future__ import annotations

from pathlib import Path

import click

from stylemeter.cli.common import Inputs, errors_to_exit_codes, put, read_options_from, say
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions

__all__ = ["notes"]


@click.command()
@click.argument("file")
@click.option(
    "--format",
    "target",
    type=click.Choice(["csv", "json", "musicxml", "midi", "abc", "tab"]),
    default="csv",
    show_default=True,
    help="What to write.",
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="File to write; else standard output.")
@click.option("--tune", type=click.IntRange(1), help="Which tune of a collection file, from 1.")
@errors_to_exit_codes
@read_options_from
def notes(file: str, target: str, out: Path | None, tune: int | None, options: ReadOptions, kind: str | None) -> None:
    """Print the note table of FILE as read; what is printed can be read back.

    \b
    Example: stylemeter notes take.mid --format musicxml --out take.musicxml
    Example: stylemeter notes take.mid --format tab
    """
    from stylemeter.writing import losses, write

    inputs = Inputs([file], options, kind)
    found = list(inputs.melodies())
    if not found:
        inputs.exit()
    if tune is None and len(found) > 1:
        raise UsageError(f"{len(found)} tunes in it", mend=f"choose one with --tune 1 to {len(found)}")
    if tune is not None and tune > len(found):
        raise UsageError(f"no tune {tune}", mend=f"there are {len(found)}")
    melody = found[(tune or 1) - 1]
    for remark in melody.remarks:
        say(f"stylemeter: {remark}")
    for lost in losses(melody, target):
        say(f"stylemeter: {target} can't hold {lost}")
    put(write(melody, target), out)

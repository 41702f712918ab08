"""A class: a folder of solos placed together, and takes followed over time."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stylemeter.cli.common import (
    NONE,
    SOME,
    USAGE,
    Inputs,
    errors_to_exit_codes,
    progress_bar,
    read_options,
    say,
    tell_remarks,
)
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from stylemeter.practice.advice import Advice, Choice
    from stylemeter.takes.progress import By, Progress

__all__ = ["batch", "progress"]

#: Most processes a batch takes unasked.
CORES_MAX = 4


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--profile", "name", required=True, help="Style to compare with: a name or a profile folder.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the pages and the overview.")
@click.option("--anonymous", is_flag=True, help="Numbers instead of names, and a key file for you alone.")
@click.option("--coverage", type=float, default=0.9, show_default=True, help="Share of the style the norm holds.")
@click.option("--advice", "advice_file", type=click.Path(), help="Your own advice file, laid over ours.")
@click.option("--again", is_flag=True, help="Place anew what is there already.")
@click.option(
    "--workers", type=click.IntRange(1, 64), help=f"Processes to work with. [default: one a core, {CORES_MAX} at most]"
)
@errors_to_exit_codes
@read_options
def batch(
    folder: Path,
    name: str,
    out: Path,
    anonymous: bool,
    coverage: float,
    advice_file: str | None,
    again: bool,
    workers: int | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Place every solo in FOLDER: a page each, an overview, and the tables beside it.

    An interrupted run goes on where it stopped when it is called again; a file that can't be read is told and stops
    nothing. For the class's own norm, fit one first and place against it: it takes 39 different tunes at least.

    \b
    Example: stylemeter batch takes/ --profile pop-songs --out class/
    Example: stylemeter fit takes/term-1 --name term-1
             stylemeter batch takes/term-2 --profile term-1 --out term-2/
    """
    from stylemeter.batch.run import key_file, place_folder
    from stylemeter.report.classroom.terminal import print_class
    from stylemeter.support.pool import cores

    with progress_bar("placing") as bar:
        made = place_folder(
            folder,
            out,
            name,
            options=options,
            kind=kind,
            coverage=coverage,
            advice=advice_file,
            anonymous=anonymous,
            workers=workers or cores(CORES_MAX),
            again=again,
            progress=bar,
            on_error=lambda e: say(f"stylemeter: {e}"),
        )
    print_class(made.view, made.page, made.outcome.done)
    if anonymous:
        say(f"stylemeter: who is who stands in {show(key_file(out))}, for you alone")
    if made.outcome.unread:
        sys.exit(SOME if made.outcome.rows else NONE)


@click.command()
@click.argument("take", nargs=-1, required=True)
@click.option("--profile", "name", required=True, help="Style to compare with: a name or a profile folder.")
@click.option(
    "--by",
    type=click.Choice(["name", "date"]),
    default="name",
    show_default=True,
    help="Order of the takes: names with their numbers, or when the files were last changed.",
)
@click.option("--advice", "advice_file", type=click.Path(), help="Your own advice file, laid over ours.")
@click.option("--feature", "wanted", multiple=True, help="A trait to follow too; may be given again.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
@click.option("--csv", "as_csv", is_flag=True, help="One row a take and habit or trait.")
@click.option("--report", type=click.Path(dir_okay=False, path_type=Path), help="Write a page (HTML).")
@errors_to_exit_codes
@read_options
def progress(
    take: tuple[str, ...],
    name: str,
    by: By,
    advice_file: str | None,
    wanted: tuple[str, ...],
    as_json: bool,
    as_csv: bool,
    report: Path | None,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Follow TAKEs of one player, files or a folder of them, over time, and tell whether a habit moved.

    Takes are compared in excerpts of one length. A change counts where it is steadier than nearly every shuffled
    order of the takes; that needs six takes at least.

    \b
    Example: stylemeter progress takes-of-kv/ --profile pop-songs
    Example: stylemeter progress week-*.mid --profile pop-songs --report kv.html
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv exclude each other")
    from stylemeter.analysis import prepare
    from stylemeter.style.profile import load_profile

    _check_features(wanted)
    analysis = prepare(load_profile(name), advice=advice_file)
    inputs = Inputs(_in_order(take, by), options, kind)
    found = list(inputs.melodies())
    for melody in found:
        tell_remarks(melody)
    if len(found) < 2:
        takes = "take" if len(found) == 1 else "takes"
        say(f"stylemeter: {len(found)} {takes} could be read: two are the least, six tell a change from chance")
        inputs.exit()
        sys.exit(USAGE)
    from stylemeter.takes.progress import follow

    assert analysis.profile is not None
    followed = follow(found, analysis.profile)
    following = analysis.of(found[-1]).first
    _show_progress(followed, wanted, by, as_json, as_csv, report, analysis.advice, following)
    inputs.exit()


def _check_features(wanted: Sequence[str]) -> None:
    """Refuse the name of a trait that isn't there."""
    from stylemeter.features import CATALOG

    for feature in wanted:
        if feature not in CATALOG:
            raise UsageError(f"no feature {feature!r}", mend="stylemeter features --list names them")


def _in_order(takes: Sequence[str], by: By) -> list[str]:
    """The files named or in the folders named, in order."""
    from stylemeter.takes.progress import in_order

    if "-" in takes:
        raise UsageError("takes can't come from standard input", mend="name two files or more, or a folder")
    return [str(p) for p in in_order(takes, by)]


def _show_progress(
    found: Progress,
    wanted: Sequence[str],
    by: By,
    as_json: bool,
    as_csv: bool,
    report: Path | None,
    advice: Advice,
    following: Choice,
) -> None:
    """Print it, and write the page."""
    from stylemeter.report.progress.document import chosen, csv_text, to_document

    traits = chosen(found, wanted)
    if report is not None:
        from stylemeter.report.progress.page import write_progress

        write_progress(found, traits, advice, by, report, following)
    if as_json:
        click.echo(json.dumps(to_document(found, by), ensure_ascii=False, allow_nan=False))
    elif as_csv:
        click.echo(csv_text(found), nl=False)
    else:
        from stylemeter.report.progress.terminal import print_progress

        print_progress(found, traits, by, following)

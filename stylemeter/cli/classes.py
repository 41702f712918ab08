"""A class: a folder of solos placed together, and takes followed over time."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from stylemeter.cli.common import NONE, SOME, errors_to_exit_codes, progress_bar, read_options, say, workers_option
from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions, show

__all__ = ["batch", "progress"]


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--profile", "name", required=True, help="Style to compare with: a name or a profile folder.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the pages and the overview.")
@click.option("--anonymous", is_flag=True, help="Numbers instead of names, titles and paths.")
@click.option("--coverage", type=float, default=0.9, show_default=True, help="Share of the style the norm holds.")
@click.option("--advice", "advice_file", type=click.Path(), help="Your own advice file, laid over ours.")
@click.option("--again", is_flag=True, help="Place anew what is there already.")
@workers_option
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
    workers: int,
    options: ReadOptions,
    kind: str | None,
) -> None:
    """Place every solo in FOLDER: a page each, an overview, and the tables beside it.

    An interrupted run goes on where it stopped when it is called again; a file that can't be read is told and stops
    nothing. For the class's own norm, fit one first and place against it.

    \b
    Example: stylemeter batch takes/ --profile pop-songs --out class/
    Example: stylemeter fit takes/term-1 --name term-1
             stylemeter batch takes/term-2 --profile term-1 --out term-2/
    """
    from stylemeter.advice import load_advice
    from stylemeter.batch import Wishes, run
    from stylemeter.profile import find_profile
    from stylemeter.report.class_terminal import print_class
    from stylemeter.report.overview import class_view, write_overview

    wishes = Wishes(name, options, kind, coverage, advice_file, anonymous)
    with progress_bar("placing") as bar:
        outcome = run(
            folder, out, wishes, workers=workers, again=again, progress=bar, tell=lambda e: say(f"stylemeter: {e}")
        )
    view = class_view(
        outcome.rows,
        find_profile(name),
        load_advice(advice_file),
        coverage,
        unread=[(u.name, u.reason) for u in outcome.unread],
        passed_over=outcome.passed_over,
        anonymous=anonymous,
    )
    try:
        write_overview(view, out)
    except OSError as error:
        raise UsageError(f"can't be written ({error.strerror})", where=show(out)) from None
    print_class(view, out / "index.html", outcome.done)
    if outcome.unread:
        sys.exit(SOME if outcome.rows else NONE)

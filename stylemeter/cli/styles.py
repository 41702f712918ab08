"""Commands about styles: fit, profiles, corpus, calibrate."""

from __future__ import annotations

import json
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import click

from stylemeter.cli.common import SOME, errors_to_exit_codes, open_data_option, progress_bar, say
from stylemeter.support import places
from stylemeter.support.files import writing

__all__ = ["calibrate", "corpus", "fit", "profiles"]


@click.command()
@click.argument("source", nargs=-1, required=True)
@click.option("--name", required=True, help="Name of the profile.")
@click.option("--style", help='What the tunes are, in the plural: "my pupils\' solos of term 1".')
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write it to; else your own profiles folder.")
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="Processes.")
@click.option("--scheduler", help="Address of a dask cluster to do the work.")
@open_data_option
@errors_to_exit_codes
def fit(
    source: tuple[str, ...],
    name: str,
    style: str | None,
    out: Path | None,
    workers: int,
    scheduler: str | None,
    open_data: Path | None,
) -> None:
    """Fit a style from collections, folders or files SOURCE.

    An interrupted fit goes on where it stopped; a tune that can't be read is told and left out (exit code 3 then). A
    style needs 39 tune families for any limits, 120 for a norm. What stood under the name stays until the new style
    is whole; a folder that holds anything else is refused.

    \b
    Example: stylemeter fit old-fiddle-tunes --name fiddle
    Example: stylemeter fit solos/term-1 --name term-1
    """
    from stylemeter.style.fit import fit as fit_style
    from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG

    with progress_bar("fitting") as show:
        profile = fit_style(
            list(source),
            name,
            style=style,
            folder=(out or places.user_folder("profiles")) / name,
            open_data=open_data,
            workers=workers,
            scheduler=scheduler,
            progress=lambda _, done, total: show(done, total),
        )
    for remark in profile.remarks:
        say(f"stylemeter: {remark}")
    click.echo(f"{name}: {profile.tunes} tunes in {profile.families} families -> {profile.folder}")
    most = max(profile.rung_families.values(), default=0)
    if most < FAMILIES_FOR_LIMITS:
        say(
            f"stylemeter: {name}: {most} tune families at most at a length are too few to place solos against; "
            f"add tunes: {FAMILIES_FOR_LIMITS} families give limits, {FAMILIES_FOR_RUNG} a norm"
        )
    for notes in profile.provisional_rungs:
        families, rows = profile.norm(notes).size.families, profile.norm(notes).size.rows
        click.echo(f"  {notes:>4} notes: {families} families, {rows} excerpts")
    if profile.about.failures:
        lost, tunes = profile.about.failures, profile.tunes
        say(f"stylemeter: {name}: {lost} of {lost + tunes} could not be read (told above) and are not in it")
        sys.exit(SOME)


@click.command()
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
@errors_to_exit_codes
def profiles(name: str | None, as_json: bool) -> None:
    """List the fitted styles, or show the one called NAME (a name or a folder).

    \b
    Example: stylemeter profiles old-fiddle-tunes
    """
    from stylemeter.report.styles.listing import profile_entry, profile_lines, profile_row
    from stylemeter.style.profile import installed, load_profile

    if name is None:
        found_all = [load_profile(there) for there in installed()]
        if as_json:
            _print_rows([profile_row(profile) for profile in found_all], as_json)
        else:
            click.echo("\n".join(line for profile in found_all for line in profile_entry(profile)))
        return
    found = load_profile(name)
    if as_json:
        click.echo(
            json.dumps({k: v for k, v in found.about.to_plain().items() if k != "rungs"}, ensure_ascii=False, indent=2)
        )
    else:
        click.echo("\n".join(profile_lines(found)))


@click.command()
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
@errors_to_exit_codes
def corpus(name: str | None, as_json: bool) -> None:
    """List the collections and check their licence fields, or show the one called NAME.

    \b
    Example: stylemeter corpus pop-songs
    """
    from stylemeter.report.styles.listing import collection_lines, collection_row
    from stylemeter.style.collections import find_collection, list_collections

    if name is not None:
        click.echo("\n".join(collection_lines(find_collection(name))))
        return
    found = [find_collection(there) for there in list_collections()]
    if as_json:
        _print_rows([{"name": c.name, "title": c.title, "licence": c.licence} for c in found], as_json)
    else:
        click.echo("\n".join(line for c in found for line in collection_row(c)))


def _print_rows(rows: list[dict[str, Any]], as_json: bool) -> None:
    """Print rows as JSON lines or as a plain table."""
    if as_json:
        for row in rows:
            click.echo(json.dumps(row, ensure_ascii=False))
        return
    from stylemeter.report.styles.listing import plain_table

    click.echo(plain_table(rows))


@click.command()
@click.argument("name")
@click.option("--inject/--no-inject", default=True, show_default=True, help="Put each habit into clean tunes too.")
@click.option(
    "--excerpts", type=click.IntRange(30, 100_000), default=1000, show_default=True, help="Excerpts a length."
)
@click.option("--seed", type=int, default=0, show_default=True)
@click.option("--csv", "as_csv", is_flag=True, help="Print as CSV.")
@click.option("--plot", type=click.Path(dir_okay=False, path_type=Path), help="Write a plot (SVG).")
@click.option(
    "--keep/--no-keep",
    default=True,
    show_default=True,
    help="Store the result in the profile (never with --no-inject).",
)
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True, help="Processes to read with.")
@open_data_option
@errors_to_exit_codes
def calibrate(
    name: str,
    inject: bool,
    excerpts: int,
    seed: int,
    as_csv: bool,
    plot: Path | None,
    keep: bool,
    workers: int,
    open_data: Path | None,
) -> None:
    """Measure how often the style NAME flags held-out tunes of its own, and which habits it can show.

    Its tunes are read again (from the cache where they are known), dealt by family into five folds, and each fold is
    placed against the others.

    \b
    Example: stylemeter calibrate old-fiddle-tunes --plot calibration.svg
    """
    from stylemeter.analysis import calibrate as calibrated
    from stylemeter.report.styles.calibration import csv_text, table_text, write_plot

    with ExitStack() as bars:
        shows = {what: bars.enter_context(progress_bar(what)) for what in ("reading", "checking")}
        profile = calibrated(
            name,
            inject=inject,
            excerpts=excerpts,
            seed=seed,
            open_data=open_data,
            workers=workers,
            progress=lambda what, done, total: shows[what](done, total),
        )
    result = profile.calibration
    assert result is not None
    if keep and inject:
        profile.save(profile.folder)
    if plot is not None:
        with writing(plot):
            write_plot(result, profile.style, plot)
    click.echo(csv_text(result) if as_csv else table_text(result, profile.style), nl=False)

"""The local page."""

from __future__ import annotations

from pathlib import Path

import click

from stylemeter.cli.common import errors_to_exit_codes, say
from stylemeter.support import places

__all__ = ["serve"]


@click.command()
@click.option(
    "--shelf", type=click.Path(file_okay=False, path_type=Path), help="Folder of the takes kept; else your own."
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port; else any that is free.")
@click.option("--no-browser", is_flag=True, help="Print the address and open nothing.")
@click.option("--advice", "advice_file", type=click.Path(), help="Your own advice file, laid over ours.")
@errors_to_exit_codes
def serve(shelf: Path | None, port: int, no_browser: bool, advice_file: str | None) -> None:
    """Open a page of your own: drop, paste or record a take, see its lesson, keep it.

    The page is served on this machine only and nothing leaves it. End it with Ctrl-C.

    \b
    Example: stylemeter serve
    Example: stylemeter serve --shelf lessons/ --no-browser
    """
    from stylemeter.web.server import serve as run

    folder = shelf or places.user_folder("takes")

    def ready(address: str) -> None:
        click.echo(f"Your page: {address}")
        say(f"stylemeter: takes are kept in {folder}; end with Ctrl-C")
        if not no_browser:
            import webbrowser

            webbrowser.open(address)

    run(folder, port=port, advice=advice_file, ready=ready)

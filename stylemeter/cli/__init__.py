"""The command line: parse, call, print. One module a group of commands; errors become exit codes in `common`."""

from __future__ import annotations

import atexit
import gc
import importlib
import os
from typing import Any

import click

from stylemeter._version import __version__
from stylemeter.cli.streams import guarded_streams

__all__ = ["main"]

# our arrays are small: starting a thread a core costs more than it ever saves (read when numpy is loaded)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# nearly all that is made while starting up stays: looking for garbage in it, then and at the end, is in vain
gc.set_threshold(50_000, 10, 10)
atexit.register(gc.freeze)

#: Command -> the module that holds it and its line in the list; modules are loaded when called.
_COMMANDS = {
    "place": ("stylemeter.cli.place", "Place solos against a style: the main job."),
    "batch": ("stylemeter.cli.classes", "Place a folder of solos: a page each and an overview."),
    "progress": ("stylemeter.cli.classes", "Follow takes over time: did a habit move?"),
    "notes": ("stylemeter.cli.notes", "Print the note table as read, or write it in another format."),
    "features": ("stylemeter.cli.features", "Print every feature of solos, or the dictionary of features."),
    "fit": ("stylemeter.cli.styles", "Fit a style from collections, folders or files."),
    "profiles": ("stylemeter.cli.styles", "List the fitted styles, or show one."),
    "corpus": ("stylemeter.cli.styles", "List the collections and their licences, or show one."),
    "calibrate": ("stylemeter.cli.styles", "Measure how often a style's norm flags held-out tunes of its own."),
}


class _Lazy(click.Group):
    """A group whose commands are loaded when they are asked for."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        with guarded_streams():
            return super().main(*args, **kwargs)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # as a path, an empty word would be the working folder
        empty = next((arg for arg in args if arg == "" or (arg.startswith("--") and arg.endswith("="))), None)
        if empty is not None:
            raise click.UsageError(
                f"{empty.rstrip('=') or 'an argument'} is empty: name something, or leave it out", ctx
            )
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(_COMMANDS[cmd_name][0])
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in _COMMANDS.items()])


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="stylemeter")
def main() -> None:
    """Measure a solo and place it against a style fitted from open melodies.

    \b
    Example: stylemeter place take.musicxml --profile old-fiddle-tunes
    """

"""Make the samples in this folder: what the tool writes about the invented evening class, and the calibrations.

    python reports/make.py

Everything comes out the same on every run.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
from pathlib import Path

HERE = Path(__file__).resolve().parent
TAKES = Path("corpus/evening-class")
PROFILE = "pop-songs"


def run(*arguments: object) -> str:
    """Run a command of the tool and return what it prints."""
    from stylemeter.cli import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.suppress(SystemExit):
        main([str(a) for a in arguments], standalone_mode=False)
    return out.getvalue()


def solo_reports() -> None:
    """Terminal text, JSON and page of both takes."""
    for take in ("take-1", "take-2"):
        path = TAKES / f"{take}.musicxml"
        (HERE / f"{take}.txt").write_text(run("place", path, "--profile", PROFILE), encoding="utf-8")
        (HERE / f"{take}.json").write_text(run("place", path, "--profile", PROFILE, "--json"), encoding="utf-8")
        run("place", path, "--profile", PROFILE, "--report", HERE / f"{take}.html")


def class_reports() -> None:
    """A class overview and the progress over the two takes."""
    folder = HERE / "class"
    shutil.rmtree(folder, ignore_errors=True)
    run("batch", TAKES, "--profile", PROFILE, "--out", folder)
    (HERE / "progress.txt").write_text(
        run("progress", TAKES, "--profile", PROFILE, "--report", HERE / "progress.html"), encoding="utf-8"
    )


def calibrations() -> None:
    """Tables and plots of what was measured when the shipped profiles were made."""
    from stylemeter.report.styles.calibration import csv_text, table_text, write_plot
    from stylemeter.style.profile import load_profile

    for folder in sorted(Path("profiles").iterdir()):
        if not (folder / "calibration.json").is_file():
            continue
        result = json.loads((folder / "calibration.json").read_text(encoding="utf-8"))
        style = load_profile(folder.name).style
        (HERE / f"calibration-{folder.name}.txt").write_text(table_text(result, style), encoding="utf-8")
        (HERE / f"calibration-{folder.name}.csv").write_text(csv_text(result), encoding="utf-8")
        write_plot(result, style, HERE / f"calibration-{folder.name}.svg")


if __name__ == "__main__":
    os.chdir(HERE.parent)
    solo_reports()
    class_reports()
    calibrations()

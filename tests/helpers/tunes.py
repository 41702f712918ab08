"""Tunes made at random, seeded, as ABC: enough of them make a style."""

from __future__ import annotations

from pathlib import Path

import numpy as np


def tune(seed: int, notes: int = 40) -> str:
    """A tune of so many notes or a few more."""
    rng = np.random.default_rng(seed)
    letters = "CDEFGABcdefg"
    at, body = 5, []
    for i in range(notes):
        at = int(np.clip(at + rng.choice([-3, -2, -1, -1, 1, 1, 2, 4]), 0, 11))
        body.append(letters[at] + rng.choice(["", "", "2", "/2"]) + ("|" if i % 8 == 7 else ""))
    return f"X:{seed}\nT:Tune {seed}\nM:4/4\nL:1/8\nK:C\n{''.join(body)}|\n\n"


def folder_of_tunes(folder: Path, count: int, first: int = 1) -> Path:
    """A folder of such files."""
    folder.mkdir(parents=True)
    for seed in range(first, first + count):
        (folder / f"{seed:03}.abc").write_text(tune(seed))
    return folder

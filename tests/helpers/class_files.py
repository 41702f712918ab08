"""Folders of small invented solos to place as a class."""

import random

from helpers.places import ROOT

PROFILE = str(ROOT / "profiles" / "old-fiddle-tunes")
TAKES = ROOT / "corpus" / "evening-class"

#: Titles that a page, a spreadsheet or a terminal could trip over.
HOSTILE = {
    "script": "<script>alert(1)</script>",
    "formula": '=HYPERLINK("http://nowhere.invalid","x")',
    "at": "@SUM(1+1)*cmd|' /C calc'!A0",
    "right-to-left": "abc\u202etxt.exe \u05d0\u05d1",
    "emoji": "Solo \U0001f3b8\U0001f468\u200d\U0001f469\u200d\U0001f467",
    "long": "L" * 500,
    "quotes": "\"><img src=x onerror=alert(1)>' {{ 7*7 }} {% raw %}",
}


def abc(seed, title, bars=8, number=1):
    """An invented tune, the same for the same seed."""
    rng = random.Random(seed)
    letters = "DEFGABcdefg"
    at, lines = 4, []
    for _ in range(bars):
        bar = []
        for _ in range(8):
            at = min(len(letters) - 1, max(0, at + rng.choice([-3, -2, -1, -1, 1, 1, 2, 3])))
            bar.append(letters[at])
        lines.append("".join(bar))
    return f"X:{number}\nT:{title}\nM:4/4\nL:1/8\nK:D\n{'|'.join(lines)}|]\n"


def small_class(folder, count=12, bars=4):
    """So many small solos."""
    folder.mkdir(parents=True, exist_ok=True)
    for i in range(count):
        (folder / f"pupil-{i + 1}.abc").write_text(abc(i, f"Invented solo {i + 1}", bars))
    return folder


def contents(folder):
    """Every file below a folder and its bytes."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}

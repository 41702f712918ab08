"""Hashes of what the tool answers, to hold a redesign to the byte.

    python benchmarks/frozen.py --write before.json     (on the old tree)
    python benchmarks/frozen.py --check before.json     (on the new one; exits 1 and names what differs)
    python benchmarks/frozen.py --keep FOLDER           (the answers themselves, to compare by eye)

Every file under tests/inputs, the invented takes, the tunes music21 ships for the fiddle style, and whatever open
collections are at hand (``STYLEMETER_OPEN_DATA``, else ``../shared/data``) are read, measured and placed; pages are
made of a few, and the shipped styles are fitted anew. ``--quick`` takes every sixteenth file and fits nothing. Paths
are relative, so that two checkouts side by side agree.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import os
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
#: One in so many files gets a page, and one in so many is placed in a quick run.
PAGE_EVERY, QUICK_EVERY = 40, 16
STYLES = ("pop-songs", "old-fiddle-tunes", "jazz-age-songs", "rock-melodies")


def answer(*arguments: object) -> str:
    """What a command prints, both streams, and its exit code."""
    from stylemeter.cli import main

    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(a) for a in arguments], standalone_mode=False)
        except SystemExit as stop:
            code = stop.code
    return f"{out.getvalue()}\n-- {code}\n{err.getvalue()}"


def notes(paths: list[Path]) -> Iterator[tuple[str, str]]:
    """The note tables of files as JSON, or why there is none."""
    from stylemeter.reading import Session
    from stylemeter.writing import write

    with Session() as session:
        for result in session.read_all(paths):
            tables = [write(melody, "json") for melody in result.melodies]
            yield f"notes {result.path}", "\n".join(str(t) for t in tables) if tables else str(result.error)


def inputs(every: int) -> list[Path]:
    """The files, sorted, relative to the working folder."""
    data = Path(os.environ.get("STYLEMETER_OPEN_DATA") or "../shared/data")
    folders = [Path("tests/inputs"), Path("corpus/evening-class"), data]
    files = [p for folder in folders for p in sorted(folder.rglob("*")) if p.is_file()]
    return [p for p in files if p.suffix not in (".py", ".md")][::every]


def answers(quick: bool) -> Iterator[tuple[str, str]]:
    """Everything that is hashed, under a name each."""
    files = inputs(QUICK_EVERY if quick else 1)
    yield from notes(files)
    for start in range(0, len(files), 50):
        group = files[start : start + 50]
        yield f"features {group[0]}", answer("features", "--format", "json", "--workers", 1, *group)
    for start in range(0, len(files), 50):
        group = files[start : start + 50][:: 1 if quick else 4]
        style = STYLES[start // 50 % len(STYLES)]
        yield f"place {group[0]}", answer("place", "--json", "--profile", style, *group)
    with tempfile.TemporaryDirectory() as folder:
        for path in files[::PAGE_EVERY]:
            page = Path(folder) / "page.html"
            said = answer("place", path, "--profile", "pop-songs", "--report", page)
            yield f"page {path}", said.replace(folder, "") + (page.read_text("utf-8") if page.exists() else "")
            page.unlink(missing_ok=True)
        if not quick:
            yield from profiles(Path(folder))


def profiles(folder: Path) -> Iterator[tuple[str, str]]:
    """The shipped styles fitted anew, as far as their tunes are at hand."""
    data = os.environ.get("STYLEMETER_OPEN_DATA") or "../shared/data"
    for name in STYLES:
        said = answer("fit", name, "--name", name, "--out", folder, "--open-data", data)
        yield f"fit {name}", said.replace(str(folder), "")
        for part in sorted((folder / name).glob("*")):
            text = part.read_bytes().hex() if part.suffix == ".parquet" else part.read_text("utf-8")
            yield f"fit {name}: {part.name}", re.sub(r'"stylemeter": "[^"]*"', "", text)


def main() -> int:
    """Write or check the hashes."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", type=Path)
    parser.add_argument("--check", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--quick", action="store_true")
    wishes = parser.parse_args()
    if wishes.keep:
        wishes.keep.mkdir(parents=True, exist_ok=True)
    hashes = {}
    for name, text in answers(wishes.quick):
        hashes[name] = hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()
        if wishes.keep:
            (wishes.keep / (re.sub(r"[^\w.-]+", "_", name) + ".txt")).write_text(text, "utf-8", "surrogateescape")
    if wishes.write:
        wishes.write.write_text(json.dumps(hashes, indent=0) + "\n", encoding="utf-8")
    if not wishes.check:
        print(f"{len(hashes)} answers")
        return 0
    before = json.loads(wishes.check.read_text(encoding="utf-8"))
    different = [name for name, digest in hashes.items() if before.get(name) != digest]
    gone = [name for name in before if name not in hashes]
    print(f"{len(hashes)} answers, {len(different)} differ, {len(gone)} gone")
    print("\n".join([*different, *gone]))
    return 1 if different or gone else 0


if __name__ == "__main__":
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    with tempfile.TemporaryDirectory() as cache:
        os.environ["STYLEMETER_CACHE"] = cache
        sys.exit(main())

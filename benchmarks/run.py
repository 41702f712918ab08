"""Ratios against a floor measured in the same run; prints them and exits 1 where one is over its limit.

    python benchmarks/run.py [--fit] [--class]

Every figure is the best of a few runs; absolute times are printed for the curious and judged nowhere but for one:
the features of a 64-note excerpt (1.5 ms). A placement and its floor are compared by processor time, their children's
included, which a busy machine stretches less than the clock's. `--fit` also measures the memory of a fit (minutes),
`--class` a batch of a hundred solos (minutes).
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TAKE = ROOT / "corpus" / "evening-class" / "take-1.musicxml"
RUNS = 5


def best(call: Callable[[], object], runs: int = RUNS) -> float:
    """Least seconds of a few runs."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def processor(code: str, **environment: str) -> float:
    """Processor seconds of code in a fresh interpreter that finds everything compiled."""
    settings = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", code], check=True, env={**settings, **environment}, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def peak_mib(arguments: list[str], **environment: str) -> float:
    """Peak memory of a command and of its largest child, MiB."""
    code = (
        "import resource, subprocess, sys;"
        f"subprocess.run({arguments!r}, check=True, stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, env={**os.environ, **environment}, capture_output=True, text=True
    )
    return int(done.stdout.split()[-1]) / 1024


FLOOR = f"""
import pathlib
from music21 import converter
converter.parse(pathlib.Path({str(TAKE)!r}).read_bytes(), format="musicxml", forceSource=True, storePickle=False)
"""


def place_code(path: Path) -> str:
    """Code of one placement."""
    return f"""
from stylemeter.cli import main
main(["place", {str(path)!r}, "--profile", "old-fiddle-tunes", "--json"])
"""


def place_ratios() -> dict[str, tuple[float, float]]:
    """`place --json`, with and without a cache, over importing music21 and parsing the same file."""
    with tempfile.TemporaryDirectory() as folder:
        place = place_code(TAKE)
        processor(place, STYLEMETER_CACHE=folder)
        rounds = [
            # in turn, so that a busy moment of the machine meets all of them
            (
                processor(FLOOR),
                processor(place, STYLEMETER_CACHE=folder),
                processor(place, STYLEMETER_CACHE="off"),
                processor("import numpy"),
            )
            for _ in range(RUNS)
        ]
        floor, usual, first, numpy = (min(times) for times in zip(*rounds, strict=True))
        print(f"floor {floor:.2f} s, place {usual:.2f} s, without any cache {first:.2f} s; numpy alone {numpy:.2f} s")
        memory = peak_mib([sys.executable, "-c", place], STYLEMETER_CACHE=folder)
        memory_first = peak_mib([sys.executable, "-c", place], STYLEMETER_CACHE="off")
        print(f"memory {memory:.0f} MiB, without any cache {memory_first:.0f} MiB")
    return {
        "place --json over the floor": (usual / floor, 0.8),
        "place --json without any cache over the floor": (first / floor, 1.1),
        "place --json, numpy not counted, over the floor": ((usual - numpy) / floor, 0.4),
        "peak MiB of place over 100": (memory / 100, 1.0),
        "peak MiB of place without any cache over 150": (memory_first / 150, 1.0),
    }


def feature_ratios() -> dict[str, tuple[float, float]]:
    """Features of one excerpt, over music21's own extractors and over reading."""
    from music21 import converter, features

    from stylemeter.features import Base, Line, values
    from stylemeter.features.bulk import excerpt_block
    from stylemeter.music.excerpts import LADDER, separate_starts
    from stylemeter.reading.abc.read import read
    from stylemeter.reading.intake.options import ReadOptions
    from stylemeter.reading.musicxml.read import read as read_xml
    from stylemeter.style.collections import find_collection, tune_sources

    melody = read_xml(TAKE.read_bytes(), ReadOptions())[0]
    base = Base(melody)
    values(Line(base, 0, 64))
    one = best(lambda: values(Line(base, 10, 74)), 30)
    score = converter.parse(TAKE.read_bytes(), format="musicxml", forceSource=True, storePickle=False)
    excerpt = score.parts[0].measures(1, 8)
    extractors = [*features.jSymbolic.featureExtractors, *features.native.featureExtractors]

    def extract() -> int:
        count = 0
        for extractor in extractors:
            try:
                extractor(excerpt).extract()
                count += 1
            except Exception:  # noqa: BLE001 - some of them can't do a single line
                continue
        return count

    theirs = best(extract, 1)
    sources = tune_sources(find_collection("old-fiddle-tunes"))[0][::40]
    reading = best(lambda: [read(s.data, ReadOptions()) for s in sources], 2)
    melodies = [read(s.data, ReadOptions())[0] for s in sources]
    cuts = [[(a, a + n) for n in LADDER for a in separate_starts(len(m), n)] for m in melodies]
    excerpts = best(lambda: [excerpt_block(Base(m), c) for m, c in zip(melodies, cuts, strict=True)], 2)
    parse = best(
        lambda: [
            converter.parse(s.data.decode(), format="abc", forceSource=True, storePickle=False) for s in sources[:30]
        ],
        1,
    )
    through_music21 = parse / 30 * len(sources)
    print(
        f"one excerpt {1e3 * one:.2f} ms, music21's {len(extractors)} extractors {theirs:.2f} s; "
        f"{len(sources)} tunes: reading {reading:.2f} s (music21 alone {through_music21:.1f} s), "
        f"excerpts {excerpts:.2f} s"
    )
    return {
        "64-note excerpt over 1.5 ms": (one / 1.5e-3, 1.0),
        "200 x one excerpt over music21's extractors": (200 * one / theirs, 1.0),
        "all excerpts over reading through music21": (excerpts / through_music21, 0.5),
    }


def fit_ratios() -> dict[str, tuple[float, float]]:
    """Memory of a fit, and a warm refit over the cold one."""
    with tempfile.TemporaryDirectory() as folder:
        command = [
            sys.executable,
            "-m",
            "stylemeter.cli",
            "fit",
            "old-fiddle-tunes",
            "--name",
            "f",
            "--out",
            f"{folder}/out",
        ]
        start = time.perf_counter()
        memory = peak_mib(command, STYLEMETER_CACHE=f"{folder}/cache")
        cold = time.perf_counter() - start
        warm = best(lambda: peak_mib(command, STYLEMETER_CACHE=f"{folder}/cache"), 2)
    print(f"fit cold {cold:.0f} s, warm {warm:.1f} s, peak {memory:.0f} MiB")
    return {"peak MiB of fit over 1024": (memory / 1024, 1.0), "50 x warm refit over cold": (50 * warm / cold, 1.0)}


def class_ratios() -> dict[str, tuple[float, float]]:
    """A hundred solos with a page each, over reading and placing them alone; two workers over one."""
    import shutil

    from stylemeter.style.collections import find_collection, tune_sources

    sources = tune_sources(find_collection("old-fiddle-tunes"))[0][::37][:100]
    with tempfile.TemporaryDirectory() as folder:
        solos, styles = Path(folder) / "solos", Path(folder) / "styles"
        solos.mkdir()
        for i, source in enumerate(sources):
            (solos / f"solo-{i:03}.abc").write_bytes(source.data)
        place = [sys.executable, "-m", "stylemeter.cli", "place", str(solos), "--profile", "old-fiddle-tunes", "--json"]
        batch = [*place[:3], "batch", str(solos), "--profile", "old-fiddle-tunes", "--out"]
        # what the cache keeps of the styles is there in everyday use; what it keeps of the solos is not
        subprocess.run(
            [*place[:4], str(solos / "solo-000.abc"), *place[5:]],
            check=True,
            env={**os.environ, "STYLEMETER_CACHE": str(styles)},
            stdout=subprocess.DEVNULL,
        )

        def timed(number: int, command: list[str]) -> float:
            cache = Path(folder) / f"cache-{number}"
            shutil.copytree(styles, cache)
            start = time.perf_counter()
            subprocess.run(
                command,
                check=True,
                env={**os.environ, "STYLEMETER_CACHE": str(cache)},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            return time.perf_counter() - start

        rounds = []
        for i in range(RUNS):
            out = [f"{folder}/out-{i}-{kind}" for kind in ("default", "one", "two")]
            rounds.append(
                (
                    timed(4 * i, place),
                    timed(4 * i + 1, [*batch, out[0]]),
                    timed(4 * i + 2, [*batch, out[1], "--workers", "1"]),
                    timed(4 * i + 3, [*batch, out[2], "--workers", "2"]),
                )
            )
        alone, default, one, two = (min(times) for times in zip(*rounds, strict=True))
    print(
        f"100 solos: placing alone {alone:.1f} s, with pages {default:.1f} s (as it comes), {one:.1f} s (one worker), "
        f"{two:.1f} s (two workers)"
    )
    return {
        "a batch as it comes over placing alone": (default / alone, 1.3),
        "1.8 x two workers over one": (1.8 * two / one, 1.0),
    }


def main() -> None:
    """Measure and judge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--class", dest="a_class", action="store_true")
    chosen = parser.parse_args()
    ratios = place_ratios() | feature_ratios()
    ratios |= fit_ratios() if chosen.fit else {}
    ratios |= class_ratios() if chosen.a_class else {}
    over = 0
    for name, (ratio, limit) in ratios.items():
        over += ratio > limit
        print(f"{'OVER' if ratio > limit else 'ok  '} {name}: {ratio:.2f} (limit {limit:g})")
    print(f"peak of this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
    sys.exit(1 if over else 0)


if __name__ == "__main__":
    main()

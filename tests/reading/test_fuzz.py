"""Damaged files: whatever is done to the bytes of a real file, a reader gives melodies that hold together or one line.

Every damaged file goes through the reader of its kind in the reading process. A short run belongs to the tests; the
long one (``-m slow``) makes 2000 damaged files a kind and says what became of them.
"""

import importlib.util
import json
import random
import re
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from conftest import open_data_folder
from helpers.places import ROOT
from inputs.sixty import CASES
from reading.audio.takes import as_file, take

from stylemeter.errors import InputError, LimitError
from stylemeter.reading import KINDS
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.process.codec import unpack
from stylemeter.reading.process.parent import ReadingProcess

SEEDS_SHORT, SEEDS_LONG = 12, 50
SHORT, LONG = 40, 2000
SEED_BYTES = 12_000
SECONDS = 5

#: A recording's tempo has to be told, else it is asked for.
OPTIONS = {"audio": ReadOptions(tempo=96)}

#: Numbers, words and signs put where a number stood.
ODD = [
    b"-1",
    b"0",
    b"1",
    b"9999999999",
    b"1e308",
    b"NaN",
    b"",
    b"0.0000001",
    b"1/0",
    b"-0",
    b"127",
    b"128",
    b"\xff",
    b"x",
]


# ------------------------------------------------------------------------------------------------ real files


def _smallest(paths, count):
    """Contents of the smallest files, near-empty ones left out."""
    sized = sorted((path.stat().st_size, str(path), path) for path in paths)
    return [path.read_bytes() for size, _, path in sized if 150 < size <= SEED_BYTES][:count]


def _written_cases(*suffixes):
    """Inputs of the sixty that can be read."""
    return [
        case.data for case in CASES if case.pitches and isinstance(case.data, bytes) and case.name.endswith(suffixes)
    ]


def _mei_of(documents):
    """The same music as MEI, written by an independent library."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    found = []
    for document in documents:
        toolkit = verovio.toolkit()
        if toolkit.loadData(document.decode("utf-8", "replace")):
            found.append(toolkit.getMEI().encode())
    return found


def _jams_of(paths):
    """Annotated recordings cut to their notes, beats, keys and chords (contours are most of the bytes)."""
    for path in sorted(paths):
        document = json.loads(path.read_bytes())
        kept = [a for a in document["annotations"] if a["namespace"] != "pitch_contour"]
        for annotation in kept:
            if isinstance(annotation["data"], list):
                annotation["data"] = annotation["data"][:40]
        yield json.dumps(document | {"annotations": kept}).encode()


def _tables(written, count):
    """Tunes of the collections written as tables."""
    from stylemeter.reading.abc.read import read
    from stylemeter.writing import table as tables

    write = getattr(tables, written)
    return [write(read(data, ReadOptions())[0]).encode() for data in _smallest(_corpus().rglob("*.abc"), count)]


def _corpus():
    """Folder of music21's collections."""
    return Path(importlib.util.find_spec("music21").origin).parent / "corpus"


def seeds(kind, open_data, count):
    """Real files of a kind, so many where there are, and the hand-made ones of the sixty."""
    corpus = _corpus()
    ours = ROOT / "tests" / "inputs"
    fetched = open_data or ours
    real = {
        "musicxml": lambda: _smallest([*corpus.rglob("*.mxl"), *fetched.glob("jazz-age-songs/*.mxl")], count),
        "midi": lambda: _smallest([*corpus.parent.rglob("*.mid"), *fetched.glob("pop-songs/*.mid")], count),
        "abc": lambda: _smallest(corpus.rglob("*.abc"), count),
        "kern": lambda: _smallest(corpus.rglob("*.krn"), count),
        "mei": lambda: _mei_of(_smallest([*corpus.rglob("*.krn"), *corpus.rglob("*.abc")], count)),
        "jams": lambda: list(_jams_of(fetched.glob("guitar-jams/*_solo.jams"))),
        "csv": lambda: [*_tables("to_csv", count // 2), *_smallest(ours.glob("table/*.csv"), count)],
        "json": lambda: [*_tables("to_json", count // 2), *_smallest(ours.glob("table/*.json"), count)],
        "tab": lambda: _smallest(ours.glob("tab/*.tab"), count),
        "audio": lambda: [as_file(take(5, notes=6)[0], form=form) for form in ("WAV", "FLAC", "OGG", "MP3", "AIFF")],
    }
    made = _written_cases(*KINDS[kind].suffixes)
    return [seed for seed in [*real[kind](), *made] if seed]


# ------------------------------------------------------------------------------------------------ damage


def _flip(rng, data):
    at = rng.randrange(len(data))
    return data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :]


def _overwrite(rng, data):
    at = rng.randrange(len(data))
    return data[:at] + rng.choice([b"\x00", b"\xff", b"\x80", b"\x7f", b"\n", b"<", b"|", b"\t"]) + data[at + 1 :]


def _cut(rng, data):
    at, end = sorted(rng.choices(range(len(data) + 1), k=2))
    return data[:at] + data[min(end, at + 200) :]


def _truncate(rng, data):
    return data[: rng.randrange(1, len(data) + 1)]


def _repeat(rng, data):
    at = rng.randrange(len(data))
    piece = data[at : at + rng.randrange(1, 80)]
    return data[:at] + piece * rng.choice([2, 2, 3, 50]) + data[at:]


def _insert(rng, data):
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.randbytes(rng.randrange(1, 9)) + data[at:]


def _move(rng, data):
    at = rng.randrange(len(data))
    piece = data[at : at + rng.randrange(1, 120)]
    rest = data[:at] + data[at + len(piece) :]
    to = rng.randrange(len(rest) + 1)
    return rest[:to] + piece + rest[to:]


def _other_number(rng, data):
    numbers = list(re.finditer(rb"-?\d+(?:\.\d+)?", data))
    if not numbers:
        return _flip(rng, data)
    found = rng.choice(numbers)
    return data[: found.start()] + rng.choice(ODD) + data[found.end() :]


def _line_gone(rng, data):
    lines = re.split(rb"(?<=[\n>,])", data)
    del lines[rng.randrange(len(lines))]
    return b"".join(lines)


def _element_gone(rng, data):
    """Markup stays well-formed: an innermost element, or an empty one, is gone."""
    found = _element(rng, data)
    return data[: found.start()] + data[found.end() :] if found else _flip(rng, data)


def _element_again(rng, data):
    """Markup stays well-formed: an innermost element is there twice, or stands in the place of another."""
    found, other = _element(rng, data), _element(rng, data)
    if found is None or other is None:
        return _flip(rng, data)
    return data[: other.start()] + found[0] + (other[0] if rng.random() < 0.5 else b"") + data[other.end() :]


def _other_content(rng, data):
    """Markup stays well-formed: an element or attribute holds another number or nothing."""
    found = list(re.finditer(rb"(?<=>)[^<>]{1,20}(?=</)|(?<=\")[^\"<>]{1,12}(?=\"[ />])", data))
    if not found:
        return _flip(rng, data)
    one = rng.choice(found)
    odd = rng.choice([odd for odd in ODD if odd != b"\xff"])
    return data[: one.start()] + odd + data[one.end() :]


def _element(rng, data):
    """An element with nothing but text in it."""
    found = list(re.finditer(rb"<(\w+)[^<>]*>[^<>]*</\1>|<\w+[^<>]*/>", data))
    return rng.choice(found) if found else None


DAMAGES = [_flip, _overwrite, _cut, _truncate, _repeat, _insert, _move, _other_number, _other_number, _line_gone]


#: Damages after which a document can still be parsed, so that they reach what reads the music.
WELL_FORMED = [_element_gone, _element_again, _other_content, _other_content]


def damaged(rng, data):
    """One to four damages of a file."""
    is_markup = data.lstrip(b"\xef\xbb\xbf \r\n").startswith(b"<")
    kinds = WELL_FORMED if is_markup and rng.random() < 0.7 else DAMAGES
    for _ in range(rng.choice([1, 1, 1, 2, 3, 4])):
        data = rng.choice(kinds)(rng, data) or b"\x00"
    return data


def damaged_score(rng, data):
    """A compressed score: half the time what is inside is damaged, since the archive's own sums catch the rest."""
    if not data.startswith(b"PK") or rng.random() < 0.3:
        return damaged(rng, data)
    import io
    import zipfile

    raw = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            inside = old.read(name)
            new.writestr(name, damaged(rng, inside) if not name.startswith("META-INF") else inside)
    return raw.getvalue()


# ------------------------------------------------------------------------------------------------ what must hold


def holds_together(melody):
    """What every stage after the reading takes for granted."""
    assert 0 < len(melody) <= limits.NOTES_MAX
    assert np.all(np.diff(melody.onset) > 0)
    assert np.abs(melody.onset).max() <= limits.TICKS_MAX
    assert np.all((melody.pitch >= limits.PITCH_MIN) & (melody.pitch <= limits.PITCH_MAX))
    assert np.abs(melody.bar).max() <= 2 * limits.BARS_MAX
    assert np.all(melody.beat >= 1)
    assert np.all(melody.weight <= 0)
    assert len(melody.bars.line) <= 2 * limits.BARS_MAX
    assert np.all(melody.bars.end > melody.bars.line)
    if melody.duration is not None:
        assert np.all(melody.duration > 0)
        assert melody.duration.max() <= limits.TICKS_MAX
    if melody.onset_seconds is not None:
        assert np.all(np.isfinite(melody.onset_seconds))
    if melody.tempo is not None:
        assert 0 < melody.tempo < 100_000
    if melody.key is not None:
        assert melody.key.tonic in range(12)
    for chord in melody.chords or ():
        assert all(pitch in range(12) for pitch in chord.pitch_classes)


def outcome(process, kind, data):
    """What became of a damaged file, in a word."""
    try:
        melodies = unpack(process.read(KINDS[kind], data, OPTIONS.get(kind, ReadOptions())))
    except LimitError as error:
        return "too slow" if "took longer" in str(error) else "limit"
    except InputError as error:
        told = str(error)
        assert "\n" not in told
        return f"broken: {told}" if "broke the read" in told else "error"
    for melody in melodies:
        holds_together(melody)
    return "read"


def fuzz(kind, open_data, count, originals, seed=0):
    """Damage `count` files: counts of what became of them, and the worst ones."""
    rng = random.Random(f"{kind} {seed}")
    files = seeds(kind, open_data, originals)
    assert len(files) >= 5, "too few files to damage"
    damage = damaged_score if kind == "musicxml" else damaged
    counts: Counter[str] = Counter()
    worst = []
    process = ReadingProcess()
    try:
        for number in range(count):
            data = damage(rng, files[number % len(files)])
            try:
                word = outcome(process, kind, data)
            except AssertionError as error:
                word = f"broken: {error}"
            counts[word.partition(":")[0]] += 1
            if word.startswith(("broken", "too slow")):
                worst.append((number, word[:300], data))
    finally:
        process.close()
    return counts, worst


@pytest.fixture(scope="module")
def data_folder():
    return open_data_folder()


@pytest.fixture(autouse=True)
def short_patience(monkeypatch):
    monkeypatch.setenv("STYLEMETER_SECONDS", str(SECONDS))


def _needs_reader(kind, data_folder):
    if kind == "jams" and data_folder is None:
        pytest.skip("the open collections are not here: set STYLEMETER_OPEN_DATA to their folder")


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_few_damaged_files(kind, data_folder):
    _needs_reader(kind, data_folder)
    counts, worst = fuzz(kind, data_folder, SHORT, SEEDS_SHORT)
    assert not worst, [(number, word) for number, word, _ in worst]
    assert counts["read"] + counts["error"] + counts["limit"] == SHORT
    assert counts["read"] > 0


@pytest.mark.slow
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_many_damaged_files(kind, data_folder, capsys):
    _needs_reader(kind, data_folder)
    counts, worst = fuzz(kind, data_folder, LONG, SEEDS_LONG, seed=1)
    with capsys.disabled():
        sys.stdout.write(f"\n{kind}: {LONG} damaged files: {dict(counts)}\n")
    assert not worst, [(number, word) for number, word, _ in worst]
    assert counts["read"] > 0
    assert counts["error"] > 0

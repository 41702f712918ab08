"""Cases 54 to 60: ABC, kern, tablature and JAMS as text, and what is no file."""

from __future__ import annotations

import json
import os
from pathlib import Path

from .case import Case
from .xml import plain

ANY = r"."
PITCHES = (60, 62, 64, 65, 67, 69, 71, 72)
STEADY = (0, 1, 2, 3, 4, 5, 6, 7)
SCALE = {"pitches": PITCHES, "onsets": STEADY}


def abc(body: str, *, head: str = "X:1\nT:Case\nM:4/4\nL:1/4\nK:C\n") -> bytes:
    """One tune."""
    return f"{head}{body}\n".encode()


def kern(*rows: str) -> bytes:
    """Rows of spines."""
    return ("\n".join(rows) + "\n").encode()


def titles(*expected: str):
    """A check of which tunes were read."""

    def check(melodies: list) -> None:
        assert [melody.title for melody in melodies] == list(expected)

    return check


def key(said: str):
    """A check of the key."""

    def check(melodies: list) -> None:
        assert melodies[0].key.name == said

    return check


def no_durations_made_up(melodies: list) -> None:
    """Tablature without rhythm has none, or says where they come from."""
    assert melodies[0].duration is None or any(
        "rhythm" in remark or "length" in remark for remark in melodies[0].remarks
    )


MANY = "".join(
    f"X:{number}\nT:{title}\nM:4/4\nL:1/4\nK:{tonic}\n{body}\n\n"
    for number, title, tonic, body in (
        (1, "One", "C", "CDEF|GABc|"),
        (2, "Broken", "C", "z4|z4|"),
        (3, "Three", "G", "GABc|d4|"),
    )
).encode()
FOUR_BARS = "CDEF|GABc|"

SPINES = ("**kern\t**text", "*M4/4\t*", "=1\t=1", "4c\tla", "4d\tla", "4e\tla", "4f\tla", "=2\t=2", "4g\tla", "4a\tla")
WHOLE = (*SPINES, "4b\tla", "4cc\tla", "==\t==", "*-\t*-")
SPLIT = (
    "**kern",
    "*M4/4",
    "=1",
    "4c",
    "*^",
    "4d\t4D",
    "4e\t4E",
    "*v\t*v",
    "4f",
    "=2",
    "4g",
    "4a",
    "4b",
    "4cc",
    "==",
)


def tab(*strings: str) -> bytes:
    """Six strings, the highest first; those left out are empty."""
    blank = "-" * max(map(len, strings))
    lines = [f"{label}|{line or blank}|" for label, line in zip("eBGDAE", strings, strict=True)]
    return ("\n".join(lines) + "\n").encode()


#                e   B   G   D                       A               E
LICK = tab("", "", "", "------------2-3-5-----", "----2-3-5-------------", "")
LICK_PITCHES = (47, 48, 50, 52, 53, 55)
HIGH = tab("-10-12-13-15-----", "", "", "", "", "")


def note_annotation(notes: list[tuple[float, float, float]]) -> dict:
    """One string's notes as (time, duration, value)."""
    data = [{"time": t, "duration": d, "value": v, "confidence": None} for t, d, v in notes]
    return {"namespace": "note_midi", "data": data, "annotation_metadata": {}, "sandbox": {}}


def jams(*strings: list[tuple[float, float, float]], extra: tuple[dict, ...] = ()) -> bytes:
    """A JAMS file: at 120 quarters a minute, beats told."""
    beats = [
        {
            "time": 0.5 * i,
            "duration": 0.0,
            "confidence": None,
            "value": {"position": i % 4 + 1, "measure": i // 4 + 1, "num_beats": 4, "beat_units": 4},
        }
        for i in range(9)
    ]
    beat = {"namespace": "beat_position", "data": beats, "annotation_metadata": {}, "sandbox": {}}
    tempo = {
        "namespace": "tempo",
        "data": [{"time": 0.0, "duration": 4.0, "value": 120.0, "confidence": 1.0}],
        "annotation_metadata": {},
        "sandbox": {},
    }
    head = {"title": "case", "duration": 4.0, "jams_version": "0.3.4", "artist": "", "release": "", "identifiers": {}}
    annotations = [*map(note_annotation, strings), beat, tempo, *extra]
    return json.dumps({"annotations": annotations, "file_metadata": head, "sandbox": {}}).encode()


def on_six_strings() -> bytes:
    """The scale over the strings, slightly sharp, the fourth note found on two strings within 5 ms."""
    strings: list[list[tuple[float, float, float]]] = [[] for _ in range(6)]
    for index, pitch in enumerate(PITCHES):
        strings[index % 6].append((0.5 * index, 0.45, pitch + 0.12))
    strings[4].append((1.503, 0.3, 65.1))
    return jams(*strings)


def with_double_stop() -> bytes:
    """The scale, a lower string sounding with its third note."""
    line = [(0.5 * index, 0.45, float(pitch)) for index, pitch in enumerate(PITCHES)]
    return jams(line, [(1.001, 0.4, 55.0)])


def with_negative_duration() -> bytes:
    """The scale and a note that ends before it starts."""
    line = [(0.5 * index, 0.45, float(pitch)) for index, pitch in enumerate(PITCHES)]
    return jams(line, [(1.25, -0.2, 50.0)])


def nearest(melodies: list) -> None:
    """Rounded to semitones, the scale: each note once."""
    assert [int(pitch + 0.5) for pitch in melodies[0].pitch] == list(PITCHES)


def folder(place: Path) -> Path:
    """A folder with a score's name."""
    path = place / "case.musicxml"
    path.mkdir()
    return path


def pipe(place: Path) -> Path:
    """A pipe nobody writes to."""
    path = place / "case.mid"
    os.mkfifo(path)
    return path


def endless(place: Path) -> Path:
    """A link to a device that never ends."""
    path = place / "case.abc"
    path.symlink_to("/dev/zero")
    return path


TEXTS = (
    Case(
        54,
        "many tunes, one without notes",
        MANY,
        "case.abc",
        pitches=PITCHES,
        remark="X:2",
        check=titles("One", "Three"),
    ),
    Case(55, "no length said", abc("C2D2E2F2|G2A2B2c2|", head="X:1\nT:Case\nM:4/4\nK:C\n"), "case.abc", **SCALE),
    Case(55, "no key said", abc(FOUR_BARS, head="X:1\nT:Case\nM:4/4\nL:1/4\n"), "case.abc", error=ANY, **SCALE),
    Case(
        55,
        "a mode",
        abc("DEFG|ABcd|", head="X:1\nM:4/4\nL:1/4\nK:Ddor\n"),
        "case.abc",
        check=key("D dorian"),
        pitches=(62, 64, 65, 67, 69, 71, 72, 74),
        onsets=STEADY,
    ),
    Case(
        55,
        "a key in the line",
        abc("CDEF|[K:D]GABc|"),
        "case.abc",
        pitches=(60, 62, 64, 65, 67, 69, 71, 73),
        onsets=STEADY,
    ),
    Case(55, "a length in the line", abc("CDEF|[L:1/8]G2A2B2c2|"), "case.abc", **SCALE),
    Case(56, "length of nothing", abc("CDE/0F|GABc|"), "case.abc", error=ANY, remark=ANY, pitches=PITCHES),
    Case(
        56,
        "double broken rhythm",
        abc("C>>D E F|G A B c|"),
        "case.abc",
        pitches=PITCHES,
        onsets=(0, 1.75, 2, 3, 4, 5, 6, 7),
    ),
    Case(56, "decorations between plus signs", abc("+fermata+C D +trill+E F|GAB !fermata!c|"), "case.abc", **SCALE),
    Case(56, "overfull and underfull bars", abc("CDEFG|AB|c4|"), "case.abc", remark="bar", **SCALE),
    Case(
        56,
        "accidentals last through the bar",
        abc("^FFF=F|FGAB|"),
        "case.abc",
        pitches=(66, 66, 66, 65, 65, 67, 69, 71),
    ),
    Case(
        57, "spaces between spines", kern(*(row.replace("\t", "    ") for row in WHOLE)), "case.krn", error=ANY, **SCALE
    ),
    Case(
        57,
        "ragged row",
        kern(*SPINES[:5], "4e", *SPINES[6:], "4b\tla", "4cc\tla", "*-\t*-"),
        "case.krn",
        error=ANY,
        **SCALE,
    ),
    Case(57, "a spine that is no kern", kern(*WHOLE), "case.krn", **SCALE),
    Case(57, "no kern at all", kern("**text", "la", "*-"), "case.krn", error=ANY),
    Case(58, "split and merge, no terminator", kern(*SPLIT), "case.krn", **SCALE),
    Case(59, "tab without rhythm", LICK, "case.tab", pitches=LICK_PITCHES, check=no_durations_made_up),
    Case(59, "capo", b"Capo 2\n\n" + LICK, "case.tab", pitches=tuple(p + 2 for p in LICK_PITCHES)),
    Case(59, "frets of two digits", HIGH, "case.tab", pitches=(74, 76, 77, 79)),
    Case(
        59,
        "dropped tuning",
        b"Tuning: D A D G B E\n\n" + tab("", "", "", "", "", "-0-2-3-5-0-2-----").replace(b"\nE|", b"\nD|"),
        "case.tab",
        pitches=(38, 40, 41, 43, 38, 40),
    ),
    Case(59, "a line of lyrics", LICK + b"  a line of words here\n\n" + LICK, "case.tab", pitches=LICK_PITCHES * 2),
    Case(60, "a folder", folder, error="is a folder"),
    Case(60, "a pipe", pipe, error="is a pipe"),
    Case(60, "a link to a device", endless, error="is a device"),
    Case(60, "a score named like kern", plain(), "case.krn", **SCALE),
    Case(
        60,
        "JAMS: six strings, one note found twice",
        on_six_strings(),
        "case.jams",
        pitches=tuple(p + 0.12 for p in PITCHES),
        onsets=STEADY,
        check=nearest,
        remark=ANY,
    ),
    Case(60, "JAMS: double stop", with_double_stop(), "case.jams", remark=ANY, **SCALE),
    Case(60, "JAMS: negative duration", with_negative_duration(), "case.jams", remark=ANY, **SCALE),
)

"""Whatever the bytes, MusicXML gives a melody or an `InputError`: seeded mutations of good files."""

from __future__ import annotations

import random
import re

import pytest
from inputs.musicxml.case import BACK, chord, tie
from inputs.musicxml.files import packed
from inputs.musicxml.guitar import TAB, TREBLE, fret, technical
from inputs.sixty.xml import attributes, bars, measure, note, notes, part, whole

from stylemeter.errors import InputError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.musicxml.read import read

RICH = whole(
    part(
        measure(
            attributes(TREBLE, meter="3/4", fifths=2)
            + chord("D", "minor-seventh", "<bass><bass-step>F</bass-step></bass>")
            + note("A4", None, before="<grace/>")
            + note("D4", after=technical("<bend><bend-alter>2</bend-alter></bend>"))
            + note("E4", after=fret(2, 5, "<hammer-on type='start'>H</hammer-on>"))
            + note("F4", after=tie("start"))
        )
        + measure(note("F4", after=tie("stop")) + notes("G4 A4") + BACK.format(12) + note("C3", 12, voice=2), 2)
        + measure("<attributes><transpose><chromatic>-2</chromatic></transpose></attributes>" + notes("C5 R C5"), 3)
    ),
    part(measure(attributes(TAB, meter="3/4") + notes("D4 E4 F4")) + measure(notes("G4 G4 A4"), 2), "P2"),
    names=("Guitar", "Tab"),
)
FILES = {"rich": RICH, "plain": bars(notes("C4 D4 E4 F4"), notes("G4 A4 B4 C5")), "packed": packed(("score.xml", RICH))}
VALUES = (b"0", b"-1", b"NaN", b"1e400", b"999999999999", b"", b"inf", b"3.7", b"abc", b"\xc3\xa9", b"\xff", b"x" * 300)
ELEMENT = re.compile(rb"<([a-z-]+)[^<>]*>[^<>]*</\1>")
TEXT = re.compile(rb">([^<>\s]{1,12})<")


def mutate_bytes(data: bytes, rng: random.Random) -> bytes:
    """Change, drop, add or repeat some bytes."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 2, 5, 20))):
        at = rng.randrange(len(changed))
        how = rng.randrange(4)
        if how == 0:
            changed[at] = rng.randrange(256)
        elif how == 1:
            del changed[at : at + rng.randrange(1, 40)]
        elif how == 2:
            changed[at:at] = rng.randbytes(rng.randrange(1, 8))
        else:
            start = rng.randrange(len(changed))
            changed[at:at] = changed[start : start + rng.randrange(1, 400)]
    return bytes(changed)


def mutate_text(data: bytes, rng: random.Random) -> bytes:
    """Put something absurd in place of a number or word."""
    for _ in range(rng.choice((1, 2, 5))):
        found = rng.choice(list(TEXT.finditer(data)))
        data = data[: found.start(1)] + rng.choice(VALUES) + data[found.end(1) :]
    return data


def mutate_elements(data: bytes, rng: random.Random) -> bytes:
    """Drop, repeat or swap an element."""
    for _ in range(rng.choice((1, 2, 4))):
        found, other = rng.choices(list(ELEMENT.finditer(data)), k=2)
        put = rng.choice((b"", found[0] * 2, other[0]))
        data = data[: found.start()] + put + data[found.end() :]
    return data


def survive(name: str, seed: int) -> bool:
    """Whether a mutated file is still read; it must be, or be refused in one line."""
    rng = random.Random(f"{name} {seed}")
    kinds = (mutate_bytes,) if name == "packed" else (mutate_bytes, mutate_text, mutate_elements)
    data = rng.choice(kinds)(FILES[name], rng)
    melody, refusal = None, ""
    try:
        (melody,) = read(data, ReadOptions())
    except InputError as error:
        refusal = str(error)
    if melody is None:
        assert 0 < len(refusal) < 500
        assert "\n" not in refusal
        return False
    assert melody.onset[0] >= 0
    assert (melody.duration > 0).all()
    assert ((melody.pitch >= limits.PITCH_MIN) & (melody.pitch <= limits.PITCH_MAX)).all()
    assert melody.onset[-1] <= limits.TICKS_MAX
    return True


@pytest.mark.parametrize("name", FILES)
def test_mutated_file_is_read_or_refused(name: str):
    outcomes = [survive(name, seed) for seed in range(20)]
    assert not all(outcomes)


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_many_mutated_files_are_read_or_refused(name: str):
    outcomes = [survive(name, seed) for seed in range(20, 320)]
    assert 0 < sum(outcomes) < len(outcomes)

"""Whatever the bytes, an ABC file gives melodies that hold together or one line that says why not, soon."""

from __future__ import annotations

import random
import time

import pytest
from helpers.heard import holds_together, survives
from helpers.places import INPUTS

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.abc.file import split_tunes
from stylemeter.reading.abc.read import read
from stylemeter.reading.intake.options import ReadOptions

FILES = INPUTS / "abc"
HEAD = b"X:1\nM:4/4\nL:1/8\nK:C\n"
#: Seconds of computing after which a file counts as one that hangs; all take a few at most.
SECONDS = 30
MANY = 300_000
WORDS = [bytes([sign]) for sign in b'[]{}()|:"!+<>-/0123456789abcxzZKLMVX&%^_=,\'\\\n'] + [
    b"[K:", b"[M:", b"K:", b"X:2\n", b"(3", b"(9:9:9", b"{^g}", b'"Am"', b"&", b"\n\n", b"\xff", b"\x00",
]  # fmt: skip


def read_plain(data):
    return read(data, ReadOptions())


#: Read in full: what should be passed over in bulk.
BORNE = {
    "10^5 parentheses": HEAD + b"(" * 10**5 + b"c|",
    "closing ones": HEAD + b")" * 10**5 + b"c|",
    "brackets": HEAD + b"[" * MANY + b"c",
    "braces": HEAD + b"{" * MANY + b"c",
    "quotes": HEAD + b'"' * MANY + b"c",
    "exclamation marks": HEAD + b"!" * MANY + b"c",
    "plus signs": HEAD + b"+" * MANY + b"c",
    "tuplets without notes": HEAD + b"(3" * 10**5 + b"c",
    "broken rhythm": HEAD + b"c" + b">" * MANY + b"d",
    "meters": HEAD + b"[M:3/4]" * 50_000 + b"c|",
    "a long title": b"X:1\nT:" + b"a" * 10**7 + b"\nK:C\nc|",
    "a long key": b"X:1\nK:C " + b"a=b " * 10**6 + b"\nc|",
    "a long meter": b"X:1\nM:" + b"1+" * 10**6 + b"1/4\nK:C\nc|",
    "a long tempo": b"X:1\nQ:" + b"1/4 " * 10**6 + b"=120\nK:C\nc|",
}

#: Refused, with what the one line says.
REFUSED = {
    "a giant bar": (HEAD + b"c" * MANY, "longer than 20000 notes"),
    "a giant length": (HEAD + b"c" + b"9" * MANY, "length is absurdly long"),
    "slashes": (HEAD + b"c" + b"/" * MANY, "length is absurdly long"),
    "octave marks": (HEAD + b"c" + b"'" * MANY, "absurdly high or low"),
    "ties": (HEAD + b"c-" * 10**5, "longer than 20000 notes"),
    "bar lines": (HEAD + b"c|" * 10**5, "more than 5000 bars"),
    "bars of rest": (HEAD + b"Z9999|" * 1000, "more than 5000 bars"),
    "a giant rest": (HEAD + b"Z" + b"9" * 5000, "absurdly many bars of rest"),
    "an endless note": (HEAD + b"c9999|" * 1000, "longer than"),
    "voices": (HEAD + b"".join(b"V:%d\nc\n" % i for i in range(20_000)), "more than 64 voices"),
    "a giant tuplet": (HEAD + b"(" + b"9" * 99 + b"c", "an absurd tuplet"),
    "a giant tune": (HEAD + b"y" * 500_000, "a tune of more than 400000 characters"),
    "tunes": (b"X:1\nK:C\nc\n\n" * 20_000, "more than 10000 tunes"),
    "music": ((HEAD + b"[" * 390_000 + b"\n\n") * 20, "too much music"),
    "empty": (b"", "no tune in it"),
    "zeros": (b"\x00" * 10**6, "no tune in it"),
    "noise": (random.Random(1).randbytes(10**6), "no tune in it"),
    "empty lines": (b"\n" * 2**22, "no tune in it"),
    "no notes": (HEAD + b"z8|z8|", "no notes in it"),
    "XML": (b"<?xml version='1.0'?><score-partwise/>", "no tune in it"),
    "a note below MIDI's": (HEAD + b"C,,,,,,|", "outside MIDI's range"),
}


@pytest.mark.parametrize("name", BORNE)
def test_borne(name):
    start = time.process_time()
    holds_together(read_plain(BORNE[name]))
    assert time.process_time() - start < SECONDS


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name):
    data, words = REFUSED[name]
    start = time.process_time()
    with pytest.raises(InputError, match=words) as caught:
        read_plain(data)
    assert time.process_time() - start < SECONDS
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def test_too_many_tunes_is_a_limit():
    with pytest.raises(LimitError):
        split_tunes("X:1\n" * 20_000)


def test_a_large_collection_is_read_whole():
    assert len(read_plain(b"X:1\nK:C\ncdef gabc|\n\n" * 2_000)) == 2_000


def test_one_giant_tune_does_not_take_the_others():
    data = HEAD + b"CDEF|\n\n" + REFUSED["a giant bar"][0] + b"\n\n" + HEAD + b"GABc|\n"
    melodies = read_plain(data)
    assert len(melodies) == 2
    assert any("left out: longer than 20000 notes" in remark for remark in melodies[0].remarks)


def test_remarks_of_many_failures_are_few():
    first, *others = read_plain(HEAD + b"C|\n\n" + b"X:7\nK:nonsense\nC|\n\n" * 300)
    assert not others
    assert sum("left out" in remark for remark in first.remarks) == 6
    assert "295 more tunes left out" in first.remarks


def seeds():
    return [path.read_bytes() for path in sorted(FILES.glob("*.abc"))]


def test_damaged_files():
    good, bad = survives(read_plain, seeds(), WORDS, 60, seed=1)
    assert good > 20
    assert bad > 0


@pytest.mark.slow
def test_many_damaged_files():
    assert sum(survives(read_plain, seeds(), WORDS, 2000, seed=2)) == 2000

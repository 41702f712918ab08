"""Lines of music: clef and signature on each, tablature below the heads, marks of one subject, ties as facts only."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from helpers.pages import take
from helpers.written import written

from stylemeter.features import Base, Line
from stylemeter.music.fingering import fingering
from stylemeter.report.draw.score import NARROW, WIDE, Glyphs, Mark, Shade, score_lines
from stylemeter.report.solo.marks import _figures, _runs, _space

LICK = "C4:1/2 E4:1/2 G4:1 A4:1/2 G4:1/2 E4:1"


def _pictures(melody, **more):
    return [str(line.picture) for line in score_lines(melody, Glyphs(), **more)]


def test_every_line_has_its_clef_and_fills_the_width():
    melody = replace(take(), key=written("D4:1", key="D major").key)
    for width in (WIDE, NARROW):
        pictures = _pictures(melody, width=width)
        assert len(pictures) > 3
        for picture in pictures:
            assert len(re.findall(r'href="#gE05[0-9A-F]"', picture)) == 1  # one G clef
            assert len(re.findall(r'href="#gE262"', picture)) == 2  # F sharp and C sharp
        ends = [float(re.search(r'class="staff-lines" d="M[\d.]+ [\d.]+H([\d.]+)', p)[1]) for p in pictures[:-1]]
        assert max(ends) - min(ends) < 10
        assert abs(ends[0] - width) < 100


def test_bars_follow_each_other_over_the_lines():
    lines = score_lines(take(), Glyphs(), width=NARROW)
    assert [line.bar_from for line in lines[1:]] == [line.bar_to + 1 for line in lines[:-1]]
    assert (lines[0].bar_from, lines[-1].bar_to) == (1, 32)


def test_each_fret_stands_below_its_head():
    melody = take()
    hand = fingering(melody)
    found = 0
    for picture in _pictures(melody):
        heads = dict(re.findall(r'<g data-note="(\d+)"><use href="#gE0A4" x="([\d.]+)"', picture))
        for note, x, fret in re.findall(r'<text data-note="(\d+)" x="(\d+)" y="\d+">(\d+)</text>', picture):
            assert int(fret) == hand.frets[int(note)]
            assert abs(float(heads[note]) + 117 - int(x)) <= 1
            found += 1
    assert found == len(melody)


def test_a_guitar_has_the_clef_an_octave_down():
    high = written("A4:1 C5:1 E5:2", key="A minor")
    assert "gE052" not in "".join(_pictures(high))  # G clef, ottava bassa
    assert "gE052" in "".join(_pictures(replace(high, part="Guitar")))


def test_ties_of_a_guessed_rhythm_are_not_engraved():
    melody = written("D4:3 E4:3 F4:2", key="D minor")
    written_down = "".join(_pictures(melody))
    played = "".join(_pictures(replace(melody, onset_seconds=np.array([0.0, 1.5, 3.0]))))
    assert written_down.count('href="#gE0A') == 4  # E is held across the bar line
    assert played.count('href="#gE0A') == 3
    # and nothing is put in the place of what is left out
    assert played.count('href="#gE4E') == 0


def test_marks_stand_over_their_notes_and_end_open_where_they_go_on():
    melody = take()
    marks = [Mark("runs", 0, 7, "A"), Mark("root", 9, 9), Mark("runs", 8, 60)]
    first, second, *_ = _pictures(melody, marks=marks, shades=[Shade("space", 0, 10080, "air")])
    assert first.count('class="mark on-runs ') == 2
    assert first.count('class="wedge on-root ') == 1
    assert first.count('class="shade on-space air"') == 1
    assert ">A</text>" in first
    brackets = re.findall(r'class="mark on-runs "><path d="([^"]+)"', first)
    assert [d.count("V") for d in brackets] == [2, 1]  # both ends, then the left one
    again = re.findall(r'class="mark on-runs "><path d="([^"]+)"', second)
    assert again[0].count("V") in (0, 1)


def test_a_lick_that_comes_again_has_one_letter_and_a_stroke_where_it_is_moved():
    other = "B4:1/2 F4:1 D5:1/2 C4:3/2 A4:1/2"
    melody = written(f"{LICK} {LICK} {other} D4:1/2 F#4:1/2 A4:1 B4:1/2 A4:1/2 F#4:1", key="C major")
    units = list(_figures(Line(Base(melody))))
    assert [(first, last, label) for first, last, label in sorted(units)] == [(0, 5, "A"), (6, 11, "A"), (17, 22, "A′")]


def test_a_line_without_repeats_has_no_figures():
    melody = written("C4:1 E4:1/2 G4:3/2 B4:1 F4:1/3 A4:2 D4:1/2 C5:3 E4:1/4 B3:1", key="C major")
    assert list(_figures(Line(Base(melody)))) == []


@pytest.mark.parametrize(("text", "units"), [("C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:1/2 C4:1", [(0, 4)]), (LICK, [])])
def test_runs_are_marked_whole(text, units):
    melody = written(text, key="C major")
    assert [(first, last) for first, last, _ in _runs(Line(Base(melody)))] == units


def test_a_stream_is_marked_from_breath_to_breath():
    melody = written(" ".join(["C4:1 D4:1 E4:1 F4:1"] * 5) + " r:1 G4:1 C4:1", key="C major")
    assert [(first, last) for first, last, _ in _space(Line(Base(melody)))] == [(0, 19)]

"""Whole reports of thirty solos: they agree with what a teacher would say, and never say two things that disagree."""

from __future__ import annotations

import re
from functools import cache

import pytest
from helpers.pages import Tree
from helpers.thirty import solos

from stylemeter.analysis import prepare
from stylemeter.practice.findings import KIN
from stylemeter.practice.words import words
from stylemeter.report.solo.page import page_html
from stylemeter.report.solo.terminal import as_text
from stylemeter.style.profile import installed

SOLOS = {solo.name: solo for solo in solos() if solo.style in installed()}
#: Of the thirty, at least so many agree with the sentence written before (habits that the style can't show aside).
AGREE = 0.8


@cache
def _analysis(style):
    return prepare(style)


@cache
def found(name):
    return _analysis(SOLOS[name].style).of(SOLOS[name].melody)


@cache
def said(name):
    """All that is read on the terminal and on the page, white space evened out."""
    terminal = " ".join(as_text(found(name), every=True).split())
    return terminal, Tree(page_html(found(name))).words


def agrees(name):
    solo, first = SOLOS[name], found(name).first
    return first.name in solo.work if first.name else solo.keep


def test_most_are_told_what_a_teacher_would_say():
    apart = {name: found(name).headline for name in SOLOS if not agrees(name)}
    assert len(apart) <= (1 - AGREE) * len(SOLOS), apart


def test_what_is_to_be_kept_gets_no_exercise():
    kept = [name for name, solo in SOLOS.items() if not solo.work]
    assert len(kept) >= 9
    worked = {name: found(name).headline for name in kept if found(name).first.tip}
    assert len(worked) <= 1, worked


@pytest.mark.parametrize("name", list(SOLOS))
def test_no_report_says_two_things_that_disagree(name):
    findings = found(name)
    habits = {h.name: h for h in findings.placement.habits}
    there = {n for n, h in habits.items() if h.verdict in ("shown", "hinted")}
    for text in said(name):
        work, keep = "Work on " in text, "keep this take" in text
        assert not (work and keep)
        assert not (keep and there)
        assert not (work and "Nothing is sure yet" in text)
        # one sentence leads, and it is said of a habit that is there
        assert keep or findings.first.name in there or not findings.first.name
        # chance is told once at the head of the list, not in each row
        assert "may be chance" not in text
        assert not re.search(r"\b0 ?% of the notes are taken", text)
        assert not re.search(r"(?<!\d)100 of 100", text)
        # what hangs on uncertain notes is not worked on
        assert not (work and habits[findings.first.name].unsure)
        for kin in KIN:
            for other in kin & set(habits) if kin & there else ():
                assert not (habits[other].verdict == "none" and words().habits[other].well in text)
        for n, h in habits.items():
            own = words().habits[n]
            assert not (h.verdict in ("shown", "hinted") and own.none.split("{")[0] in text)
    # an exercise stands on the page exactly where a habit is there
    assert bool(re.search(r"\bExercise\b", said(name)[1])) == any(
        h.verdict == "shown" and not h.unsure for h in habits.values()
    )


@pytest.mark.parametrize("name", ["blues with air", "shuffle", "box noodling"])
def test_a_blues_is_not_sent_to_harmonic_minor(name):
    assert "harmonic minor" not in said(name)[1].partition("How do you know?")[0] or name == "box noodling"


def test_a_major_piece_is_not_sent_to_minor_scales():
    for name, solo in SOLOS.items():
        if solo.melody.key.mode == "major":
            first = said(name)[1].partition("How do you know?")[0]
            assert not re.search(r"harmonic minor|natural minor|minor scale", first), name


@pytest.mark.parametrize("name", ["runs", "song", "riff of one note"])
def test_intervals_hold_what_they_are_of(name):
    solo = SOLOS[name]
    findings = prepare(solo.style, uncertain=0.1).of(solo.melody)
    told = [(h.share, h.interval) for h in findings.placement.habits if h.interval]
    told += [(f.percentile, f.interval) for f in findings.placement.features if f.interval]
    assert len(told) > 20
    assert [row for row in told if not row[1][0] - 1e-9 <= row[0] <= row[1][1] + 1e-9] == []
    assert sum(high > low for _, (low, high) in told) > 20

"""The page of one solo: complete, the same every time, safe for any text, and honest where something is unknown."""

from __future__ import annotations

import base64
import csv
import io
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from helpers.pages import FORMULA, HOSTILE, Tree, calibrated, dense, eighths, found, shipped, take
from helpers.places import TESTS
from helpers.written import written

from stylemeter.errors import UsageError
from stylemeter.features import CATALOG, HABITS
from stylemeter.placement.records import Stretch
from stylemeter.practice.words import format_range, format_value, style_words, words
from stylemeter.report.draw import notation
from stylemeter.report.draw.svg import Chart, chart
from stylemeter.report.solo.document import to_document
from stylemeter.report.solo.lesson import window
from stylemeter.report.solo.page import page_html, write_page
from stylemeter.report.solo.spread import habit_spread
from stylemeter.report.solo.terminal import as_text
from stylemeter.report.solo.words import texts
from stylemeter.style.ranks import weighted_quantile

#: The aim for a take of everyday length, and what the longest may weigh.
SIZE, SIZE_MAX = 500_000, 1_000_000


@pytest.fixture(scope="module")
def page():
    return page_html(dense())


@pytest.fixture(scope="module")
def tree(page):
    return Tree(page)


# -- what is there ---------------------------------------------------------------------------------------------------


def test_the_lesson_comes_first_and_the_statistics_are_folded(page):
    there = re.findall(r'<h2 id="([a-z]+)"', page)
    assert there == ["music", "answer", "habits", "traits", "shapes", "styles", "norm", "cautions", "data"]
    order = ["<h1>", 'id="lead"', '<fieldset class="habits"', 'class="staff wide"', 'class="exercise"', 'class="well"']
    places = [
        page.index(part) for part in [*order, '<details class="fold"', '<h2 id="answer"', '<table id="trait-table"']
    ]
    assert places == sorted(places)
    assert '<details class="fold" id="fold">' in page  # closed


def test_the_first_words_are_one_sentence_that_says_what_to_work_on(page):
    said = re.search(r'<p class="lead" id="lead">(.*?)</p>', page)[1]
    assert said.startswith("Work on breaking up the scale runs")
    assert said.count(". ") == 0
    assert said.endswith(".")
    # no statistics among what a pupil reads
    first = Tree(page.partition('<details class="fold"')[0]).words
    assert not re.search(
        r"\bq\b|\bp\b|\bbits?\b|percentile|sha256|%",
        first.replace("100%", "").replace("85%", "").replace("70%", "").replace("50%", ""),
    )


def test_ids_are_unique_and_every_reference_meets_one(tree):
    ids = [a["id"] for _, a in tree.elements if "id" in a]
    assert len(ids) == len(set(ids))
    named = {a["href"][1:] for _, a in tree.elements if a.get("href", "").startswith("#")}
    for _, a in tree.elements:
        named |= set(a.get("aria-labelledby", "").split())
    assert len(named) > 10
    assert named <= set(ids)


def test_nothing_is_loaded_from_elsewhere(page, tree):
    for tag, a in tree.elements:
        for name in ("href", "src", "xlink:href", "action", "data", "poster", "srcset", "style"):
            if name in a:
                assert a[name].startswith(("#", "data:")), (tag, a)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    assert "url(" not in style
    assert "@import" not in style
    assert "default-src 'none'" in tree.all("meta")[2]["content"]


def test_what_was_read_is_told(tree):
    for said in ("Harbour study (invented)", "256 notes", "32 bars of 4/4", "D dorian, given by you"):
        assert said in tree.words, said


def test_the_answer_counts_what_the_document_counts_and_tells_chance_once(tree):
    document = to_document(dense())
    outside = [f for f in document["features"] if f["verdict"] in ("above", "below")]
    measured = [f for f in document["features"] if f["verdict"] != "unmeasured"]
    assert f"{len(outside)} of {len(measured)} measured traits lie outside" in tree.words
    assert f"chance alone would put about {document['expected_by_chance']:.0f} there" in tree.words
    assert len(re.findall(r"chance alone", tree.words)) == 2  # here, and where the norm is told
    clear = sum(f["clear"] for f in outside)
    assert (f"{clear} of them" if clear else texts()["answer.no_clear"]) in tree.words


def test_every_habit_has_a_strip_named_for_those_who_cannot_see_it(tree):
    strips = tree.all("svg", "spread")
    assert [s["aria-label"].partition(":")[0] for s in strips] == [h.title for h in words().habits.values()]
    assert all(s["role"] == "img" for s in strips)
    assert "More of it than in" in strips[0]["aria-label"]
    assert len(tree.all("path", "solo")) >= 6
    # a button each, its hill without words, the first one shown pressed
    assert len(tree.all("svg", "hill-button")) == len(HABITS)
    radios = [a for a in tree.all("input") if a.get("name") == "habit"]
    assert [a["value"] for a in radios] == list(HABITS)
    assert [a["value"] for a in radios if "checked" in a] == [dense().first.name]


def test_percentiles_are_said_as_counts_of_tunes(tree):
    assert re.search(r"[Mm]ore of it than in (\d\d of 100|almost every one of the) old fiddle tunes", tree.words)
    assert "more than 100 of 100" not in tree.words
    assert "(100)" not in tree.words


def test_the_table_holds_every_trait_with_its_numbers(page):
    rows = re.findall(r'<tr role="row" class="row (\w+).*?</tr>', page, re.DOTALL)
    assert len(rows) == len(CATALOG)
    for f in dense().placement.features:
        row = next(r for r in page.split('<tr role="row"') if f"Name in the data: {f.name}." in r)
        assert words().features[f.name].explain.split("'")[0] in row
        shown = re.search(r'<td role="cell" class="solo"[^>]*>([^<]*)<', row)[1]
        # a value just outside takes more decimals: its first ones are the usual ones, rounded
        assert shown == format_value(f.name, f.value) or f.outside
        if f.limits:
            usual = re.search(r'<td role="cell" class="usual"[^>]*>([^<]*)<', row)[1]
            assert usual == format_range(f.name, f.limits.lower, f.limits.upper) or f.outside
            low, high = (end.partition(" ")[0] for end in usual.split(" to "))
            assert shown.partition(" ")[0] != {"below": low, "above": high}.get(f.verdict)
            assert f"Percentile {f.percentile:.1f}, p {f.p:.4f}, q {f.q:.4f}." in row
        else:
            assert f.reason in row.replace("&#39;", "'")


def test_traits_are_grouped_and_what_lies_outside_comes_first(page):
    for body in re.findall(r"<tbody.*?</tbody>", page, re.DOTALL)[: len(words().families)]:
        kinds = re.findall(r'class="row (\w+)', body)
        rank = [0 if k in ("above", "below") else 2 if k == "unmeasured" else 1 for k in kinds]
        assert rank == sorted(rank)


def test_the_norm_names_tunes_families_licences_and_what_was_not_checked(tree):
    profile = shipped()
    said = style_words(profile)
    assert f"{said.who}, in {profile.families} tune families" in tree.words
    assert said.means in tree.words
    for c in profile.origins:
        assert c.licence in tree.words
        assert c.attribution in tree.words
    assert texts()["norm.not_calibrated"] in tree.words


def test_a_calibrated_style_tells_what_was_checked_and_what_it_cannot_show():
    findings = found(profile=calibrated())
    words_there = Tree(page_html(findings)).words
    assert "9 of 100 traits lay outside" in words_there
    assert texts()["norm.can_show"] in words_there
    assert "No air: not measured (old fiddle tunes can hardly show it" in words_there


def test_uncertain_notes_are_told_and_drawn():
    findings = found(uncertain=0.2)
    tree = Tree(page_html(findings))
    assert "20% of the notes are taken as uncertain" in tree.words
    assert "of 100 as the uncertain notes are read this way or that" in tree.words
    assert "are taken as uncertain" not in Tree(page_html(found(uncertain=0.004))).words
    assert len(tree.all("line", "solo-range")) > 20
    assert not Tree(page_html(dense())).all("line", "solo-range")


def test_cautions_close_the_page(tree):
    assert dense().advice.cautions in tree.words


def test_every_text_is_used():
    folder = Path(notation.__file__).parents[1]
    code = "".join(
        p.read_text() for p in [*folder.glob("solo/*.py"), folder / "draw/notation.py", *folder.glob("templates/*")]
    )
    for name in texts():
        section, _, key = name.rpartition(".")
        if section in ("degrees", "degree_signs", "iois", "headings"):
            continue
        spoken = [f"{section}.{key}", f"'{key}'", f'"{key}"', f"text['{name}']"]
        stems = [f"{section}.{{", f"{section}.' ~"]
        assert any(s in code for s in [*spoken, *stems]), name


# -- the same every time ---------------------------------------------------------------------------------------------

_MAKE = """
import sys, hashlib
sys.path.insert(0, sys.argv[1])
from helpers.pages import dense
from stylemeter.report.solo.page import page_html
print(hashlib.sha256(page_html(dense()).encode()).hexdigest())
"""


def test_the_same_bytes_come_out_again_and_in_other_processes(page):
    import hashlib

    assert page_html(dense()) == page
    digests = {hashlib.sha256(page.encode()).hexdigest()}
    for seed in ("1", "77"):
        made = subprocess.run(
            [sys.executable, "-c", _MAKE, str(TESTS)],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        digests.add(made.stdout.strip())
    assert len(digests) == 1


def test_no_ids_of_the_engraver_and_no_version_of_it_are_left(page):
    assert "verovio" not in page.lower()
    kept = re.findall(r'<path id="([^"]+)"', page)
    assert kept
    assert all(re.fullmatch(r"g[0-9A-F]{4}", i) for i in kept)
    assert set(re.findall(r'<use href="#([^"]+)"', page)) <= set(kept)


def test_size(page):
    assert len(page.encode()) < SIZE


def test_a_very_long_solo_stays_within_the_size():
    line = dense().placement.melody
    long = "\n".join(f"{n}" for n in ["D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1/2 D5:1/2"] * 250)
    findings = found(replace(written(long, key="D dorian"), title=line.title))
    page = page_html(findings)
    assert len(findings.placement.melody) == 2000
    assert len(page.encode()) < SIZE_MAX


# -- any text --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hostile():
    melody = take(title=HOSTILE, part=HOSTILE, path=f"/tmp/{FORMULA}/{HOSTILE}.abc").with_remarks(
        HOSTILE, "]]>", "<!--"
    )
    findings = found(melody)
    about = replace(findings.placement.profile.about, style=f"<b onclick=1>{FORMULA}</b>")
    profile = replace(findings.placement.profile, about=about)
    return replace(findings, placement=replace(findings.placement, profile=profile))


def test_hostile_texts_are_shown_and_never_part_of_the_page(hostile):
    page = page_html(hostile)
    tree = Tree(page)
    assert [a.get("type", "") for a in tree.all("script")] == ["application/json", ""]
    assert page.count("<script") == 2
    assert not tree.all("img")
    assert not [a for _, a in tree.elements if any(name.startswith("on") for name in a)]
    assert "<script>window.hacked=1</script>" in tree.words
    assert "{{7*7}}" in tree.words
    assert f"<b onclick=1>{FORMULA}</b>" in tree.words
    # what turns lines or steers a terminal is named, not done
    assert not set("\u202e\x1b") & set(page)
    page.encode("utf-8")


def _inside(page: str, kind: str) -> str:
    links = [a["href"] for a in Tree(page).all("a") if "download" in a and a["href"].startswith(f"data:{kind}")]
    assert len(links) == 1
    return base64.b64decode(links[0].partition("base64,")[2]).decode()


def test_the_data_inside_is_the_document_and_the_table(hostile, page):
    assert json.loads(_inside(page, "application/json")) == json.loads(json.dumps(to_document(dense())))
    document = json.loads(_inside(page_html(hostile), "application/json"))
    assert document["solo"]["title"] == HOSTILE
    rows = list(csv.DictReader(io.StringIO(_inside(page, "text/csv"))))
    assert [r["feature"] for r in rows] == list(CATALOG)
    for row, f in zip(rows, dense().placement.features, strict=True):
        assert (float(row["value"]) if row["value"] else np.nan) == pytest.approx(f.value, rel=1e-9, nan_ok=True)


def test_no_cell_of_the_csv_is_a_formula(hostile):
    melody = replace(hostile.placement.melody, title=FORMULA, part="@SUM(1)", path="+1")
    text = _inside(page_html(replace(hostile, placement=replace(hostile.placement, melody=melody))), "text/csv")
    rows = list(csv.reader(io.StringIO(text)))
    assert len(rows) == len(CATALOG) + 1
    for cell in (cell for row in rows for cell in row):
        numeric = re.fullmatch(r"-?[\d.]+(e-?\d+)?", cell)
        assert numeric or not cell.startswith(("=", "+", "-", "@", "\t")), cell


def test_names_of_downloads_are_plain(hostile):
    names = [a["download"] for a in Tree(page_html(hostile)).all("a") if "download" in a]
    assert len(names) == 2
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{1,90}\.(json|csv)", name) for name in names)


def test_the_terminal_shows_hostile_texts_without_obeying(hostile):
    text = as_text(hostile)
    assert "\\x1b" in text
    assert not set("\x1b\u202e") & set(text)


# -- notation --------------------------------------------------------------------------------------------------------


def test_marked_notes_are_those_that_speak_for_the_habit():
    # bar 1: a run up of eight; bar 2: thirds; only the run is evidence of scale runs
    melody = written("D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1/2 D5:1/2 B4:1/2 G4:1/2 B4:1 G4:2", key="D dorian")
    got = notation.engrave(melody, {0, 1, 9}, {1, 2}, "p", "two bars")
    assert got.text[0].startswith("Bar 1: *D4 1/2, *E4 1/2, F4 1/2")
    assert got.text[1] == "Bar 2: B4 1/2, *G4 1/2, B4 1, G4 2"
    # a drawing a bar, each with its own evidence; one head a note: eight notes and four, none tied
    assert [d.count('class="wedge marked"') for d in got.drawings] == [2, 1]
    assert [len(re.findall(r'class="notehead"', d)) for d in got.drawings] == [8, 4]


def test_the_drawings_of_bars_fit_together():
    melody = written("D4:1 E4:1 F4:1 G4:3 A4:1 B4:1 C5:1 D5:3", key="G major")
    drawings = notation.engrave(melody, (), {1, 2, 3}, "p", "three bars").drawings
    boxes = [[float(v) for v in re.search(r'viewBox="([^"]+)"', d)[1].split()] for d in drawings]
    assert len(boxes) == 3
    for (left, top, wide, high), (after, *others) in pairwise(boxes):
        assert left + wide == after
        assert [others[0], others[2]] == [top, high]
    widths = [float(re.search(r'width="([\d.]+)em"', d)[1]) for d in drawings]
    assert widths == pytest.approx([b[2] / notation.UNITS_AN_EM for b in boxes], abs=1e-3)
    # clef and signature stand in the first only, the number of a bar at each
    assert [d.count('class="clef"') for d in drawings] == [1, 0, 0]
    assert [re.search(r">(\d+)</tspan>", d)[1] for d in drawings] == ["1", "2", "3"]
    # a tie begins in its own bar and reaches into the next one
    assert [d.count('class="tie"') for d in drawings] == [1, 0, 0]


def test_wedges_stand_below_their_heads_and_below_every_staff_of_their_system():
    melody = written("D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1/2 D5:1/2", key="D dorian")
    (picture,) = notation.engrave(melody, {2}, {1}, "p", "a bar").drawings
    head = re.search(r'class="note marked".*?translate\((\d+), (\d+)\)', picture)
    wedge = [float(v) for v in re.findall(r"[\d.]+", re.search(r'wedge marked"><polygon points="([^"]+)', picture)[1])]
    assert abs(wedge[0] - float(head[1]) - 100) < 1
    lines = [int(y) for y in re.findall(r'd="M\d+ (\d+) L\d+ \d+" stroke-width="13"', picture)]
    assert min(wedge[1::2]) > max(lines)
    assert min(wedge[1::2]) > int(head[2])


def test_signs_of_chords_are_those_of_any_font():
    melody = written("C4:1 D4:1 E4:1 F4:1", chords="0:Bb7 2:C#m7", key="F major")
    (picture,) = notation.engrave(melody, (), {1}, "p", "a bar").drawings
    said = "".join(re.findall(r">([^<>]+)</tspan>", picture))
    assert "B♭7" in said
    assert not [c for c in picture if "\ue000" <= c <= "\uf8ff"]


def test_without_the_engraver_the_bars_stand_as_text(monkeypatch):
    monkeypatch.setitem(sys.modules, "verovio", None)
    notation.engraver.cache_clear()
    try:
        page = page_html(dense())
    finally:
        notation.engraver.cache_clear()
    tree = Tree(page)
    assert texts()["music.not_drawn"] in tree.words
    assert not tree.all("svg", "line")
    assert all("open" in a for a in tree.all("details", "as-text"))
    assert re.search(r"Bar \d+: [A-G]\d 1/2", tree.words)


def test_too_many_notes_for_a_picture_stand_as_text():
    melody = written(" ".join(["D4:1/32 E4:1/32"] * 200), key="D dorian")
    got = notation.engrave(melody, {0}, {1, 2, 3, 4}, "p", "a bar")
    assert not got.drawings
    assert got.reason == texts()["flagged.too_dense"]
    assert got.text


@pytest.mark.parametrize(("evidence", "first"), [([20, 21, 22], 15), ([0], 1), ([255], 25)])
def test_a_long_stretch_is_cut_to_the_bars_with_most_evidence(evidence, first):
    melody = take()
    notes = [i for bar in evidence for i in np.flatnonzero(melody.bar == bar).tolist()] or [evidence[0]]
    bars = window(melody, Stretch(1, 32, tuple(range(1, 257))), notes)
    assert len(bars) == 8
    assert bars[0] == first
    assert all(bars[0] <= melody.bar[i] <= bars[-1] for i in notes)


# -- numbers of the plots --------------------------------------------------------------------------------------------


def test_bars_of_a_chart_are_as_high_as_their_shares():
    picture = chart(Chart((0.5, 0.25, 0.0), (0.2, 0.3, 0.5), {0: "a"}, "cells"), "named")
    heights = {
        kind: [float(h) for h in re.findall(rf'height="([\d.]+)" class="{kind}"', picture)] for kind in ("bar", "style")
    }
    assert heights["bar"][0] / heights["bar"][1] == pytest.approx(2, rel=0.001)
    assert len(heights["bar"]) == 2  # nothing is drawn for a share of 0
    assert heights["style"][2] == heights["bar"][0]
    assert [h / heights["style"][0] for h in heights["style"]] == pytest.approx([1, 1.5, 2.5], abs=0.01)


def test_the_hill_shows_the_samples_own_quantiles():
    findings = found(take("dense"))
    placed = findings.placement
    h = placed.habits[0]
    (notes, share), *others = placed.plan.rungs
    assert (share, others) == (1.0, [])
    sample = placed.profile.rung(notes).ordered(f"habit:{h.name}")
    weight = np.diff(sample.cumulative)
    low, high, middle = weighted_quantile(sample.values, weight, [0.05, 0.95, 0.5])
    spread = habit_spread(placed, h)
    assert spread.norm == pytest.approx((low, high), abs=1e-6)
    assert (spread.low + spread.high) / 2 == pytest.approx(middle, abs=1e-6)
    assert spread.solo == h.statistic
    assert max(spread.density) == 1
    assert spread.low < spread.solo < spread.high


# -- what is unknown -------------------------------------------------------------------------------------------------


def test_a_take_too_short_to_measure_says_so():
    findings = found(take("short"))
    tree = Tree(page_html(findings))
    assert "nothing can be said of this take" in tree.words
    assert not tree.all("p", "exercise")


def test_a_style_with_too_few_families_is_told_as_such():
    profile = shipped()
    few = replace(profile.about, rungs=tuple(replace(size, families=20) for size in profile.about.rungs))
    findings = found(profile=replace(profile, about=few, _rungs={}))
    assert findings.placement.plan is None
    tree = Tree(page_html(findings))
    assert "not possible" in tree.words
    assert "tune families" in tree.words
    assert not tree.all("svg", "spread")


def test_a_take_without_any_habit_is_kept_and_gets_no_exercise():
    lines = ["AA:dAfAdA BdAFEEDE FFAFdFAF EFGECEGE", "A:dAfAdA BdAFE:DE FAdfecAc d:dcd:::"]
    findings = found(written(eighths("".join(lines)), key="D major"))
    assert {h.verdict for h in findings.placement.habits} <= {"none", "unmeasured"}
    tree = Tree(page_html(findings))
    assert "keep this take" in tree.words
    assert not tree.all("p", "exercise")
    assert not [a for a in tree.all("input") if a.get("name") == "habit" and "checked" in a]
    assert texts()["well.heading"] in tree.words


def test_without_key_and_durations_the_page_says_what_is_missing():
    notes = " ".join(["D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1/2 D5:1/2"] * 8)
    tree = Tree(page_html(found(written(notes, key=None, timed=False))))
    assert texts()["read.no_key"] in tree.words
    assert "Hung on the root: not measured" in tree.words
    assert texts()["music.guessed"] in tree.words


def test_a_folder_that_is_not_there_is_one_line(tmp_path):
    with pytest.raises(UsageError, match="can't be written"):
        write_page(dense(), tmp_path / "nowhere" / "page.html")


def test_written_is_what_was_made(tmp_path, page):
    write_page(dense(), tmp_path / "page.html")
    assert (tmp_path / "page.html").read_bytes() == page.encode()


def test_all_habits_are_known_to_the_page(tree):
    there = {a["id"].removeprefix("habit-") for _, a in tree.elements if a.get("id", "").startswith("habit-")}
    assert there == set(HABITS)

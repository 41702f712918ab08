"""The main job from the command line: answers, schema, exit codes, one line an error."""

import json
import os
import re
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from helpers.places import ROOT

from stylemeter.cli import main

TAKE_1 = ROOT / "corpus" / "evening-class" / "take-1.musicxml"
TAKE_2 = ROOT / "corpus" / "evening-class" / "take-2.musicxml"
SCHEMA = json.loads((files("stylemeter") / "schema" / "placement-1.json").read_text())


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)

    def call(*arguments, data=None):
        return CliRunner().invoke(main, [str(a) for a in arguments], input=data, catch_exceptions=False)

    return call


def documents(result):
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_the_readme_shows_what_is_printed(run):
    sample = (ROOT / "README.md").read_text(encoding="utf-8").partition("```text\n")[2].partition("```")[0]
    printed = run("place", TAKE_1, "--profile", "pop-songs").stdout
    assert sample == printed


@pytest.mark.parametrize("take", [TAKE_1, TAKE_2])
def test_a_take_is_told_on_one_screen(run, take):
    printed = run("place", take, "--profile", "pop-songs").stdout.splitlines()
    assert len(printed) < 40
    assert all(len(line) <= 80 for line in printed)
    # no row twice
    told = [line for line in printed if line.strip()]
    assert len(told) == len(set(told))


def test_the_demo_takes_are_told_apart(run):
    result = run("place", TAKE_1, TAKE_2, "--profile", "old-fiddle-tunes", "--json")
    assert result.exit_code == 0
    first, second = documents(result)
    for document in (first, second):
        jsonschema.validate(document, SCHEMA)
    verdicts = [{h["name"]: h["verdict"] for h in d["habits"]} for d in (first, second)]
    assert [verdicts[0][h] for h in ("runs", "stepwise", "rhythm")] == ["shown"] * 3
    assert not {"shown", "hinted"} & set(verdicts[1].values())
    runs = next(h for h in first["habits"] if h["name"] == "runs")
    assert runs["evidence"]
    assert runs["change"]["checked"]
    assert runs["advice"]["basis"] == "common practice, no source"
    outside = [f for f in first["features"] if f["verdict"] in ("below", "above")]
    assert 5 <= len(outside) <= 25
    assert all(f["q"] >= f["p"] for f in first["features"] if f["p"] is not None)
    assert all(f["reason"] for f in first["features"] if f["verdict"] == "unmeasured")


def test_same_bytes_out(run):
    again = [run("place", TAKE_1, "--profile", "old-fiddle-tunes", "--json").stdout for _ in range(2)]
    assert again[0] == again[1]


def test_the_terminal_report_fits_and_is_plain_through_a_pipe(run):
    result = run("place", TAKE_1, "--profile", "old-fiddle-tunes", "--all")
    assert result.exit_code == 0
    assert "\x1b" not in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "break" in result.stdout or "turn the line" in result.stdout
    assert "health professional" in result.stdout


def test_csv_has_a_row_a_feature(run):
    import pandas as pd

    result = run("place", TAKE_1, "--profile", "old-fiddle-tunes", "--csv")
    (Path("out.csv")).write_text(result.stdout)
    table = pd.read_csv("out.csv")
    from stylemeter.features import CATALOG

    assert table.feature.tolist() == list(CATALOG)
    assert set(table.verdict) <= {"below", "within", "above", "unmeasured"}


def test_without_a_profile_the_most_typical_style_is_chosen_and_told(run):
    result = run("place", TAKE_2, "--json")
    assert result.exit_code == 0
    [document] = documents(result)
    assert document["profile"]["name"] == document["styles"][0]["profile"]
    assert "whom do you want to sound like? --profile" in result.stderr


def test_standard_input(run):
    result = run(
        "place", "-", "--format", "musicxml", "--profile", "old-fiddle-tunes", "--json", data=TAKE_1.read_bytes()
    )
    assert result.exit_code == 0
    assert documents(result)[0]["solo"]["notes"] == 122


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--profile", "nobody"], "no profile 'nobody'; there is: "),
        (["--profile", "old-fiddle-tunes", "--part", "Flute"], "Lead guitar"),
        (["--profile", "old-fiddle-tunes", "--key", "H moll"], "is not a key"),
        (["--profile", "old-fiddle-tunes", "--meter", "4/5"], "4/5"),
        (["--profile", "old-fiddle-tunes", "--format", "gif"], "abc"),
        (["--profile", "old-fiddle-tunes", "--advice", "nowhere.toml"], "nowhere.toml"),
        (["--profile", "old-fiddle-tunes", "--coverage", "2"], "0.5 to 0.99"),
        (["--profile", "old-fiddle-tunes", "--uncertain-notes", "0.9"], "0 to 0.5"),
    ],
)
def test_usage_errors_are_one_line_and_exit_2(run, arguments, said):
    result = run("place", TAKE_1, *arguments)
    assert result.exit_code == 2
    [line] = result.stderr.splitlines()
    assert said in line
    assert result.stdout == ""


def bad_inputs(folder):
    (folder / "empty.musicxml").write_bytes(b"")
    (folder / "random.mid").write_bytes(bytes(range(7, 207)) * 5)
    (folder / "cut.musicxml").write_bytes(TAKE_1.read_bytes()[:3000])
    (folder / "rests.abc").write_text("X:1\nT:Nothing\nM:4/4\nL:1/4\nK:C\nz4|z4|\n")
    (folder / "hollow").mkdir()
    return [
        folder / name for name in ("empty.musicxml", "random.mid", "cut.musicxml", "rests.abc", "hollow", "gone.mid")
    ]


def test_bad_inputs_are_one_line_each_and_the_others_are_placed(run, tmp_path):
    bad = bad_inputs(tmp_path)
    result = run("place", *bad, TAKE_1, "--profile", "old-fiddle-tunes", "--json")
    assert result.exit_code == 3
    assert len(documents(result)) == 1
    lines = result.stderr.splitlines()
    assert len(lines) == len(bad)
    for path, line in zip(bad, lines, strict=True):
        assert path.name in line
        assert "Traceback" not in line


def test_nothing_readable_exits_4(run, tmp_path):
    result = run("place", *bad_inputs(tmp_path)[:3], "--profile", "old-fiddle-tunes")
    assert result.exit_code == 4


def test_one_note_is_placed_as_unmeasured_with_the_reason(run, tmp_path):
    (tmp_path / "one.abc").write_text("X:1\nT:One\nM:4/4\nL:1/4\nK:C\nC|\n")
    result = run("place", tmp_path / "one.abc", "--profile", "old-fiddle-tunes", "--json")
    assert result.exit_code == 0
    [document] = documents(result)
    jsonschema.validate(document, SCHEMA)
    assert {f["verdict"] for f in document["features"]} == {"unmeasured"}
    assert {h["verdict"] for h in document["habits"]} == {"unmeasured"}
    assert any("fewer than 12 notes" in f["reason"] for f in document["features"])


def test_no_key_and_no_durations(run, tmp_path):
    rows = ["onset,pitch"] + [f"{i},{60 + (i * 5) % 7}" for i in range(40)]
    (tmp_path / "bare.csv").write_text("\n".join(rows) + "\n")
    result = run("place", tmp_path / "bare.csv", "--profile", "old-fiddle-tunes", "--json")
    assert result.exit_code == 0
    [document] = documents(result)
    reasons = {f["name"]: f["reason"] for f in document["features"]}
    assert "durations" in reasons["rest_fraction"]
    given = run("place", tmp_path / "bare.csv", "--profile", "old-fiddle-tunes", "--json", "--key", "C major")
    assert documents(given)[0]["solo"]["key"]["source"] == "given"


def test_uncertain_notes_give_intervals(run):
    result = run("place", TAKE_1, "--profile", "old-fiddle-tunes", "--json", "--uncertain-notes", "0.1")
    [document] = documents(result)
    jsonschema.validate(document, SCHEMA)
    runs = next(h for h in document["habits"] if h["name"] == "runs")
    low, high = runs["interval"]
    assert 0 <= low <= high <= 1
    assert any(f["interval"] for f in document["features"])


def test_place_does_not_import_what_is_costly(run, tmp_path):
    # a fresh interpreter: what `place --json` imports is what counts
    import subprocess
    import sys

    code = (
        "import sys; from stylemeter.cli import main\n"
        f"try: main(['place', {str(TAKE_1)!r}, '--profile', 'old-fiddle-tunes', '--json'])\n"
        "except SystemExit: pass\n"
        "heavy = {'music21', 'scipy.stats', 'sklearn', 'pandas', 'matplotlib', 'verovio'} & set(sys.modules)\n"
        "sys.stderr.write(' '.join(sorted(heavy)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=os.environ.copy()
    )
    assert done.stderr == ""


def abc(folder, name, body, meter="4/4"):
    path = folder / name
    path.write_text(f"X:1\nT:{name} (invented)\nM:{meter}\nL:1/8\nK:C\n{body}\n")
    return path


def test_a_take_too_short_sends_nobody_to_another_style(run, tmp_path):
    said = run("place", abc(tmp_path, "one.abc", "C8|]"), "--profile", "pop-songs").stdout
    assert "1 note, 1 bar of 4/4" in said
    assert "Against pop songs nothing can be said of this take: fewer than 12 notes." in said
    said = run("place", tmp_path / "one.abc", "--profile", "pop-songs", "--all").stdout
    assert "Scale runs: not measured (fewer than 12 notes).\n" in said
    assert " can." not in said


def test_a_style_that_cannot_show_a_habit_names_those_that_can(run, tmp_path):
    runs = abc(tmp_path, "runs.abc", "CDEF GABc|cBAG FEDC|CDEF GABc|cBAG FEDC|]")
    said = " ".join(run("place", runs, "--profile", "pop-songs", "--all").stdout.split())
    assert re.search(r"it was seen in \d\d? of 100\)\. jazz-age-songs, old-fiddle-tunes can\.", said)


def test_nothing_that_goes_on_looks_like_a_family_of_traits(run):
    lines = run("place", TAKE_1, "--profile", "pop-songs", "--all").stdout.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("  change of notes along the"))
    assert lines[at + 1].startswith("    way ")
    styles = lines[next(i for i, line in enumerate(lines) if line.startswith("How typical")) + 2 :]
    listed = styles[: styles.index("")]
    assert all(line.startswith("  ") and len(line) <= 80 for line in listed)


def test_percentiles_stay_within_a_hundred(run):
    [document] = documents(run("place", TAKE_1, "--profile", "pop-songs", "--json"))
    jsonschema.validate(document, SCHEMA)
    told = [f["percentile"] for f in document["features"] if f["percentile"] is not None]
    assert max(told) == 100


def test_plain_text_is_plain_whatever_the_environment_says_of_colour(run, monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b" not in run("place", TAKE_1, "--profile", "pop-songs").stdout
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b" not in run("place", TAKE_1, "--profile", "pop-songs").stdout


def test_one_trait_lies_where_two_lie(run, tmp_path):
    rows = (
        "0,0.25,74 0.25,1,76 1.25,1,77 2.25,0.5,76 2.75,0.5,77 3.25,0.5,77 3.75,0.5,77 4.25,0.25,72 4.5,1,72 "
        "5.5,1,74 6.5,1.5,71 8.0,0.5,77 8.5,0.5,77 9.0,0.5,74 9.5,0.25,72 9.75,1.5,72"
    )
    (tmp_path / "tune.csv").write_text("onset,duration,midi\n" + rows.replace(" ", "\n") + "\n")
    said = run("place", tmp_path / "tune.csv", "--profile", "pop-songs", "--all", "--coverage", "0.92").stdout
    assert re.search(r"\b1 of \d+ measured traits lies outside", " ".join(said.split()))


@pytest.mark.parametrize(
    "arguments",
    [
        ("features", TAKE_1, "--out"),
        ("features", TAKE_1, "--format", "json", "--out"),
        ("features", TAKE_1, "--format", "parquet", "--out"),
        ("features", "--list", "--out"),
        ("notes", TAKE_1, "--out"),
        ("notes", TAKE_1, "--format", "midi", "--out"),
        ("place", TAKE_1, "--profile", "pop-songs", "--report"),
    ],
)
def test_a_result_that_cannot_be_written_is_one_line_and_exit_2(run, tmp_path, arguments):
    result = run(*arguments, tmp_path / "nowhere" / "result")
    assert result.exit_code == 2
    assert "nowhere/result: can't be written (" in result.stderr.splitlines()[-1]
    assert "name a file in a folder that is there" in result.stderr
    assert run(*arguments, tmp_path / "result").exit_code == 0
    assert (tmp_path / "result").stat().st_size
    assert [p.name for p in tmp_path.glob(".*")] == []


def test_a_pipe_named_as_the_result_takes_it_and_stays_a_pipe(run, tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    end = os.open(pipe, os.O_RDWR | os.O_NONBLOCK)
    try:
        assert run("features", TAKE_1, "--out", pipe).exit_code == 0
        assert os.read(end, 10) == b"solo,title"
    finally:
        os.close(end)
    assert pipe.is_fifo()


def test_several_solos_take_a_line_each_and_each_is_told_whole_where_asked(run, tmp_path):
    folder = tmp_path / "takes"
    folder.mkdir()
    for name in ("a.abc", "b.abc"):
        abc(folder, name, "CDEF GABc|cBAG FEDC|]")
    for arguments in ([folder], [folder / "a.abc", folder / "b.abc"]):
        result = run("place", *arguments, "--profile", "pop-songs")
        lines = result.stdout.splitlines()
        assert [line.split()[0] for line in lines] == ["a.abc", "b.abc"]
        assert all("breaking up the scale runs" in line and len(line) <= 80 for line in lines)
        assert "--each" in result.stderr
        whole = run("place", *arguments, "--profile", "pop-songs", "--each").stdout
        assert whole.splitlines().count("=" * 80) == 1
    assert "=" * 80 not in run("place", folder / "a.abc", "--profile", "pop-songs").stdout
    assert "Work on" in run("place", folder / "a.abc", "--profile", "pop songs").stdout


def test_chords_a_style_has_none_for_are_said_once(run, tmp_path):
    takes = [abc(tmp_path, name, "CDEF GABc|cBAG FEDC|]") for name in ("a.abc", "b.abc")]
    said = run("place", *takes, "--profile", "old-fiddle-tunes", "--chords", "C | G7 |").stderr
    assert said.count("have no chords") == 1
    assert "no chords" not in run("place", *takes, "--profile", "old-fiddle-tunes").stderr
    assert "no chords" not in run("place", *takes, "--profile", "jazz-age-songs", "--chords", "C | G7 |").stderr


def test_no_style_is_called_most_typical_where_that_cannot_be_told(run, tmp_path):
    said = run("place", abc(tmp_path, "one.abc", "C8|]")).stderr
    assert "which style is most typical can't be told; whom do you want to sound like? --profile" in said

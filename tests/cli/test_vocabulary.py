"""stylemeter vocabulary, compare, and groups in features, from the command line."""

import csv
import io
import json

import pandas as pd
import pytest
from click.testing import CliRunner
from helpers.places import ROOT

from stylemeter.cli import main

DEMO = ROOT / "corpus" / "evening-class"
TAKE_1 = DEMO / "take-1.musicxml"
SCALE = "CDEFGABcdefg"


def tune(seed, notes=40):
    import numpy as np

    rng = np.random.default_rng(seed)
    at, body = 5, []
    for i in range(notes):
        at = int(np.clip(at + rng.choice([-3, -2, -1, -1, 1, 1, 2, 4]), 0, 11))
        body.append(SCALE[at] + rng.choice(["", "", "2"]) + ("|" if i % 8 == 7 else ""))
    return f"X:1\nT:Tune {seed}\nM:4/4\nL:1/8\nK:C\n{''.join(body)}|\n\n"


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    for name, first in (("one", 0), ("two", 100)):
        (tmp_path / "both" / name).mkdir(parents=True)
        (tmp_path / name).symlink_to(tmp_path / "both" / name)
        for seed in range(45 if name == "one" else 12):
            (tmp_path / name / f"{name}{seed:02}.abc").write_text(tune(first + seed))

    def call(*arguments):
        return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)

    return call


@pytest.fixture
def fitted(run):
    assert run("fit", "one", "--name", "one").exit_code == 0
    return run


def rows(result):
    return list(csv.DictReader(io.StringIO(result.stdout)))


def test_plain_counts(run):
    result = run("vocabulary", "one", "--counts", "--length", "3", "--csv")
    assert result.exit_code == 0
    assert result.stdout.startswith("intervals,count,solos\n")
    found = rows(result)
    assert [int(r["count"]) for r in found] == sorted((int(r["count"]) for r in found), reverse=True)
    assert sum(int(r["count"]) for r in found) == 45 * 37
    assert all(len(r["intervals"].split()) == 3 and int(r["solos"]) <= int(r["count"]) for r in found)
    least = rows(run("vocabulary", "one", "--counts", "--length", "3", "--least", "5", "--csv"))
    assert least == [r for r in found if int(r["count"]) >= 5]
    lines = run("vocabulary", "one", "--counts", "--length", "3", "--json").stdout.splitlines()
    assert json.loads(lines[0]) == {
        "intervals": found[0]["intervals"],
        "count": int(found[0]["count"]),
        "solos": int(found[0]["solos"]),
    }
    assert "more: --csv prints all of them" in run("vocabulary", "one", "--counts", "--length", "3").stdout


def test_a_take_against_a_style_in_every_form(fitted, tmp_path):
    shown = fitted("vocabulary", TAKE_1, "--profile", "one")
    assert shown.exit_code == 0
    assert "D E F G" in shown.stdout
    assert max(map(len, shown.stdout.splitlines())) <= 80
    document = json.loads(fitted("vocabulary", TAKE_1, "--profile", "one", "--json").stdout)
    [take] = document["takes"]
    assert document["schema"] == "stylemeter/vocabulary-of-take/1"
    assert take["solo"]["notes"] == 122
    assert {f["kind"] for f in take["figures"]} == {"intervals", "rhythm", "degrees"}
    figure = max(take["figures"], key=lambda f: f["count"])
    assert len(figure["places"]) == figure["count"]
    flat = rows(fitted("vocabulary", TAKE_1, "--profile", "one", "--csv"))
    assert len(flat) == len(take["figures"]) + len(take["missed"])
    assert fitted("vocabulary", TAKE_1, "--profile", "one", "--parquet", "v.parquet").stdout == ""
    assert len(pd.read_parquet(tmp_path / "v.parquet")) == len(flat)
    page = tmp_path / "v.html"
    assert fitted("vocabulary", DEMO, "--profile", "one", "--report", page).exit_code == 0
    text = page.read_text()
    assert text.count("<script") == 2  # what the buttons play, and what plays it
    assert text.count('class="play"') >= 2
    assert "Content-Security-Policy" in text
    assert text.count("<article") >= 2
    fitted("vocabulary", DEMO, "--profile", "one", "--report", tmp_path / "again.html")
    assert (tmp_path / "again.html").read_text() == text


def test_without_a_style_favourites_are_told(run):
    result = run("vocabulary", DEMO)
    assert result.exit_code == 0
    assert "Comes back:" in result.stdout
    assert "Between the takes" in result.stdout


def test_what_doesnt_go_together_is_one_line(run, tmp_path):
    for arguments in (
        ("vocabulary", "one", "--json", "--csv"),
        ("vocabulary", "one", "--counts", "--profile", "x"),
        ("vocabulary", "one", "--by", "player"),
        ("compare", "one"),
        ("compare", "one", "nowhere"),
        ("compare", "one", "two", "--by", "folder"),
        ("compare", "both", "--by", "folder", "--only", "three"),
        ("compare", "one", "two", "--notes", "41"),
        ("features", "one", "--by", "player"),
    ):
        result = run(*arguments)
        assert result.exit_code == 2, arguments
        assert result.stderr.count("\n") == 1, arguments
    assert run("vocabulary", "nowhere.mid").exit_code == 4


def test_a_style_of_an_earlier_version_says_how_to_get_a_vocabulary(fitted, tmp_path):
    (tmp_path / "home" / "profiles" / "one" / "vocabulary.parquet").unlink()
    result = fitted("vocabulary", TAKE_1, "--profile", "one")
    assert result.exit_code == 2
    assert "fit it anew" in result.stderr
    # what doesn't need it works
    assert fitted("place", TAKE_1, "--profile", "one", "--json").exit_code == 0
    assert fitted("compare", "one", "two").exit_code == 0


def test_two_folders_in_every_form(fitted, tmp_path):
    shown = fitted("compare", "one", "two", "--report", "c.html")
    assert shown.exit_code == 0
    assert "What a listener would hear first" in shown.stdout
    assert max(map(len, shown.stdout.splitlines())) <= 80
    document = json.loads(fitted("compare", "one", "two", "--json").stdout)
    assert document["schema"] == "stylemeter/comparison/1"
    assert document["a"] == {"name": "one", "tunes": 45, "families": 45}
    step = next(t for t in document["features"] if t["name"] == "step_share")
    low, high = step["cliffs_delta_interval"]
    assert low <= step["cliffs_delta"] <= high
    flat = rows(fitted("compare", "one", "two", "--csv", "--parquet", "c.parquet"))
    assert len(flat) == len(pd.read_parquet(tmp_path / "c.parquet"))
    assert {r["what"] for r in flat} >= {"feature", "distribution"}
    # a fitted style beside a folder: the same tunes give the same traits
    style = json.loads(fitted("compare", tmp_path / "home" / "profiles" / "one", "two", "--json").stdout)
    again = next(t for t in style["features"] if t["name"] == "step_share")
    assert again["median"] == pytest.approx(step["median"], abs=1e-6)
    assert again["cliffs_delta"] == pytest.approx(step["cliffs_delta"], abs=1e-6)
    assert (tmp_path / "c.html").read_text().count("<svg") > 20


def test_groups_by_folder_and_by_a_table(run, tmp_path):
    found = rows(run("features", "one", "two", "--by", "folder"))
    assert [(r["folder"], r["solos"]) for r in found] == [("one", "45"), ("two", "12")]
    single = pd.read_csv(io.StringIO(run("features", "two").stdout))
    assert float(found[1]["step_share"]) == pytest.approx(single.step_share.median())
    table = tmp_path / "meta.csv"
    table.write_text("solo,player,notes\n" + "".join(f"two{i:02},{'kv' if i % 2 else 'al'},{i}\n" for i in range(11)))
    flat = rows(run("features", "two", "--metadata", table))
    assert [r["player"] for r in flat[:2]] == ["al", "kv"]
    assert flat[3]["metadata_notes"] == "3"
    assert flat[11]["player"] == ""
    groups = run("vocabulary", "two", "--by", "player", "--metadata", table, "--json").stdout.splitlines()
    assert [json.loads(g)["group"] for g in groups] == ["(not known)", "al", "kv"]
    counts = rows(run("vocabulary", "two", "--counts", "--by", "player", "--metadata", table, "--csv"))
    assert list(counts[0]) == ["player", "intervals", "count", "solos"]
    both = run("compare", "two", "--by", "player", "--metadata", table, "--json")
    assert "1 of 12 files left out" in both.stderr
    [document] = [json.loads(line) for line in both.stdout.splitlines()]
    assert (document["a"]["name"], document["b"]["name"]) == ("al", "kv")
    folders = run("compare", "both", "--by", "folder", "--json").stdout.splitlines()
    assert len(folders) == 1

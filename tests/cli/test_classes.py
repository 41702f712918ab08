"""Batch and progress from the command line: answers, exit codes, 80 columns, and a run killed in the middle."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import unicodedata

import pytest
from click.testing import CliRunner
from helpers.class_files import HOSTILE, PROFILE, TAKES, abc, small_class

from stylemeter.cli import main
from stylemeter.practice.words import words

TAKE_1, TAKE_2 = TAKES / "take-1.musicxml", TAKES / "take-2.musicxml"


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)

    return call


def is_plain(text):
    return not any(unicodedata.category(sign) in ("Cc", "Cf") for sign in text.replace("\n", ""))


# -- batch -----------------------------------------------------------------------------------------------------------


def test_batch_prints_a_table_and_writes_the_overview(run, tmp_path):
    folder = small_class(tmp_path / "class", 3)
    (folder / "noise.mid").write_bytes(b"noise")
    result = run("batch", "class", "--profile", PROFILE, "--out", "out")
    assert result.exit_code == 3
    [line] = result.stderr.splitlines()
    assert "noise.mid" in line
    assert is_plain(result.stdout)
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert "3 solos, 3 placed now -> out/index.html" in result.stdout
    assert {"index.html", "class.csv", "class.parquet", "class.json"} <= {p.name for p in (tmp_path / "out").iterdir()}
    assert "0 placed now" in run("batch", "class", "--profile", PROFILE, "--out", "out").stdout


def test_batch_of_nothing_readable_exits_4_and_says_why_in_the_overview(run, tmp_path):
    (tmp_path / "class").mkdir()
    (tmp_path / "class" / "noise.mid").write_bytes(b"noise")
    result = run("batch", "class", "--profile", PROFILE, "--out", "out")
    assert result.exit_code == 4
    assert "noise.mid" in (tmp_path / "out" / "index.html").read_text()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--profile", "nobody"], "no profile 'nobody'"),
        (["--profile", PROFILE, "--coverage", "2"], "0.5 to 0.99"),
        (["--profile", PROFILE, "--advice", "nowhere.toml"], "nowhere.toml"),
        (["--profile", PROFILE, "--key", "H moll"], "is not a key"),
        (["--profile", PROFILE, "--out", "class"], "holds other files"),
    ],
)
def test_batch_usage_errors_are_one_line_and_exit_2(run, tmp_path, more, said):
    small_class(tmp_path / "class", 1)
    out = [] if "--out" in more else ["--out", "out"]
    result = run("batch", "class", *more, *out)
    assert result.exit_code == 2
    [line] = result.stderr.splitlines()
    assert said in line


def start(folder, out, workers, cache):
    command = [sys.executable, "-c", "from stylemeter.cli import main; main()", "batch", str(folder)]
    command += ["--profile", PROFILE, "--out", str(out), "--workers", str(workers)]
    environment = {**os.environ, "STYLEMETER_CACHE": str(cache), "STYLEMETER_HOME": str(cache)}
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def lines_of(out):
    ledger = out / "records" / "ledger.jsonl"
    return ledger.read_text().splitlines() if ledger.is_file() else []


@pytest.mark.parametrize("workers", [1, 2])
def test_killed_in_the_middle_nothing_is_lost_and_nothing_done_twice(tmp_path, workers):
    folder = small_class(tmp_path / "class", 12)
    out = tmp_path / "out"
    killed = start(folder, out, workers, tmp_path / "cache")
    patience = time.monotonic() + 60
    while len(lines_of(out)) < 4 and killed.poll() is None and time.monotonic() < patience:
        time.sleep(0.01)
    os.kill(killed.pid, signal.SIGKILL)
    # the pipes close only once workers have gone too: without their parent they end at once
    killed.communicate(timeout=20)
    assert killed.returncode == -signal.SIGKILL
    done = {json.loads(line)["name"] for line in lines_of(out)}
    assert 4 <= len(done) < 12
    pages = {name: (out / "pages" / f"{name}.html").stat() for name in done}
    again = start(folder, out, workers, tmp_path / "cache")
    said, told = again.communicate(timeout=120)
    assert (again.returncode, told) == (0, "")
    assert f"12 solos, {12 - len(done)} placed now" in said
    assert len(lines_of(out)) == 12
    for name, before in pages.items():
        after = (out / "pages" / f"{name}.html").stat()
        assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert not list(out.rglob("*.part"))


# -- progress --------------------------------------------------------------------------------------------------------


def test_two_takes_show_a_way_and_are_said_to_be_too_few(run, tmp_path):
    result = run("progress", TAKE_2, TAKE_1, "--profile", PROFILE, "--json")
    assert result.exit_code == 0
    document = json.loads(result.stdout)
    assert [t["path"].rpartition("/")[2] for t in document["takes"]] == ["take-1.musicxml", "take-2.musicxml"]
    runs = next(h for h in document["habits"] if h["name"] == "runs")
    first, last = runs["takes"]
    # take 1 runs scales, take 2 does not (corpus/evening-class/README.md)
    assert first["percentile"] > 95 > 75 > last["percentile"]
    assert first["lower"] < first["percentile"] <= first["upper"]
    assert {h["moved"] for h in document["habits"]} == {"few"}
    assert "4 more would" in " ".join(document["words"])


def test_progress_in_the_terminal_fits_and_is_plain(run, tmp_path):
    result = run("progress", TAKES, "--profile", PROFILE, "--feature", "rest_fraction")
    assert result.exit_code == 0
    assert is_plain(result.stdout)
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert "can't tell practice from chance" in " ".join(result.stdout.split())
    assert "silence" in result.stdout


def test_progress_writes_the_same_page_and_table_each_time(run, tmp_path):
    import pandas as pd

    def made():
        result = run("progress", TAKES, "--profile", PROFILE, "--csv", "--report", "p.html")
        assert result.exit_code == 0
        return result.stdout, (tmp_path / "p.html").read_bytes()

    table, page = made()
    assert made() == (table, page)
    assert page.count(b"<svg") == len(words().habits)
    assert b"health professional" in page
    (tmp_path / "table.csv").write_text(table)
    from stylemeter.features import CATALOG, HABITS

    read = pd.read_csv(tmp_path / "table.csv")
    assert len(read) == 2 * (len(HABITS) + len(CATALOG))
    assert set(read.kind) == {"habit", "feature"}


def test_takes_come_by_date_where_asked(run, tmp_path):
    for name, age in (("a.musicxml", 0), ("b.musicxml", 5000)):
        (tmp_path / name).write_bytes(TAKE_1.read_bytes())
        os.utime(tmp_path / name, (1_000_000 - age, 1_000_000 - age))
    arguments = ("progress", "a.musicxml", "b.musicxml", "--profile", PROFILE, "--json")
    for by, order in (("name", ["a.musicxml", "b.musicxml"]), ("date", ["b.musicxml", "a.musicxml"])):
        document = json.loads(run(*arguments, "--by", by).stdout)
        assert [t["path"] for t in document["takes"]] == order


def test_hostile_takes_are_shown_never_run(run, tmp_path):
    (tmp_path / "kv").mkdir()
    for i, (name, title) in enumerate(HOSTILE.items()):
        (tmp_path / "kv" / f"{name}.abc").write_text(abc(i, title), encoding="utf-8")
    result = run("progress", "kv", "--profile", PROFILE, "--report", "p.html")
    assert result.exit_code == 0
    assert is_plain(result.stdout)
    assert max(map(len, result.stdout.splitlines())) <= 80
    page = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;" in page
    assert "<script" not in page
    assert "<img" not in page
    table = run("progress", "kv", "--profile", PROFILE, "--csv").stdout
    assert ",=HYPERLINK" not in table
    assert ",@SUM" not in table


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ([TAKE_1], 2, "two are the least"),
        ([TAKE_1, "gone.mid"], 3, "two are the least"),
        (["gone.mid", "lost.mid"], 4, "two are the least"),
        ([TAKE_1, TAKE_2, "gone.mid"], 3, "gone.mid"),
        (["-"], 2, "standard input"),
        ([TAKES, "--feature", "swagger"], 2, "no feature 'swagger'"),
        ([TAKES, "--json", "--csv"], 2, "exclude each other"),
        ([TAKES, "--report", "nowhere/p.html"], 2, "can't be written"),
    ],
)
def test_progress_says_what_is_wrong(run, arguments, code, said):
    result = run("progress", *arguments, "--profile", PROFILE)
    assert result.exit_code == code
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_takes_too_short_are_told_and_left_out(run, tmp_path):
    (tmp_path / "lick.abc").write_text("X:1\nT:Lick\nM:4/4\nL:1/8\nK:D\nDEFG A2|]\n")
    result = run("progress", "lick.abc", TAKE_1, TAKE_2, "--profile", PROFILE, "--json")
    assert json.loads(result.stdout)["left_out"] == [{"title": "Lick", "notes": 5}]
    alone = run("progress", "lick.abc", "lick.abc", TAKE_1, "--profile", PROFILE)
    assert alone.exit_code in (2, 4)
    assert "too few" in alone.stderr


def test_what_a_batch_wrote_inside_the_folder_is_no_solo(run, tmp_path):
    takes = tmp_path / "takes"
    takes.mkdir()
    for take in (TAKE_1, TAKE_2):
        shutil.copy(take, takes)
    assert run("batch", takes, "--profile", "pop-songs", "--out", takes / "class").exit_code == 0
    for arguments in (
        ("place", takes, "--profile", "pop-songs", "--csv"),
        ("progress", takes, "--profile", "pop-songs"),
        ("features", takes),
        ("batch", takes, "--profile", "pop-songs", "--out", tmp_path / "elsewhere"),
    ):
        result = run(*arguments)
        assert (result.exit_code, result.stderr) == (0, ""), arguments
    assert "passed over" not in result.stdout


def test_one_take_is_told_in_the_singular(run):
    assert "stylemeter: 1 take could be read" in run("progress", TAKE_1, "--profile", "pop-songs").stderr

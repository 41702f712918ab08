"""A style is the old one or the new one, whatever ends its writing; what is no style is never replaced."""

import errno
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from helpers.faults import count_changes, in_a_fork, killed_at, refused_from
from helpers.places import ROOT
from helpers.tunes import folder_of_tunes

from stylemeter.cli import main
from stylemeter.errors import UsageError
from stylemeter.style.profile import check_whole, load_profile


def content(folder: Path) -> dict[str, bytes]:
    """Names and bytes of a folder, whatever is left aside included."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def states(fitted, tmp_path):
    """A folder with the old style, and what it holds with the old and with the new one."""
    old, new = fitted
    old.save(tmp_path / "old" / "small")
    new.save(tmp_path / "new" / "small")
    old.save(tmp_path / "styles" / "small")
    return tmp_path / "styles", content(tmp_path / "old"), content(tmp_path / "new")


def test_a_kill_at_any_change_leaves_the_old_or_the_new_style(fitted, states):
    folder, old, new = states
    target = folder / "small"
    changes = count_changes(lambda: fitted[1].save(target))
    assert changes > 5
    for number in range(1, changes + 1):
        fitted[0].save(target)
        assert content(folder) == old
        in_a_fork(lambda: fitted[1].save(target), killed_at(number))
        check_whole(target)
        assert content(target) in ({k[6:]: v for k, v in state.items()} for state in (old, new))
        fitted[1].save(target)
        assert content(folder) == new  # and nothing is left aside


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES])
def test_a_refused_change_leaves_the_old_style_and_one_line(fitted, states, code):
    folder, old, new = states
    target = folder / "small"
    for number in range(1, count_changes(lambda: fitted[1].save(target)) + 1):
        fitted[0].save(target)
        in_a_fork(lambda: fitted[1].save(target), refused_from(number, code))
        check_whole(target)
        assert content(target) in ({k[6:]: v for k, v in state.items()} for state in (old, new))
    fitted[1].save(target)
    assert content(folder) == new


def test_a_first_install_is_whole_or_not_there(fitted, tmp_path):
    target = tmp_path / "styles" / "small"
    changes = count_changes(lambda: fitted[0].save(target))
    import shutil

    for number in range(1, changes + 1):
        shutil.rmtree(tmp_path / "styles", ignore_errors=True)
        in_a_fork(lambda: fitted[0].save(target), killed_at(number))
        if target.exists():
            check_whole(target)


def test_where_names_can_not_be_exchanged_the_old_style_comes_back(fitted, states, monkeypatch):
    folder, old, _new = states
    target = folder / "small"
    monkeypatch.setattr("stylemeter.support.install._exchanged", lambda one, other: False)
    for number in range(1, count_changes(lambda: fitted[1].save(target)) + 1):
        fitted[0].save(target)
        in_a_fork(lambda: fitted[1].save(target), killed_at(number))
        fitted[0].save(target)
        assert content(folder) == old


def test_a_folder_of_takes_is_never_replaced(home, tmp_path):
    takes = folder_of_tunes(tmp_path / "takes" / "term-1", 5)
    (takes / "recordings").mkdir()
    (takes / "recordings" / "one.wav").write_bytes(b"sound")
    before = content(tmp_path / "takes")
    result = run("fit", takes, "--name", "term-1", "--out", tmp_path / "takes")
    assert result.exit_code == 2
    assert "is there already and holds something else: nothing was changed" in result.stderr
    assert content(tmp_path / "takes") == before


@pytest.mark.parametrize("also", ["notes.txt", "folder"])
def test_a_style_with_something_else_in_it_is_left_alone(fitted, tmp_path, also):
    target = fitted[0].save(tmp_path / "small")
    (target / also).mkdir() if also == "folder" else (target / also).write_text("mine")
    with pytest.raises(UsageError, match="nothing was changed"):
        fitted[1].save(target)
    assert (target / also).exists()


def test_a_truncated_style_is_replaced(fitted, tmp_path):
    target = fitted[0].save(tmp_path / "small")
    (target / "profile.json").write_bytes(b"{")
    fitted[1].save(target)
    assert check_whole(target).tunes == 41


def test_fits_of_one_name_at_once_give_one_good_style(home, tmp_path):
    tunes = [folder_of_tunes(tmp_path / f"tunes-{n}", 40, first=1 + 100 * n) for n in range(4)]
    command = [sys.executable, "-m", "stylemeter.cli", "fit"]
    code = "import stylemeter.style.limits as l; l.DRAWS = 5; from stylemeter.cli import main; main()"
    command = [sys.executable, "-c", code, "fit"]
    running = [
        subprocess.Popen(
            [*command, str(folder), "--name", "one", "--out", str(tmp_path / "styles"), "--workers", "1"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            cwd=ROOT,
        )
        for folder in tunes
    ]
    for program in running:
        _, told = program.communicate()
        assert program.returncode == 0, told
    assert check_whole(tmp_path / "styles" / "one").tunes == 40
    assert [p.name for p in (tmp_path / "styles").iterdir()] == ["one"]


def test_a_refit_of_the_same_leaves_the_style_and_its_calibration(home, tmp_path, monkeypatch):
    monkeypatch.setattr("stylemeter.style.limits.DRAWS", 5)
    tunes = folder_of_tunes(tmp_path / "tunes", 40)
    assert run("fit", tunes, "--name", "own", "--workers", "1").exit_code == 0
    folder = home / "profiles" / "own"
    digest = load_profile("own").about.input_digest
    (folder / "calibration.json").write_text(f'{{"clean": {{}}, "injected": {{}}, "input_digest": "{digest}"}}')
    before = content(folder)
    assert run("fit", tunes, "--name", "own", "--workers", "1").exit_code == 0
    assert content(folder) == before
    assert run("fit", tunes, "--name", "own", "--style", "our songs", "--workers", "1").exit_code == 0
    assert load_profile("own").calibration is not None
    (tunes / "999.abc").write_text("X:1\nT:One more\nM:4/4\nL:1/8\nK:C\nCDEFGABcCDEFGABcCDEFGABc|\n")
    assert run("fit", tunes, "--name", "own", "--workers", "1").exit_code == 0
    assert load_profile("own").calibration is None


def test_a_fit_with_losses_says_so_last_and_exits_3(home, tmp_path, monkeypatch):
    monkeypatch.setattr("stylemeter.style.limits.DRAWS", 5)
    tunes = folder_of_tunes(tmp_path / "tunes", 40)
    (tunes / "bad.abc").write_text("X:1\nT:Bad\nK:C\n")
    result = run("fit", tunes, "--name", "own", "--workers", "1")
    assert result.exit_code == 3
    assert result.stderr.splitlines()[-1] == (
        "stylemeter: own: 1 of 41 could not be read (told above) and are not in it"
    )
    assert load_profile("own").about.failures == 1

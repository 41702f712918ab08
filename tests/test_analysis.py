"""The whole job in one module: which style is taken, what is loaded, what every caller gets."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from helpers.solos import walk

from stylemeter.analysis import findings, prepare
from stylemeter.cli import main
from stylemeter.errors import ProfileError, UnknownNameError, UsageError, WrongTypeError
from stylemeter.placement.styles import rank_styles
from stylemeter.practice.findings import find_out
from stylemeter.report.solo.document import to_document
from stylemeter.style.profile import installed, load_profile

SOLO = Path(__file__).parents[1] / "corpus" / "evening-class"


@pytest.fixture(scope="module")
def take():
    return min(p for p in SOLO.rglob("*") if p.suffix in (".abc", ".musicxml", ".mid"))


def test_a_style_named_is_kept_and_needs_no_reason():
    analysis = prepare("jazz-age-songs")
    found = analysis.of(walk(1, 64))
    assert found.placement.profile.name == "jazz-age-songs"
    assert analysis.why_this_style(found) == ""


def test_none_named_takes_the_first_of_the_ranking_and_says_so():
    analysis = prepare()
    melody = walk(1, 64)
    found = analysis.of(melody)
    ranked = rank_styles(melody, [load_profile(name) for name in installed()])
    assert found.placement.profile.name == ranked[0].profile
    assert [t.profile for t in found.styles] == [t.profile for t in ranked]
    said = analysis.why_this_style(found)
    assert said.startswith(f"compared with {ranked[0].profile}, the most typical style")
    assert all(t.profile in said for t in ranked)


def test_a_solo_too_short_for_any_style_says_that_it_cant_be_told():
    analysis = prepare()
    found = analysis.of(walk(1, 3))
    assert "can't be told" in analysis.why_this_style(found)


def test_a_profile_an_equal_folder_and_a_name_are_one(take):
    folder = installed()["pop-songs"]
    melody = walk(2, 48)
    one, two, three = (findings(melody, p) for p in ("pop-songs", folder, load_profile("pop-songs")))
    assert to_document(one) == to_document(two) == to_document(three)


def test_the_command_prints_what_the_library_finds(take):
    printed = CliRunner().invoke(main, ["place", str(take), "--profile", "pop-songs", "--json"])
    assert json.loads(printed.stdout) == json.loads(json.dumps(to_document(findings(take, "pop-songs"))))


def test_a_style_that_is_not_installed_joins_the_ranking(tmp_path):
    import shutil

    copied = tmp_path / "mine"
    shutil.copytree(installed()["pop-songs"], copied)
    document = json.loads((copied / "profile.json").read_text())
    (copied / "profile.json").write_text(json.dumps(document | {"name": "mine"}))
    (copied / "SHA256SUMS").unlink()  # of the document as it was
    analysis = prepare(copied)
    assert [s.name for s in analysis.styles] == [*installed(), "mine"]
    direct = find_out(walk(1, 32), analysis.profile, analysis.styles, analysis.advice)
    assert to_document(analysis.of(walk(1, 32))) == to_document(direct)


@pytest.mark.parametrize(
    ("asked", "error"),
    [
        ({"coverage": 0.2}, UsageError),
        ({"uncertain": 0.7}, UsageError),
        ({"profile": "no-such-style"}, UnknownNameError),
        ({"profile": 7}, WrongTypeError),
        ({"profile": Path("no-such-folder")}, ProfileError),
    ],
)
def test_what_cannot_be_used_is_told(asked, error):
    with pytest.raises(error):
        prepare(**asked)


def test_something_else_than_a_solo_is_told():
    with pytest.raises(TypeError, match="can't be of type list; give a melody or the path of a file"):
        findings([1, 2, 3], "pop-songs")

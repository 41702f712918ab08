"""Fitting and loading profiles: resume, warm refit, determinism, damage."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from helpers.places import ROOT

from stylemeter.cli import main
from stylemeter.errors import InputError, ProfileError, UnknownNameError
from stylemeter.style import sampling
from stylemeter.style.collections import collection_of_paths, find_collection, load, tune_sources
from stylemeter.style.fit import gather_profile
from stylemeter.style.profile import load_profile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS


def tune(seed, notes=40):
    rng = np.random.default_rng(seed)
    letters = "CDEFGABcdefg"
    at, body = 5, []
    for i in range(notes):
        at = int(np.clip(at + rng.choice([-3, -2, -1, -1, 1, 1, 2, 4]), 0, 11))
        body.append(letters[at] + rng.choice(["", "", "2", "/2"]) + ("|" if i % 8 == 7 else ""))
    return f"X:{seed}\nT:Tune {seed}\nM:4/4\nL:1/8\nK:C\n{''.join(body)}|\n\n"


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr("stylemeter.style.fit.DRAWS", 20)  # the intervals are not what is tested here
    folder = tmp_path / "tunes"
    folder.mkdir()
    for seed in range(1, 61):
        (folder / f"{seed:02}.abc").write_text(tune(seed))
    (folder / "bad.abc").write_text("X:1\nT:Bad\nK:C\n")
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def test_fit_a_folder_with_a_bad_file_and_place_against_it(home):
    result = run("fit", home / "tunes", "--name", "term-1", "--style", "our tunes", "--workers", "1")
    assert result.exit_code == 3
    assert "60 tunes in 60 families" in result.stdout
    assert "bad.abc" in result.stderr
    profile = load_profile("term-1")
    assert profile.style == "our tunes"
    assert profile.good_rungs == []
    placed = run("place", home / "tunes" / "07.abc", "--profile", "term-1", "--json")
    document = json.loads(placed.stdout)
    assert document["profile"]["provisional"] is True
    assert "provisional" in document["features"][0]["reason"]
    assert any(f["lower"] is not None for f in document["features"])


def test_five_tunes_give_no_limits(home):
    for path in sorted((home / "tunes").glob("*.abc"))[5:]:
        path.unlink()
    result = run("fit", home / "tunes", "--name", "tiny", "--workers", "1")
    assert result.exit_code == 0
    assert "too few to place solos against; add tunes: 39 families give limits, 120 a norm" in result.stderr
    placed = run("place", home / "tunes" / "01.abc", "--profile", "tiny", "--json")
    document = json.loads(placed.stdout)
    assert {f["verdict"] for f in document["features"]} == {"unmeasured"}
    assert f"{FAMILIES_FOR_LIMITS} are the least" in document["habits"][0]["reason"]


def test_a_style_of_a_folder_is_named_so_that_sentences_go_on_with_it(home):
    run("fit", home / "tunes", "--name", "term-1", "--workers", "1")
    assert load_profile("term-1").style == "tunes of tunes"
    assert run("profiles", "term-1").stdout.startswith("term-1: 60 tunes of tunes, in 60 families\n")


def test_tunes_left_out_are_told_in_the_profile(home):
    (home / "tunes" / "worse.mid").write_bytes(b"MThd\0\0")
    run("fit", home / "tunes", "--name", "term-1", "--workers", "1")
    assert load_profile("term-1").about.failures > 0
    assert "that could not be read" in run("profiles", "term-1").stdout


def test_too_few_tunes_are_refused_by_calibrate_and_called_calibrated_by_nobody(home):
    run("fit", home / "tunes", "--name", "term-1", "--workers", "1")
    result = run("calibrate", "term-1", "--excerpts", "30", "--workers", "1")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("stylemeter: term-1: too few tune families to calibrate")
    assert load_profile("term-1").calibration is None


def test_a_profile_of_a_collection_file_of_the_users_own_finds_its_tunes_again(home, monkeypatch):
    (home / "own.toml").write_text(
        'title = "Own (invented)"\nstyle = "own tunes"\nsource = ["tunes/*.abc"]\nlicence = "CC0 1.0"\n'
        'licence_words = "all rights waived"\nattribution = "nobody"\nobtain = "write them"\n'
    )
    monkeypatch.chdir(home)
    assert run("fit", "own.toml", "--name", "own", "--workers", "1").exit_code == 3
    monkeypatch.chdir(home.parent)
    assert gather_profile(load_profile("own"), None, 1).digest == load_profile("own").about.input_digest


def test_the_list_of_collections_fits_80_columns():
    said = run("corpus").stdout
    assert "permission of their encoders" in said
    assert max(map(len, said.splitlines())) <= 80


def test_same_tunes_give_the_same_bytes_and_a_refit_reads_nothing(home, monkeypatch):
    run("fit", home / "tunes", "--name", "a", "--out", home / "one", "--workers", "1")
    monkeypatch.setenv("STYLEMETER_CACHE", str(home / "other"))
    run("fit", home / "tunes", "--name", "a", "--out", home / "two", "--workers", "1")
    for name in ("profile.json", "recipe.toml", "sample.parquet"):
        assert (home / "one" / "a" / name).read_bytes() == (home / "two" / "a" / name).read_bytes()
    monkeypatch.setattr(sampling, "_measure", lambda *_: pytest.fail("a warm refit must not read a tune"))
    assert run("fit", home / "tunes", "--name", "a", "--out", home / "three", "--workers", "1").exit_code == 3
    assert (home / "three" / "a" / "profile.json").read_bytes() == (home / "one" / "a" / "profile.json").read_bytes()


def test_an_interrupted_fit_goes_on_where_it_stopped(home, monkeypatch):
    sources, _ = tune_sources(collection_of_paths([home / "tunes"]))
    monkeypatch.setattr(sampling, "CHUNK_TUNES", 10)
    measured = []
    real = sampling._measure

    def stop_half_way(source, options):
        if len(measured) == 35:
            raise KeyboardInterrupt
        measured.append(source.label)
        return real(source, options)

    monkeypatch.setattr(sampling, "_measure", stop_half_way)
    options = collection_of_paths([home / "tunes"]).reading
    with pytest.raises(KeyboardInterrupt):
        sampling.gather([(sources, options)])
    finished = len(measured) // 10 * 10
    again = []
    monkeypatch.setattr(sampling, "_measure", lambda s, o: again.append(s.label) or real(s, o))
    sample = sampling.gather([(sources, options)])
    assert len(again) == len(sources) - finished
    assert len(sample.labels) == 60
    assert len(sample.failures) == 1


def test_a_reader_that_hangs_costs_one_tune(home, monkeypatch):
    monkeypatch.setenv("STYLEMETER_SECONDS", "0.3")
    from stylemeter.reading.abc import read as abc_notation

    real = abc_notation.read

    def hang_on_one(data, options):
        if b"T:Tune 3\n" in data:
            while True:
                pass
        return real(data, options)

    monkeypatch.setattr(abc_notation, "read", hang_on_one)
    collection = collection_of_paths([home / "tunes"])
    sample = sampling.gather([(tune_sources(collection)[0], collection.reading)])
    assert len(sample.labels) == 59
    assert any("longer than 0.3 s" in line for line in sample.failures)


# -- damage ------------------------------------------------------------------------------------------------------


@pytest.fixture
def copied(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    return Path(shutil.copytree(ROOT / "profiles" / "old-fiddle-tunes", tmp_path / "copy"))


def edit(folder, **changes):
    path = folder / "profile.json"
    document = json.loads(path.read_text())
    path.write_text(json.dumps(document | changes))


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (
            lambda f: (f / "sample.parquet").write_bytes((f / "sample.parquet").read_bytes()[:-500]),
            "truncated or edited",
        ),
        (lambda f: (f / "sample.parquet").unlink(), "sample.parquet is missing"),
        (lambda f: edit(f, schema="stylemeter/profile/9"), "schema 'stylemeter/profile/9'"),
        (lambda f: edit(f, schema="something"), "not a profile"),
        (lambda f: edit(f, feature_version=99), "another version of the feature dictionary"),
        (lambda f: (f / "profile.json").write_text("{"), "profile.json can't be read"),
        (lambda f: (f / "profile.json").unlink(), "profile.json is missing"),
    ],
)
def test_a_damaged_profile_is_one_clear_line(copied, damage, said):
    damage(copied)
    with pytest.raises(ProfileError, match=said) as caught:
        load_profile(copied)
    assert str(copied) in str(caught.value)


def test_an_edited_sample_is_found_after_it_was_in_use(copied):
    profile = load_profile(copied)
    profile.rung(64)
    assert load_profile(copied).digest == profile.digest
    sample = copied / "sample.parquet"
    data = bytearray(sample.read_bytes())
    data[len(data) // 2] ^= 1
    sample.write_bytes(bytes(data))
    with pytest.raises(ProfileError, match="truncated or edited"):
        load_profile(copied)


def test_cached_columns_rank_like_the_sample_itself(copied):
    profile = load_profile(copied)
    full = profile.full_rung(48)
    profile.rung(48)
    cached = load_profile(copied).rung(48)
    case = full.values[7:8].astype(float)
    a, b = full.standing(case), cached.standing(case)
    assert np.array_equal(a.p, b.p, equal_nan=True)
    assert np.array_equal(a.z, b.z, equal_nan=True)
    assert cached.families == full.families
    assert cached.counts == full.counts


def test_other_coverages_are_worked_out(copied):
    profile = load_profile(copied)
    stored, narrower = (profile.limits(64, "interval_entropy", c) for c in (0.9, 0.7))
    assert stored.lower < narrower.lower < narrower.upper < stored.upper
    assert narrower.lower_ci[0] <= narrower.lower <= narrower.lower_ci[1]


def test_shipped_profiles_are_small_and_hold_no_melody():
    folders = [p for p in (ROOT / "profiles").iterdir() if p.is_dir()]
    files = [f for folder in folders for f in folder.rglob("*")]
    patterns = [f for f in files if f.name == "vocabulary.parquet"]
    assert sum(f.stat().st_size for f in set(files) - set(patterns)) < 15e6
    assert sum(f.stat().st_size for f in patterns) < 4e6
    import pyarrow.parquet as pq

    from stylemeter.features import CATALOG

    for folder in folders:
        document = json.loads((folder / "profile.json").read_text())
        assert all(c["licence"] and c["attribution"] and c["obtain"] for c in document["collections"])
        columns = set(pq.read_schema(folder / "sample.parquet").names)
        assert columns == {"family", "rung", *CATALOG, *document["extra"]}


# -- collections -------------------------------------------------------------------------------------------------


def test_every_shipped_collection_says_where_it_is_from():
    for name in ("old-fiddle-tunes", "jazz-age-songs", "rock-melodies", "pop-songs"):
        collection = find_collection(name)
        assert collection.licence_words
        assert collection.attribution
        assert collection.obtain


def test_tunes_whose_encoder_forbids_it_are_left_out():
    sources, remarks = tune_sources(find_collection("old-fiddle-tunes"))
    assert len(sources) == 3976
    assert remarks == ["272 tunes left out: their encoder forbids commercial use (found by the transcription line)"]
    assert not any(b"norbeck" in s.data.lower() for s in sources)


def test_a_collection_that_must_be_fetched_says_how(monkeypatch):
    monkeypatch.delenv("STYLEMETER_OPEN_DATA", raising=False)
    with pytest.raises(InputError, match=r"OpenEWLD.*--open-data"):
        tune_sources(find_collection("jazz-age-songs"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = 'x'\n", "field 'style' is missing"),
        ("not toml", "not a collection file"),
        (
            "title='a'\nstyle='b'\nsource='c'\nlicence='d'\nlicence_words='e'\nattribution='f'\nobtain='g'\nmood='h'\n",
            "mood",
        ),
        (
            "title='a'\nstyle='b'\nsource='c'\nlicence='d'\nlicence_words='e'\nattribution='f'\nobtain='g'\nleave_out='('\n",
            "leave_out",
        ),
        (
            "title='a'\nstyle='b'\nsource='c'\nlicence='d'\nlicence_words='e'\nattribution='f'\nobtain='g'\n[reading]\nspeed=1\n",
            "speed",
        ),
    ],
)
def test_a_faulty_collection_file_is_one_clear_line(tmp_path, text, said):
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=said):
        load(path)


def test_unknown_collection_lists_what_there_is():
    with pytest.raises(UnknownNameError, match="old-fiddle-tunes"):
        find_collection("nobodys-tunes")

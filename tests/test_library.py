"""The library as its users hold it: the public names, what they show of themselves, and what they say of mistakes."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers.solos import walk

import stylemeter as sm
from stylemeter.batch.run import ClassResult
from stylemeter.practice.findings import Findings
from stylemeter.report.solo.document import to_document

ROOT = Path(__file__).resolve().parents[1]
TAKES = ROOT / "corpus" / "evening-class"


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    return tmp_path


@pytest.fixture(scope="module")
def tunes():
    return [walk(seed, 40) for seed in range(45)]


@pytest.fixture(scope="module")
def found():
    return sm.findings(walk(1, 64), "pop-songs")


# -- the names ---------------------------------------------------------------------------------------------------


def test_dir_shows_the_public_names_and_each_is_there():
    assert dir(sm) == sorted(sm.__all__)
    assert len(sm.__all__) <= 25
    for name in sm.__all__:
        assert getattr(sm, name) is not None
        assert name == "__version__" or f"`{name}`" in sm.__doc__ or name in ("Placement", "Profile", "Findings")
    with pytest.raises(AttributeError, match="no attribute 'find_profile'"):
        _ = sm.find_profile


def test_every_public_callable_says_what_it_takes_gives_and_raises():
    for name in set(sm.__all__) - {"CATALOG", "__version__"}:
        documented = getattr(sm, name).__doc__
        assert documented, name
        if not isinstance(getattr(sm, name), type):
            assert "Parameters\n" in documented or name == "styles", name
            assert "Returns\n" in documented, name
            assert "Raises\n" in documented, name


def test_importing_the_package_loads_nothing_else():
    code = "import sys, stylemeter; print(*sorted(set(sys.modules) - set(sys.stdlib_module_names)))"
    said = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    foreign = [name for name in said.stdout.split() if name.split(".")[0] not in sys.stdlib_module_names]
    assert foreign == ["__main__", "stylemeter", "stylemeter._version"]


# -- what they show of themselves --------------------------------------------------------------------------------


def test_each_repr_fits_five_lines(found, tunes):
    placement, profile = found.placement, found.placement.profile
    followed = sm.progress(tunes[:4], profile)
    read = sm.read_many(["no-such.abc"])
    shown = [placement.melody, sm.measure(tunes[0]), sm.CATALOG, profile, placement, found, followed, *read]
    shown += [placement.features[0], placement.habits[0], followed.habits[0], placement.typicality]
    for thing in shown:
        assert len(repr(thing).splitlines()) <= 5, repr(thing)
        assert len(repr(thing)) < 700, repr(thing)


def test_a_notebook_sees_a_table_and_no_markup_of_a_files_own(tunes):
    from dataclasses import replace

    solo = replace(tunes[0], title="<script>alert(1)</script>")
    placement = sm.place(solo, "pop-songs")
    shown = [solo, placement, sm.findings(solo, "pop-songs"), sm.measure(solo), sm.CATALOG, placement.profile]
    for thing in shown:
        html = thing._repr_html_()
        assert html.startswith("<table>")
        assert "<script>" not in html


def test_frames_hold_what_the_records_hold(found):
    placement = found.placement
    frame = placement.to_frame()
    assert list(frame.index) == list(sm.CATALOG)
    for place in placement.features:
        row = frame.loc[place.name]
        assert row["verdict"] == place.verdict
        assert row["value"] == place.value or (np.isnan(row["value"]) and np.isnan(place.value))
        assert np.isnan(row["lower"]) if place.limits is None else row["lower"] == place.limits.lower
    profile = placement.profile
    norms = profile.to_frame(0.8)
    assert len(norms) == len(profile.rung_families) * len(sm.CATALOG)
    assert norms.loc[(32, "step_share"), "upper"] == profile.limits(32, "step_share", 0.8).upper
    inside = norms.dropna()
    assert (inside["lower"] <= inside["median"]).all()
    assert (inside["median"] <= inside["upper"]).all()


def test_a_frame_of_features_is_what_each_measures(tunes):
    frame = sm.feature_frame(tunes[:3])
    for (_, row), tune in zip(frame.iterrows(), tunes, strict=False):
        assert np.array_equal(row.to_numpy(), list(sm.measure(tune).values.values()), equal_nan=True)


# -- what they say of mistakes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "call",
    [
        lambda: sm.place([walk(1, 32)], "pop-songs"),
        lambda: sm.place("take.abc", "pop-songs"),
        lambda: sm.place(walk(1, 32), 3),
        lambda: sm.place(walk(1, 32), None),
        lambda: sm.measure(None),
        lambda: sm.feature_frame([1]),
        lambda: sm.read(3),
        lambda: sm.read_many([3]),
        lambda: sm.write("take", "midi"),
        lambda: sm.fit(3, "mine"),
        lambda: sm.fit([walk(1, 32), 3], "mine"),
        lambda: sm.progress([walk(1, 32), 3], "pop-songs"),
        lambda: sm.findings(3, "pop-songs"),
        lambda: sm.report_text(walk(1, 32)),
        lambda: sm.load_profile(3),
    ],
)
def test_a_wrong_type_is_told_in_one_line(call):
    with pytest.raises(sm.StylemeterError) as told:
        call()
    assert isinstance(told.value, TypeError)
    assert "can't be of type" in str(told.value)
    assert "; give " in str(told.value)


def test_an_unknown_name_is_told_with_those_there_are(found):
    for call, words in (
        (lambda: sm.place(walk(1, 32), "polka"), "no profile 'polka'; there is: jazz-age-songs"),
        (lambda: found.placement.feature("polka"), "no feature 'polka'; there is: step_share"),
        (lambda: found.placement.habit("polka"), "no habit 'polka'; there is: runs"),
        (lambda: found.placed("polka"), "no feature or habit 'polka'"),
        (lambda: sm.measure(walk(1, 32))["polka"], "no feature 'polka'"),
        (lambda: sm.write(walk(1, 32), "polka"), "no format 'polka'; there is: csv"),
        (lambda: sm.report_text(found, "polka"), "no format 'polka'; there is: html"),
        (lambda: sm.write_report(found, "take.polka"), "no report has the suffix '.polka'"),
        (lambda: found.placement.profile.norm(7), "no rung of '7 notes'; there is: 16"),
        (lambda: sm.fit([], "mine"), "nothing to fit from"),
        (lambda: sm.fit(["polka"], "mine"), "no collection, folder or file 'polka'"),
        (lambda: sm.fit([walk(1, 32)], "my style"), "'my style' can't be a profile's name"),
    ):
        with pytest.raises(sm.StylemeterError, match=words):
            call()


# -- whole jobs --------------------------------------------------------------------------------------------------


def test_many_files_are_read_and_one_bad_one_stops_nothing(tmp_path):
    (tmp_path / "a.abc").write_text("X:1\nM:4/4\nL:1/4\nK:C\nCDEF|\n")
    (tmp_path / "b.abc").write_text("nothing of the kind")
    results = sm.read_many(tmp_path)
    assert [len(result.melodies) for result in results] == [1, 0]
    assert results[1].error is not None
    assert "b.abc" in repr(results[1])


def test_a_report_is_written_in_every_format(found, tmp_path):
    for suffix in (".html", ".json", ".csv", ".txt"):
        path = sm.write_report(found, tmp_path / f"take{suffix}")
        assert path.stat().st_size > 500
    assert json.loads((tmp_path / "take.json").read_text()) == json.loads(json.dumps(to_document(found)))
    assert (tmp_path / "take.txt").read_text() == sm.report_text(found)


def test_a_style_fitted_in_memory_places_as_the_one_it_saves(tunes, home):
    mine = sm.fit(tunes, "mine", style="invented walks")
    assert mine.folder is None
    assert mine.provisional_rungs
    placed = sm.findings(walk(99, 40), mine)
    mine.save()
    saved = sm.load_profile("mine")
    again = sm.findings(walk(99, 40), "mine")
    assert json.dumps(to_document(placed)) == json.dumps(to_document(again))
    assert saved.to_plain() == mine.to_plain()
    assert "mine" in [style.name for style in sm.styles()]
    assert (
        saved.save(home / "copy").joinpath("profile.json").read_bytes()
        == (home / "home" / "profiles" / "mine" / "profile.json").read_bytes()
    )


def test_a_frame_of_notes_fits_the_same_style_as_its_melodies():
    tunes = [
        sm.Melody.from_arrays(np.arange(20) / 2, 60 + (np.arange(20) * k) % 11, np.full(20, 0.5), key="C major")
        for k in range(1, 8)
    ]
    frames = [
        tune.to_frame()[["onset", "pitch", "duration"]].assign(tune=i, key="C major") for i, tune in enumerate(tunes)
    ]
    table = pd.concat(frames, ignore_index=True)
    one, other = sm.fit(table, "mine"), sm.fit(tunes, "mine")
    assert one.digest == other.digest
    assert one.to_plain()["rungs"] == other.to_plain()["rungs"]
    with pytest.raises(sm.StylemeterError, match="no column 'tune'"):
        sm.fit(table.drop(columns="tune"), "mine")
    table.loc[0, "pitch"] = 500
    with pytest.raises(sm.StylemeterError, match="tune 0: pitches reach"):
        sm.fit(table, "mine")


def test_a_folder_fits_as_the_command_does(home):
    folder = home / "tunes"
    folder.mkdir()
    for seed in range(5):
        (folder / f"{seed}.mid").write_bytes(sm.write(walk(seed, 40), "midi"))
    fitted = sm.fit(folder, "few", folder=home / "few")
    assert fitted.folder == home / "few"
    assert fitted.tunes == 5
    assert sm.fit(folder, "few").to_plain() == fitted.to_plain()


def test_calibrating_needs_the_tunes_it_was_fitted_from(tunes):
    mine = sm.fit(tunes, "mine")
    with pytest.raises(sm.StylemeterError, match="fitted from melodies in memory; give them again"):
        sm.calibrate(mine)
    with pytest.raises(sm.StylemeterError, match="have changed since"):
        sm.calibrate(mine, tunes[1:])
    with pytest.raises(sm.StylemeterError, match="too few tune families to calibrate"):
        sm.calibrate(mine, tunes, inject=False, excerpts=30)


def test_takes_in_a_folder_are_followed_as_melodies_are(tmp_path, tunes):
    for i, tune in enumerate(tunes[:12]):
        (tmp_path / f"take-{i}.mid").write_bytes(sm.write(tune, "midi"))
    in_folder = sm.progress(tmp_path, "pop-songs")
    assert [take.path.rpartition("-")[2] for take in in_folder.takes] == [f"{i}.mid" for i in range(12)]
    paths = [tmp_path / f"take-{i}.mid" for i in range(12)]
    melodies = [melody for result in sm.read_many(paths) for melody in result.melodies]
    assert sm.progress(melodies, "pop-songs").habits == in_folder.habits


def test_a_folder_is_placed_with_a_page_each(tmp_path):
    folder = tmp_path / "class"
    folder.mkdir()
    for seed in range(3):
        (folder / f"{seed}.mid").write_bytes(sm.write(walk(seed, 40), "midi"))
    (folder / "bad.mid").write_bytes(b"MThd")
    made = sm.place_folder(folder, tmp_path / "out", "pop-songs")
    assert isinstance(made, ClassResult)
    assert made.page.is_file()
    assert [row["name"] for row in made.outcome.rows] == ["0", "1", "2"]
    assert len(made.outcome.unread) == 1
    assert repr(made).startswith("<ClassResult: 3 solos placed, 1 files without a page")


def test_findings_are_the_public_type(found):
    assert isinstance(found, Findings)


# -- scikit-learn ------------------------------------------------------------------------------------------------


def test_the_transformer_is_a_step_of_a_pipeline(tunes):
    from sklearn.cluster import KMeans
    from sklearn.impute import SimpleImputer
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    names = ["step_share", "note_value_entropy", "rest_fraction"]
    pipeline = make_pipeline(sm.FeatureTransformer(names), SimpleImputer(), StandardScaler(), KMeans(2, random_state=0))
    assert len(set(pipeline.fit_predict(tunes))) == 2
    assert list(pipeline[:-1].get_feature_names_out()) == names
    table = sm.FeatureTransformer().set_output(transform="pandas").fit_transform(tunes[:4])
    assert list(table.columns) == list(sm.CATALOG)
    assert np.array_equal(table.to_numpy(), sm.feature_frame(tunes[:4]).to_numpy(), equal_nan=True)
    with pytest.raises(sm.StylemeterError, match="no feature 'polka'"):
        sm.FeatureTransformer(["polka"]).fit(tunes)


#: scikit-learn's estimator checks that transform no numbers. `check_estimator` itself skips all of them but the first
#: for an estimator whose input is no array.
CHECKS = (
    "cloneable",
    "tags_renamed",
    "repr",
    *("do_not_raise_errors_in_init_or_set_params", "no_attributes_set_in_init", "valid_tag_types", "mixin_order"),
    *("parameters_default_constructible", "get_params_invariance", "set_params"),
    *("estimators_overwrite_params", "dont_overwrite_parameters", "estimators_fit_returns_self"),
    *("estimators_unfitted", "positive_only_tag_during_fit"),
)


@pytest.mark.parametrize("name", CHECKS)
def test_the_transformer_passes_the_estimator_checks_that_apply(name):
    from sklearn.utils import estimator_checks

    check = getattr(estimator_checks, f"check_{name}", None) or getattr(estimator_checks, f"check_estimator_{name}")
    check("FeatureTransformer", sm.FeatureTransformer())

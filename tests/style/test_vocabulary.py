"""A style's vocabulary: what is kept, what it says of the style's own tunes, damage."""

import numpy as np
import pyarrow.parquet as pq
import pytest
from helpers.solos import walk

from stylemeter.errors import ProfileError
from stylemeter.features import Base
from stylemeter.style.patterns import KINDS, Lines, count_patterns, line_bytes
from stylemeter.style.vocabulary import (
    LENGTHS,
    SHARED_BY,
    Pool,
    cover,
    covered_notes,
    fit_vocabulary,
    load_vocabulary,
    over_score,
    under_score,
)


@pytest.fixture(scope="module")
def fitted():
    lines = Lines.of([line_bytes(Base(walk(seed, 120))) for seed in range(90)])
    family = np.arange(90) // 2
    return lines, family, fit_vocabulary(lines, family)


@pytest.fixture
def loaded(fitted, tmp_path):
    path = tmp_path / "vocabulary.parquet"
    path.write_bytes(fitted[2])
    return load_vocabulary(path)


def test_only_what_three_families_share_is_kept(fitted, loaded):
    lines, family, _ = fitted
    for kind in KINDS:
        slow = {}
        for found in count_patterns(lines, kind, LENGTHS, family=family):
            for i, note in enumerate(found.first.tolist()):
                if found.families[i] >= SHARED_BY:
                    slow[lines.text(kind, note, found.length)] = (int(found.count[i]), int(found.families[i]))
        kept = {text: loaded.counts(kind, row) for text, row in loaded.index(kind).items()}
        assert kept == slow
        assert min(f for _, f in kept.values()) >= SHARED_BY
        assert {len(t.split(" ")) - (kind == "degrees") for t in kept} <= set(LENGTHS)


def test_the_same_tunes_give_the_same_bytes(fitted):
    lines, family, data = fitted
    assert fit_vocabulary(lines, family) == data


def test_no_tune_and_no_name_is_in_it(fitted, tmp_path):
    """Patterns of ten intervals at most, shared by three families, with counts: nothing else is in the file."""
    path = tmp_path / "v.parquet"
    path.write_bytes(fitted[2])
    table = pq.read_table(path)
    assert table.column_names == ["length", "pattern", "count", "families", "squares", "products"]
    assert max(table.column("length").to_pylist()) == 10


def test_lengths_around_a_solos_own_share_its_judgement(loaded):
    styles = [s.notes for s in loaded.styles]
    assert styles == [16, 24, 32, 48, 64, 96]
    assert [(s.notes, w) for s, w in loaded.rungs(64)] == [(48, 0.0), (64, 1.0)]
    assert [s.notes for s, _ in loaded.rungs(80)] == [64, 96]
    assert sum(w for _, w in loaded.rungs(80)) == pytest.approx(1)
    assert [(s.notes, w) for s, w in loaded.rungs(1000)] == [(96, 1.0)]


def test_ranks_in_a_pool_are_never_told_too_small():
    rng = np.random.default_rng(1)
    scores = np.sort(rng.random(2000))[::-1]
    from stylemeter.style.vocabulary import _ranked

    pool = Pool(*_ranked(scores))
    assert len(pool.rank) < 200
    for score in rng.random(200):
        exact = ((scores >= score).sum() + 1) / 2001
        assert exact - 1e-12 <= pool.p(score) <= max(1.12 * exact, exact + 1 / 2001) + 1e-12
    assert pool.p(2.0) == pytest.approx(1 / 2001)
    assert pool.p(-1.0) == 1.0


def test_notes_in_a_figure_count_once():
    places = np.array([0, 2, 10])
    assert covered_notes(places, 3) == 6 + 4
    assert covered_notes(places, 3) == cover(places, 3, 20).sum()
    assert over_score(20, 2.0, 4, 100) == 0.1
    assert under_score(1, 4.0) == 1.5


@pytest.mark.parametrize("damage", [b"", b"PAR1", None])
def test_a_damaged_file_is_one_line(fitted, tmp_path, damage):
    path = tmp_path / "vocabulary.parquet"
    path.write_bytes(fitted[2][: len(fitted[2]) // 2] if damage is None else damage)
    with pytest.raises(ProfileError) as error:
        load_vocabulary(path)
    assert "\n" not in str(error.value)
    with pytest.raises(ProfileError, match="truncated or edited"):
        load_vocabulary(path, "0" * 64)
    with pytest.raises(ProfileError, match="has no vocabulary"):
        load_vocabulary(tmp_path / "none" / "vocabulary.parquet")


def test_a_small_style_has_patterns_and_no_judgement(tmp_path):
    lines = Lines.of([line_bytes(Base(walk(seed, 60))) for seed in range(9)])
    path = tmp_path / "vocabulary.parquet"
    path.write_bytes(fit_vocabulary(lines, np.arange(9)))
    found = load_vocabulary(path)
    assert found.styles == []
    assert found.index("intervals")


@pytest.mark.slow
def test_a_cluster_fits_the_same_bytes(tmp_path, monkeypatch):
    """The same fit read by a dask cluster: every file of the profile is the same."""
    distributed = pytest.importorskip("distributed")
    from helpers.places import ROOT

    from stylemeter.style.collections import collection_of_paths
    from stylemeter.style.fit import fit_profile

    monkeypatch.setenv("STYLEMETER_CACHE", "off")
    tunes = [collection_of_paths([ROOT / "corpus" / "evening-class"])]
    here, _ = fit_profile(tunes, "a", tmp_path / "here")
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        there, _ = fit_profile(tunes, "a", tmp_path / "there", scheduler=cluster.scheduler_address)
    names = sorted(p.name for p in here.iterdir())
    assert "vocabulary.parquet" in names
    assert names == sorted(p.name for p in there.iterdir())
    assert all((here / n).read_bytes() == (there / n).read_bytes() for n in names)

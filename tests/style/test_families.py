"""Tune families, against a slow union of all pairs."""

import itertools

import numpy as np

from stylemeter.style.families import tune_families


def slow(sequences, shared):
    runs = [{tuple(s[i : i + shared]) for i in range(len(s) - shared + 1)} for s in sequences]
    runs = [{r for r in group if len(set(r)) > 1} for group in runs]
    family = list(range(len(sequences)))
    for _ in sequences:
        for a, b in itertools.combinations(range(len(sequences)), 2):
            if runs[a] & runs[b]:
                low = min(family[a], family[b])
                family[a] = family[b] = low
    order = {f: i for i, f in enumerate(dict.fromkeys(family))}
    return [order[f] for f in family]


def test_against_all_pairs():
    rng = np.random.default_rng(0)
    sequences = [rng.integers(-2, 3, rng.integers(5, 40)) for _ in range(30)]
    assert tune_families(sequences, 5).tolist() == slow([s.tolist() for s in sequences], 5)


def test_variants_chain_and_repeated_notes_do_not_join():
    a = np.arange(30) % 7 - 3
    b = np.concatenate([a[:20], np.ones(20, dtype=int) * 2])
    c = np.concatenate([np.arange(10) - 5, b[12:]])
    still = np.zeros(40, dtype=int)
    assert tune_families([a, b, c, still, still]).tolist() == [0, 0, 0, 1, 2]

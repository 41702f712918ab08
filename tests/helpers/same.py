"""Whether two melodies are the same, for round trips."""

from __future__ import annotations

import math

import numpy as np

from stylemeter.features import measure
from stylemeter.music.melody import Melody

ARRAYS = (
    "onset",
    "duration",
    "pitch",
    "bar",
    "beat",
    "weight",
    "technique",
    "onset_seconds",
    "strings",
    "frets",
    "phrase_ends",
    "confidence",
)
PLAIN = (
    "tuning",
    "rhythm_known",
    "key",
    "chords",
    "meters",
    "remarks",
    "guessed_share",
    "tempo",
    "title",
    "part",
    "source",
)


def same_array(one, other) -> bool:
    return (one is None) == (other is None) and (one is None or np.array_equal(one, other))


def assert_same(one: Melody, other: Melody) -> None:
    """Every array, bar, key, chord, meter and remark."""
    for name in ARRAYS:
        assert same_array(getattr(one, name), getattr(other, name)), name
    for name in PLAIN:
        assert getattr(one, name) == getattr(other, name), name
    for name in ("line", "end", "number"):
        assert np.array_equal(getattr(one.bars, name), getattr(other.bars, name)), f"bars.{name}"


def features_that_differ(one: Melody, other: Melody) -> dict[str, tuple[float, float]]:
    """Features whose values are not the same on both."""
    first, second = measure(one).values, measure(other).values
    return {
        name: (value, second[name])
        for name, value in first.items()
        if not (math.isnan(value) and math.isnan(second[name])) and not math.isclose(value, second[name], abs_tol=1e-9)
    }

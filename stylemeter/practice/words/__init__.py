"""What the tool says about features, habits, families and verdicts: typed access to ``words.toml``.

Every such text lives in that one file, ready to be translated; here they are checked, filled in and counted.
"""

from __future__ import annotations

from stylemeter.practice.words.saying import (
    capital,
    change_words,
    direction_of,
    feature_verdict,
    format_range,
    format_value,
    habit_sentence,
    habit_verdict,
    percentile_words,
    sentence,
    value_and_range,
)
from stylemeter.practice.words.styles import StyleWords, style_words
from stylemeter.practice.words.table import Direction, FeatureWords, HabitWords, Titled, Words, parse, words
from stylemeter.support.texts import fill

__all__ = [
    "Direction",
    "FeatureWords",
    "HabitWords",
    "StyleWords",
    "Titled",
    "Words",
    "capital",
    "change_words",
    "direction_of",
    "feature_verdict",
    "fill",
    "format_range",
    "format_value",
    "habit_sentence",
    "habit_verdict",
    "parse",
    "percentile_words",
    "sentence",
    "style_words",
    "value_and_range",
    "words",
]

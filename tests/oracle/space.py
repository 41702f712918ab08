"""Family *space*."""

from __future__ import annotations

from fractions import Fraction

from oracle.registry import evidence, feature
from oracle.terms import (
    at_least,
    beat_at,
    beat_of,
    beat_starts,
    breaths,
    durations,
    full_bars,
    gaps,
    iois,
    latest_end,
    length_in,
    median,
    onsets,
    onsets_in,
    phrases,
    pulses,
    ratio,
    sd_over_mean,
    span,
    span_in_bars,
    span_in_beats,
)


@feature("space", needs=("durations",))
def rest_fraction(table):
    return ratio(sum(gaps(table)), span(table))


@feature("space", needs=("durations",))
def breaths_per_bar(table):
    return ratio(sum(breaths(table)), span_in_bars(table))


def streams(table):
    """Note numbers between breaths."""
    found = [[0]]
    for i, breath in enumerate(breaths(table)):
        if breath:
            found.append([])
        found[-1].append(i + 1)
    return found


def stream_length(table, notes):
    """Beats from the first onset of a stream to its latest end."""
    t, d = onsets(table), durations(table)
    return length_in(table, t[notes[0]], max(t[i] + d[i] for i in notes), beat_of)


@feature("space", needs=("durations",))
def longest_stream(table):
    return pulses(table) * max(stream_length(table, notes) for notes in streams(table))


@evidence("longest_stream")
def notes_of_longest_stream(table):
    return set(max(streams(table), key=lambda notes: stream_length(table, notes)))


@feature("space")
def notes_per_beat(table):
    return ratio(len(table["notes"]), span_in_beats(table)) / pulses(table)


@feature("space")
def density_variation(table):
    bars = full_bars(table)
    at_least(len(bars), 4)
    return sd_over_mean([len(onsets_in(table, line, stop)) for _, line, stop in bars])


def beats_inside(table):
    """The beats whose own start lies in [the beat line at or before t_1, latest end)."""
    first, last = onsets(table)[0], latest_end(table)
    beats = beat_starts(table)
    at_or_before = max(start for start, _ in beats if start <= first)
    return [(start, stop) for start, stop in beats if at_or_before <= start < last]


@feature("space")
def empty_beat_share(table):
    beats = beats_inside(table)
    empty = [b for b in beats if not onsets_in(table, *b)]
    return ratio(len(empty), len(beats))


@feature("space")
def waiting_share(table):
    t = onsets(table)
    waits = [max(Fraction(0), ioi - beat_at(table, t[i])) for i, ioi in enumerate(iois(table))]
    return ratio(sum(waits), span(table))


def phrase_sizes(table):
    return [len(phrase) for phrase in phrases(table)]


@feature("space")
def phrase_length(table):
    return median(phrase_sizes(table))


@feature("space")
def phrase_length_variation(table):
    sizes = phrase_sizes(table)
    at_least(len(sizes), 3)
    return sd_over_mean(sizes)

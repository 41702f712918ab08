"""The page's terms, each a plain function of the table.

A table is a dict like the JSON note table: ``{"solo": {"key": {"tonic", "mode"} or None, "meter": [[onset, numerator,
denominator], ...]}, "notes": [{"onset", "duration", "pitch", "technique"}, ...], "chords": [...] or None,
"bars": [[line, end, number], ...]}``, times as fractions of a quarter note.
"""

from __future__ import annotations

import functools
import math
from fractions import Fraction

TOO_FEW_NOTES = "too few notes"
TOO_FEW = "too few of what is counted"
NEEDS_DURATIONS = "needs durations"
NEEDS_RHYTHM = "needs a rhythm"
NEEDS_KEY = "needs a key"
NEEDS_MODE = "needs a mode"
NEEDS_CHORDS = "needs chords"
NEEDS_TECHNIQUE = "needs technique"
NOTHING = "nothing to count"


class Unmeasured(Exception):
    """The value is unknown; the message is the category of the reason."""


def once(function):
    """Work a plain function of the table out once a table; nothing changes what it returns."""

    @functools.wraps(function)
    def remembered(table):
        memory = table.setdefault("worked out", {})
        if function not in memory:
            memory[function] = function(table)
        return memory[function]

    return remembered


def at_least(count, minimum):
    """Stop where fewer than the further minimum are there; nothing at all is an empty denominator."""
    if count == 0:
        raise Unmeasured(NOTHING)
    if count < minimum:
        raise Unmeasured(TOO_FEW)


def ratio(above, below):
    if below == 0:
        raise Unmeasured(NOTHING)
    return Fraction(above) / Fraction(below)


# notes ----------------------------------------------------------------------------------------------------------------


@once
def onsets(table):
    return [note["onset"] for note in table["notes"]]


@once
def has_durations(table):
    return all(note["duration"] is not None for note in table["notes"])


@once
def durations(table):
    return [note["duration"] for note in table["notes"]]


@once
def semitones(table):
    """q_i = floor(p_i + 1/2)."""
    return [math.floor(Fraction(note["pitch"]) + Fraction(1, 2)) for note in table["notes"]]


@once
def intervals(table):
    q = semitones(table)
    return [q[i + 1] - q[i] for i in range(len(q) - 1)]


@once
def iois(table):
    t = onsets(table)
    return [t[i + 1] - t[i] for i in range(len(t) - 1)]


def is_step(k):
    return abs(k) in (1, 2)


def is_skip(k):
    return abs(k) in (3, 4)


def is_leap(k):
    return abs(k) >= 5


@once
def degrees(table):
    tonic = table["solo"]["key"]["tonic"]
    return [(q - tonic) % 12 for q in semitones(table)]


MODES = ("major", "ionian", "minor", "aeolian", "dorian", "phrygian", "lydian", "mixolydian", "locrian")


def mode(table):
    return table["solo"]["key"]["mode"]


@once
def chord_of_each_note(table):
    """The last chord that starts at or before each onset; None where there is none or it is "no chord"."""
    found = []
    for t in onsets(table):
        now = None
        for chord in table["chords"]:
            if chord["onset"] <= t:
                now = chord
        found.append(now if now is not None and now["root"] is not None else None)
    return found


# meter ----------------------------------------------------------------------------------------------------------------


def meter_in_force(table, time):
    """Numerator and denominator at a time; the first meter also before its own onset; 2/2 counts as 4/4."""
    first = table["solo"]["meter"][0]
    found = (first[1], first[2])
    for onset, numerator, denominator in table["solo"]["meter"]:
        if onset <= time:
            found = (numerator, denominator)
    return (4, 4) if found == (2, 2) else found


def is_compound(meter):
    numerator, denominator = meter
    if (numerator, denominator) in ((3, 8), (3, 16)):
        return True
    return numerator >= 6 and numerator % 3 == 0 and denominator >= 8


def beat_of(meter):
    unit = Fraction(4, meter[1])
    return 3 * unit if is_compound(meter) else unit


def bar_length_of(meter):
    return meter[0] * Fraction(4, meter[1])


def beat_at(table, time):
    return beat_of(meter_in_force(table, time))


def length_in(table, start, end, unit):
    """Length of [start, end), piece by piece where the meter changes; `unit`: a meter's bar or beat."""
    cuts = [start]
    for onset, _, _ in table["solo"]["meter"]:
        if start < onset < end and onset not in cuts:
            cuts.append(onset)
    cuts = [*sorted(cuts), end]
    total = Fraction(0)
    for i in range(len(cuts) - 1):
        total += (cuts[i + 1] - cuts[i]) / unit(meter_in_force(table, cuts[i]))
    return total


# bars -----------------------------------------------------------------------------------------------------------------


def bar_index(table, time):
    """The last bar whose line lies at or before the time."""
    found = None
    for i, bar in enumerate(table["bars"]):
        if bar[0] <= time:
            found = i
    return found


def position_of(table, time):
    return time - table["bars"][bar_index(table, time)][0]


@once
def positions(table):
    return [position_of(table, t) for t in onsets(table)]


def next_line(table, index):
    """Line of the next bar; after the last bar, its end."""
    bars = table["bars"]
    return bars[index + 1][0] if index + 1 < len(bars) else bars[index][1]


@once
def on_beat(table):
    """Whether each note starts on a beat of its bar."""
    return [x % beat_at(table, t) == 0 for x, t in zip(positions(table), onsets(table), strict=True)]


@once
def beat_starts(table):
    """Start of every beat of every bar, counted from the bar's line, with where it ends."""
    beats = []
    for index, bar in enumerate(table["bars"]):
        stop = next_line(table, index)
        beat = beat_at(table, bar[0])
        start = bar[0]
        while start < stop:
            beats.append((start, min(start + beat, stop)))
            start += beat
    return beats


# span and gaps --------------------------------------------------------------------------------------------------------


def next_beat_after(table, time):
    """The first beat of the grid strictly after a time."""
    for start, stop in beat_starts(table):
        if start <= time < stop:
            return stop
    raise AssertionError("a note outside the bars")


@once
def latest_end(table):
    if not has_durations(table):
        return next_beat_after(table, onsets(table)[-1])
    return max(t + d for t, d in zip(onsets(table), durations(table), strict=True))


def span(table):
    return latest_end(table) - onsets(table)[0]


def span_in_bars(table):
    return length_in(table, onsets(table)[0], latest_end(table), bar_length_of)


def span_in_beats(table):
    return length_in(table, onsets(table)[0], latest_end(table), beat_of)


@once
def gaps(table):
    """g_i, one for each note but the last."""
    t = onsets(table)
    if not has_durations(table):
        return [Fraction(0) for _ in t[:-1]]
    found = []
    latest = None
    for i in range(len(t) - 1):
        end = t[i] + durations(table)[i]
        latest = end if latest is None or end > latest else latest
        found.append(max(Fraction(0), t[i + 1] - latest))
    return found


@once
def full_bars(table):
    """(index, line, next line) of the bars of full length wholly inside [t_1, latest end)."""
    first, last = onsets(table)[0], latest_end(table)
    found = []
    for index, (line, end, _) in enumerate(table["bars"]):
        full = bar_length_of(meter_in_force(table, line))
        if end - line == full and line >= first and end <= last:
            found.append((index, line, next_line(table, index)))
    return found


def onsets_in(table, line, stop):
    return [t for t in onsets(table) if line <= t < stop]


# phrases --------------------------------------------------------------------------------------------------------------


def median(values):
    ordered = sorted(values)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return Fraction(ordered[half])
    return Fraction(ordered[half - 1] + ordered[half]) / 2


@once
def breaths(table):
    """Whether a breath follows each note but the last."""
    return [g >= beat_at(table, t) / 2 for g, t in zip(gaps(table), onsets(table)[:-1], strict=True)]


@once
def phrase_ends(table):
    """Whether each note is the last of its phrase."""
    t, g, ioi = onsets(table), gaps(table), iois(table)
    if not ioi:
        return [True] * len(t)
    middle = median(ioi)
    ends = []
    for i in range(len(t) - 1):
        beat = beat_at(table, t[i])
        long_wait = ioi[i] >= 2 * beat and ioi[i] >= Fraction(5, 2) * middle
        ends.append(g[i] >= beat or long_wait)
    return [*ends, True]


@once
def phrases(table):
    """Lists of note numbers, one a phrase."""
    found = [[]]
    for i, last in enumerate(phrase_ends(table)):
        found[-1].append(i)
        if last:
            found.append([])
    return [phrase for phrase in found if phrase]


# statistics -----------------------------------------------------------------------------------------------------------


def counts(values):
    found = {}
    for value in values:
        found[value] = found.get(value, 0) + 1
    return found


def entropy(values):
    """Plug-in entropy in bits."""
    values = list(values)
    if not values:
        raise Unmeasured(NOTHING)
    total = 0.0
    for count in counts(values).values():
        p = count / len(values)
        total -= p * math.log2(p)
    return total


def sd_over_mean(values):
    """SD (ddof 0) over the mean."""
    mean = Fraction(sum(values)) / len(values)
    if mean == 0:
        raise Unmeasured(NOTHING)
    variance = sum((Fraction(v) - mean) ** 2 for v in values) / len(values)
    return math.sqrt(variance) / float(mean)


def share_of(mask):
    """Share of True."""
    if not mask:
        raise Unmeasured(NOTHING)
    return Fraction(sum(mask), len(mask))


@once
def pulses(table):
    """Pulses a beat: doubled while the commonest IOI (of a tie the longest) is a quarter of a pulse or shorter."""
    shares = []
    for i, ioi in enumerate(iois(table)):
        shares.append(ioi / beat_of(meter_in_force(table, onsets(table)[i])))
    commonest = max(shares, key=lambda share: (shares.count(share), share))
    parts = 1
    while commonest * parts <= Fraction(1, 4) and parts < 8:
        parts *= 2
    return parts


@once
def on_pulse(table):
    """Whether each note starts on a pulse of its bar."""
    parts = pulses(table)
    return [
        (x * parts / beat_of(meter_in_force(table, t))).denominator == 1
        for x, t in zip(positions(table), onsets(table), strict=True)
    ]

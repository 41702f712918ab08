"""From a played take to written notes: doubled notes merged, chords put together, onsets quantised, gaps closed.

Conventions: positions are in quarter notes, their beats as the source has them; seconds are real ones.

Named rules
-----------
doubled notes
    The same pitch (to the semitone) within 30 ms is one note; the longer one stays.
double stops
    Different pitches each within 30 ms of the one before have one onset, that of the highest.
articulation
    A gap shorter than an eighth before the next onset is how the note was played, not a rest, and is closed.
ringing
    A note that sounds past the next onset ends there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import LimitError
from stylemeter.music.melody import Technique
from stylemeter.music.meter import TICKS, Meter, lay_bars, regular_spans
from stylemeter.reading.draft.build import Draft, RawNote
from stylemeter.reading.draft.printed_bars import bar_name
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits
from stylemeter.reading.performed.grids import Units, beat_units
from stylemeter.reading.performed.quantise import Quantised, quantise

__all__ = [
    "CLOSED",
    "CUT",
    "TOGETHER",
    "Laid",
    "Take",
    "bar_namer",
    "check_span",
    "close_gaps",
    "count_at",
    "lay",
    "settle",
]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Onsets closer than this belong together (seconds).
TOGETHER = 0.03
#: Gaps shorter than this are articulation (quarter notes: an eighth).
ARTICULATION = 0.5
#: Gaps and overlaps shorter than this are not worth counting (quarter notes).
UNHEARD = 1 / 32
#: Lateness of a take that is worth telling (seconds), and share of doubtful notes from which its beats are doubted.
LATENESS_TOLD = 0.01
DOUBTFUL = 0.1
CLOSED = "shorter than an eighth taken as articulation and closed"
CUT = "cut where the next one begins"


@dataclass(frozen=True, slots=True)
class Take:
    """What was played.

    Attributes
    ----------
    onset, end : ndarray of shape (n_notes,)
        Quarter notes; `end` after `onset`.
    seconds : ndarray of shape (n_notes,)
        Onsets.
    pace : ndarray of shape (n_notes,)
        Seconds a quarter note lasts at each onset.
    pitch : ndarray of shape (n_notes,)
        Sounding MIDI note numbers, fractions allowed.
    technique : ndarray of shape (n_notes,) or None
        `Technique` bits, where the source can say.
    places : ndarray of shape (n_notes, 2) or None
        String and fret of each, where the source can say.
    confidence : ndarray of shape (n_notes,) or None
        As in `Melody`, where the notes had to be heard.
    """

    onset: Floats
    end: Floats
    seconds: Floats
    pace: Floats
    pitch: Floats
    technique: Ints | None = None
    places: Ints | None = None
    confidence: Floats | None = None

    def take(self, index: Ints) -> Take:
        """The notes of these indices."""
        technique = None if self.technique is None else self.technique[index]
        places = None if self.places is None else self.places[index]
        confidence = None if self.confidence is None else self.confidence[index]
        pitch, pace = self.pitch[index], self.pace[index]
        return Take(self.onset[index], self.end[index], self.seconds[index], pace, pitch, technique, places, confidence)


@dataclass(frozen=True, slots=True)
class Laid:
    """Written notes, what has to be told of the take, and what was mended (places in written ticks)."""

    notes: list[RawNote]
    guessed_share: float
    remarks: list[str]
    found: Findings


def check_span(quarters: float, meters: Sequence[Meter]) -> None:
    """Refuse a melody whose end lies out of bounds."""
    end = int(quarters * TICKS)
    laid = meters or [Meter(0, 4, 4)]
    ends = [*(meter.onset for meter in laid[1:]), end]
    bars = sum(max(-((meter.onset - stop) // meter.bar), 0) for meter, stop in zip(laid, ends, strict=True))
    if end > limits.TICKS_MAX or bars > limits.BARS_MAX:
        raise LimitError(
            f"its last note ends in bar {bars}: no more than {limits.BARS_MAX} bars can be read",
            mend="look for a giant pause in it, or give a shorter take",
        )


def lay(take: Take, meters: Sequence[Meter], first_line: int = 0) -> Laid:
    """Write a played take.

    Parameters
    ----------
    take : Take
        At least one note, in any order.
    meters : sequence of Meter
        At least one.
    first_line : int
        Tick of a bar line; beats are counted from it.

    Returns
    -------
    Laid
        Notes in order of onset; those of a chord share one, the top one is the line's.
    """
    order = np.lexsort((take.pitch, take.seconds)).astype(np.int64)
    order, groups, doubled = _together(take, order)
    line = take.take(order[_tops(take.pitch[order], groups)])
    rising = np.maximum.accumulate(line.onset + 1e-9 * np.arange(len(line.onset)))
    quantised = quantise(rising, line.pace, _units(rising, meters, first_line))
    duration, closed, cut = close_gaps(quantised.onset, rising, line.end)
    onset, length, kept = quantised.onset[groups], duration[groups], take.take(order)
    notes = [
        RawNote(
            int(onset[i]),
            int(length[i]),
            float(kept.pitch[i]),
            None if kept.technique is None else Technique(int(kept.technique[i])),
            float(kept.seconds[i]),
            -1 if kept.places is None else int(kept.places[i, 0]),
            -1 if kept.places is None else int(kept.places[i, 1]),
            None if kept.confidence is None else float(kept.confidence[i]),
        )
        for i in range(len(order))
    ]
    found = Findings()
    count_at(found, "doubled note", "(same pitch within 30 ms) merged", quantised.onset[doubled])
    count_at(found, "gap", CLOSED, quantised.onset[closed])
    count_at(found, "note", CUT, quantised.onset[cut])
    return Laid(notes, quantised.guessed_share, _fit_words(quantised), found)


def settle(laid: Laid, meters: Sequence[Meter], bars: Sequence[tuple[int, int]] = ()) -> tuple[Draft, int]:
    """A draft of laid notes whose first bar line is at tick 0, and by how many ticks all was moved for it.

    Notes before that line become a pickup, with whole bars before it where it is long.

    Parameters
    ----------
    laid : Laid
    meters : sequence of Meter
        Empty where the source has none (4/4 is then assumed further on).
    bars : sequence of (start, length)
        Printed bars in ticks, where they are not simply full ones from tick 0.
    """
    first = min(note.onset for note in laid.notes)
    full = meters[0].bar if meters else 4 * TICKS
    shift = max(-(first // full), 0) * full
    notes = [replace(note, onset=note.onset + shift) for note in laid.notes] if shift else laid.notes
    moved = [replace(meter, onset=meter.onset + shift if index else 0) for index, meter in enumerate(meters)]
    spans = [(start + shift, length) for start, length in bars]
    if shift and first % full:
        line = first + shift - first % full + full
        pickup = (first + shift, full - first % full)
        spans = [pickup, *(spans or regular_spans(moved or (Meter(0, 4, 4),), line, line + 1))]
    draft = Draft(notes, moved, spans or None, guessed_share=laid.guessed_share)
    name = bar_namer(draft)
    return replace(draft, remarks=laid.remarks + laid.found.lines(lambda tick: name(tick + shift))), shift


def bar_namer(draft: Draft) -> Callable[[int], str]:
    """Function from a tick to the bar it lies in, as it is told."""
    meters = draft.meters or (Meter(0, 4, 4),)
    end = max(note.onset for note in draft.notes) + 1
    spans = list(draft.spans or [])
    covered = sum(spans[-1]) if spans else 0
    bars = lay_bars(spans + regular_spans(meters, covered, end) if covered < end else spans, meters)
    return lambda tick: bar_name(bars, tick)


def _units(onset: Floats, meters: Sequence[Meter], first_line: int) -> Units:
    """Beats from the first bar line, or from as many whole bars before it as it takes."""
    start = first_line
    while start > onset[0] * TICKS:
        start -= meters[0].bar
    return beat_units(meters, start, int(onset[-1] * TICKS) + 1)


def _together(take: Take, order: Ints) -> tuple[Ints, Ints, Ints]:
    """Notes kept, in order, the chord each belongs to, and the chord of every doubled one that was merged."""
    far = np.diff(take.seconds[order], prepend=-np.inf) >= TOGETHER
    chord = np.cumsum(far) - 1
    semitone = np.floor(take.pitch[order] + 0.5)
    best: dict[tuple[int, int], int] = {}
    for index, key in enumerate(zip(chord.tolist(), semitone.astype(int).tolist(), strict=True)):
        other = best.get(key)
        if other is None or take.end[order[index]] > take.end[order[other]]:
            best[key] = index
    kept = np.array(sorted(best.values()), dtype=np.int64)
    return order[kept], chord[kept], np.delete(chord, kept)


def _tops(pitch: Floats, groups: Ints) -> Ints:
    """Index of the highest note of each chord."""
    top: dict[int, int] = {}
    for index, (group, p) in enumerate(zip(groups.tolist(), pitch.tolist(), strict=True)):
        if group not in top or p > pitch[top[group]]:
            top[group] = index
    return np.array(list(top.values()), dtype=np.int64)


def close_gaps(onset: Ints, played: Floats, end: Floats) -> tuple[Ints, Ints, Ints]:
    """Durations of a written line.

    Parameters
    ----------
    onset : ndarray of shape (n_notes,)
        Written onsets in ticks, strictly rising.
    played, end : ndarray of shape (n_notes,)
        Played onsets and ends in quarter notes.

    Returns
    -------
    duration : ndarray of shape (n_notes,)
        Ticks, greater than 0, none past the next onset. A note with a rest after it ends on the nearest sixteenth,
        or third of a quarter where it begins on one.
    closed, cut : ndarray
        Indices of the notes behind which a gap was closed, and of those cut at the next onset.

    Examples
    --------
    >>> q = TICKS
    >>> onsets = np.array([0, q // 2, q, 3 * q])
    >>> close_gaps(onsets, onsets / q, np.array([0.3, 0.9, 1.55, 4.02]))[0].tolist()
    [5040, 5040, 5040, 10080]
    """
    following = np.append(onset[1:], np.iinfo(np.int64).max)
    gap = np.append(played[1:], np.inf) - end
    steps = [TICKS // parts for parts in (4, 3, 8, 6, 16)]
    step = np.select([onset % s == 0 for s in steps], steps, TICKS // 12)
    stop = np.round(end * TICKS / step).astype(np.int64) * step
    stop = np.minimum(np.maximum(stop, onset + step), following)
    stop = np.where(gap < ARTICULATION, following, stop)
    closed = np.flatnonzero((gap < ARTICULATION) & (gap > UNHEARD))
    return stop - onset, closed, np.flatnonzero(gap < -UNHEARD)


def count_at(found: Findings, noun: str, rest: str, ticks: Ints) -> None:
    """Count something at several ticks."""
    if len(ticks):
        found.add(noun, rest, int(ticks.min()), len(ticks))


def _fit_words(quantised: Quantised) -> list[str]:
    """How the onsets fit their beats."""
    error = float(np.sqrt(np.mean(quantised.error**2)))
    share = quantised.guessed_share
    fit = f"onsets moved to the nearest place in their beats (root mean square {1000 * error:.0f} ms)"
    told = [f"{fit}; {_percent(share)} of them may be written at another place than meant"]
    if share > DOUBTFUL:
        told.append("the notes fit these beats badly: say the beats with --tempo and --first-beat")
    if abs(quantised.lateness) >= LATENESS_TOLD:
        side = "behind" if quantised.lateness > 0 else "ahead of"
        told.append(f"the take lies {1000 * abs(quantised.lateness):.0f} ms {side} its beats: taken out")
    if quantised.swing is not None:
        ratio = quantised.swing / (1 - quantised.swing)
        told.append(f"swing: off-beat eighths lie late ({ratio:.2f} to 1) and are written as even eighths")
    return told


def _percent(share: float) -> str:
    """A share in words."""
    return "less than 1 %" if share < 0.01 else f"about {100 * share:.0f} %"

"""The beats of a take nobody told them of: the tempo its onsets speak for, the runners-up, and its drift followed.

A tempo is judged by where its onsets would lie in the beat: on it or on its half often, on quarters and thirds less
often, anywhere else hardly ever. Long notes weigh more. Windows of a take are judged apart and added up, so that drift
doesn't blur them. Conventions: times in seconds, tempi in quarter notes a minute.

References
----------
.. [1] D. Moelants, "Preferred tempo reconsidered", Proceedings of ICMPC 7, 2002 (people tap near 120 to 130 a minute,
   few below 60 or above 200: the prior's middle and width are our own, wider; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Beats", "Guess", "follow", "guess", "phase_of"]

Floats = npt.NDArray[np.float64]

#: Tempi looked at, and the step between them (natural log).
SLOWEST, FASTEST, STEP = 45.0, 230.0, 0.006
#: Middle and width (octaves) of the tempi expected, and their weight against a note's.
MIDDLE, WIDTH, PRIOR = 110.0, 0.45, 0.25
#: Timing noise (seconds), and where in the beat notes lie, how often; the rest lie anywhere.
NOISE = 0.02
PLACES = ((0.0, 0.5), (0.5, 0.25), (0.25, 0.06), (0.75, 0.06), (1 / 3, 0.03), (2 / 3, 0.06))
ANYWHERE = 0.02
BINS = 192
#: Windows (seconds), their step, their number at most and the least notes in one.
WINDOW, WINDOW_STEP, WINDOWS_MAX, NOTES_MIN = 14.0, 7.0, 24, 8
#: By how much the best must lead the next unlike it, a note, to be sure; from how many notes on. On 240 lines of plain,
#: mixed, dense and triplet rhythms between 60 and 190 a minute, none of the 16 beyond it was wrong, 1 of 31 beyond 0.6.
SURE, SURE_NOTES = 0.7, 24
#: Tempi nearer than this (natural log) are one.
LIKE = 0.04
#: Notes on either side of a drift's running median, and how near their half of a beat those lie that count.
AROUND, NEAR = 9, 0.1
#: How fast the beat is moved by an onset's error, its rate by the same, and the largest rate (share of the tempo).
PHASE_GAIN, RATE_GAIN, RATE_MOST = 0.25, 0.06, 0.1
#: Quarter notes by which a beat must move to be followed.
DRIFTED = 1 / 8


@dataclass(frozen=True, slots=True)
class Guess:
    """A tempo the onsets speak for.

    Attributes
    ----------
    tempo : float
    runner_up : float
    sure : bool
    lead : float
        By how much a note speaks more for the first than for the second, in natural log.
    """

    tempo: float
    runner_up: float
    sure: bool
    lead: float


def guess(onset: Floats, end: Floats) -> Guess | None:
    """The tempo of a take, None where it has too few notes to tell any.

    Parameters
    ----------
    onset, end : ndarray of shape (n_notes,)
        Rising.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> beats = np.cumsum(rng.choice([0.5, 0.5, 1.0, 0.25, 0.25], 60))
    >>> played = beats * 60 / 96 + rng.normal(0, 0.01, 60)
    >>> found = guess(np.sort(played), np.sort(played) + 0.2)
    >>> abs(found.tempo / 96 - 1) < 0.02
    True
    """
    if len(onset) < NOTES_MIN:
        return None
    weight = _weights(onset, end)
    tempi = np.exp(np.arange(np.log(SLOWEST), np.log(FASTEST), STEP))
    windows = [_evidence(onset[part], weight[part], tempi) for part in _windows(onset)]
    total = np.mean(windows, axis=0) - PRIOR * 0.5 * (np.log2(tempi / MIDDLE) / WIDTH) ** 2
    best = int(total.argmax())
    unlike = np.abs(np.log(tempi / tempi[best])) >= LIKE
    second = int(np.where(unlike, total, -np.inf).argmax())
    lead = float(total[best] - total[second])
    sure = lead > SURE and len(onset) >= SURE_NOTES
    tempo, other = (_refined(onset, weight, float(tempi[k])) for k in (best, second))
    return Guess(tempo, other, sure, lead)


def _weights(onset: Floats, end: Floats) -> Floats:
    """Longer notes weigh more: the time to the next onset against the median."""
    lasts = np.diff(np.append(onset, end[-1]))
    return np.clip(lasts / max(float(np.median(lasts)), 1e-3), 0.5, 3) ** 0.7


def _windows(onset: Floats) -> list[slice]:
    """Stretches of the take with enough notes; all of it where there is none."""
    starts = np.arange(onset[0], max(onset[-1] - WINDOW / 2, onset[0]) + 1e-6, WINDOW_STEP)
    if len(starts) > WINDOWS_MAX:
        starts = starts[np.linspace(0, len(starts) - 1, WINDOWS_MAX).astype(int)]
    parts = [slice(*np.searchsorted(onset, [s, s + WINDOW]).tolist()) for s in starts.tolist()]
    return [p for p in parts if p.stop - p.start >= NOTES_MIN] or [slice(0, len(onset))]


def _density(quarter: float) -> Floats:
    """Log of how often notes lie in each bin of a beat."""
    z = np.arange(BINS) / BINS
    noise = min(0.12, NOISE / quarter)
    out = np.full(BINS, ANYWHERE)
    for place, share in PLACES:
        far = np.abs((z - place + 0.5) % 1 - 0.5)
        out += share / (noise * 2.507) * np.exp(-0.5 * (far / noise) ** 2)
    return np.asarray(np.log(out))


def _phases(onset: Floats, weight: Floats, quarter: float) -> Floats:
    """Mean log density of the notes for every phase of the beat (bins)."""
    place = onset / quarter % 1
    held = np.bincount((place * BINS).astype(int) % BINS, weight, BINS)
    match = np.fft.irfft(np.fft.rfft(held) * np.conj(np.fft.rfft(_density(quarter))), BINS)
    return np.asarray(match / weight.sum())


def _evidence(onset: Floats, weight: Floats, tempi: Floats) -> Floats:
    """What the onsets say for each tempo, at its best phase; per note, in time not in beats."""
    return np.array([_phases(onset - onset[0], weight, 60 / t).max() for t in tempi.tolist()])


def _refined(onset: Floats, weight: Floats, tempo: float) -> float:
    """A tempo fitted to the onsets near its half beats."""
    quarter = 60 / tempo
    begin = phase_of(onset, weight, tempo)
    first = quarter
    for _ in range(4):
        half = np.round((onset - begin) / quarter * 2) / 2
        error = onset - begin - half * quarter
        near = weight / (1 + (error / 0.03) ** 2)
        design = np.stack([np.ones_like(half), half], axis=1)
        begin, quarter = np.linalg.lstsq(
            (design * near[:, None]).T @ design, (design * near[:, None]).T @ onset, rcond=None
        )[0].tolist()
        if not 0.97 < quarter / first < 1.03:
            return tempo
    return 60 / quarter


def phase_of(onset: Floats, weight: Floats | None, tempo: float) -> float:
    """Second of the beat at or before the first onset (or hardly after it), as the first part of a take has it."""
    quarter = 60 / tempo
    early = onset <= onset[0] + WINDOW
    weight = np.ones(len(onset)) if weight is None else weight
    phase = int(_phases(onset[early], weight[early], quarter).argmax()) / BINS * quarter
    beats = np.floor((onset[0] - phase) / quarter + 0.2)
    return float(phase + beats * quarter)


@dataclass(frozen=True, slots=True)
class Beats:
    """Where a take's onsets lie in quarter notes, its drift taken out.

    Attributes
    ----------
    position, pace : ndarray of shape (n_notes,)
        Quarter notes from the first beat, and seconds a quarter lasts at each onset.
    drift : float
        Largest change of the tempo against the one given, as a share of it.
    """

    position: Floats
    pace: Floats
    drift: float


def follow(onset: Floats, tempo: float, first_beat: float) -> Beats:
    """Lay onsets on an even tempo and follow its slow drift.

    The distance of the onsets from their nearest halves of a beat, its running median over `2 * AROUND + 1` notes, is
    taken out where it grows beyond a lateness: what all of a take is late by is left to the grid.
    """
    quarter = 60 / tempo
    position = (onset - first_beat) / quarter
    correction = _tracked(position)
    for _ in range(3):
        error = _from_half(position - correction)
        correction = correction + _running_median(np.where(np.abs(error) < NEAR, error, np.nan))
    correction -= np.median(correction[: AROUND + 1])
    # what wavers by less than this is playing, not drift
    if np.abs(correction).max(initial=0.0) < DRIFTED:
        return Beats(position, np.full(len(onset), quarter), 0.0)
    position = position - correction
    span = np.gradient(onset, position) if len(onset) > 1 else np.array([quarter])
    pace = np.clip(_running_median(span), quarter * 0.8, quarter * 1.25)
    return Beats(position, pace, float(np.abs(quarter / pace - 1).max()))


def _from_half(position: Floats) -> Floats:
    """Distance from the nearest half of a beat."""
    return np.asarray(position - np.round(position * 2) / 2)


def _tracked(position: Floats) -> Floats:
    """By how much the beat has moved at each onset: a loop follows phase and rate of the onsets near half beats."""
    moved, rate, before = 0.0, 0.0, float(position[0])
    out = np.empty(len(position))
    for i, place in enumerate(position.tolist()):
        moved += rate * (place - before)
        before = place
        error = float(_from_half(np.array(place - moved)))
        if abs(error) < NEAR:
            moved += PHASE_GAIN * error
            rate = min(max(rate + RATE_GAIN * error, -RATE_MOST), RATE_MOST)
        out[i] = moved
    return out


def _running_median(x: Floats) -> Floats:
    """Median over the notes around each."""
    out = np.zeros(len(x))
    known = np.flatnonzero(np.isfinite(x))
    for i in range(len(x)):
        k = int(np.searchsorted(known, i))
        near = x[known[max(0, k - AROUND) : k + AROUND + 1]]
        out[i] = np.median(near) if len(near) > AROUND else 0.0
    return out

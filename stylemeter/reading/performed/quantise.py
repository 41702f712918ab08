"""From played onsets to written ones: each beat on the grid that fits it best.

Conventions: positions are in quarter notes from the origin of `units`, the beats a grid is chosen for; noise is in
seconds. A beat's onsets may lie on its halves, quarters (sixteenths), thirds (triplets) or finer. A grid costs
its squared error in units of the noise, a price for every onset that grows with the number of places (log of the
parts: the finer grid must earn its freedom), and how rarely this take uses it. Noise, lateness, use of the grids
and swing are fitted to the take in a few passes. Two onsets never share a place: a beat with more onsets than
places takes a finer grid. Swung off-beat eighths are written as even ones, as on lead sheets.

References
----------
.. [1] A. T. Cemgil, P. Desain & B. Kappen, "Rhythm quantization for transcription", Computer Music Journal
   24(2):60-76, 2000 (quantisation as the most probable score under timing noise and a prior on its
   complexity; grids, prices and fit are our own).
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field, replace
from fractions import Fraction
from statistics import median

import numpy as np
import numpy.typing as npt

from stylemeter.music.meter import TICKS
from stylemeter.reading.performed.grids import Grid, Units, beat_units, even_grid, grids_of, kind_of, put

__all__ = ["Quantised", "Units", "beat_units", "quantise"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Standard deviation of the timing noise before the take is known (seconds), how many onsets that guess weighs,
#: and the bounds of the fitted one. Skilled performers lie between 10 and 30 ms: common practice, no source.
NOISE, NOISE_WEIGHT, NOISE_MIN, NOISE_MAX = 0.02, 8.0, 0.004, 0.08
#: Greatest lateness of a whole take that is taken out (seconds).
LATENESS_MAX = 0.06
#: Where in the beat a swung off-beat may lie, and how many of them it takes to tell.
SWING_MIN, SWING_MAX, SWING_ONSETS = 0.54, 0.72, 8
#: Beats that the first guess of the grids' use weighs.
USE_WEIGHT = 6.0
PASSES = 3
#: Beats from the start of a take to which noise, lateness, use of the grids and swing are fitted.
FIT_BEATS = 600
#: In the place of a grid's parts, for a beat whose onsets lie on none; and how often that is before the take is known.
FREE, FREE_USE = 0, 0.02
#: From which part of a beat on an onset may stand for the next beat.
EARLY = 0.75
#: How much more than the best a grid may cost before its onsets are looked at (e to the minus 12 of its chance).
HOPELESS = 12.0
#: Cost of an onset in a beat so crowded that no grid has room.
CROWDED_COST = 50.0
#: No performed source is free of doubt.
GUESS_MIN = 0.005


@dataclass(frozen=True, slots=True)
class Quantised:
    """Written onsets and how well they fit.

    Attributes
    ----------
    onset : ndarray of shape (n_notes,)
        Ticks, strictly rising.
    error : ndarray of shape (n_notes,)
        Played minus written onset in seconds, the take's lateness taken out.
    lateness : float
        Seconds by which the take lies behind its beats.
    swing : float or None
        Where in the beat the off-beat eighths lie, where they swing: 2/3 is 2 to 1.
    guessed_share : float
        Share of the onsets likely to be written at another place than meant: the mean over the onsets of the
        probability, under the fitted noise, that another grid, no grid or the grid's next place is the right one.
        Agrees with the share in fact wrong for noise up to 25 ms at 120 quarters a minute; for takes off any beat it is
        a lower bound (0.1 to 0.6 measured).
    """

    onset: Ints
    error: Floats
    lateness: float
    swing: float | None
    guessed_share: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """What is fitted to the take."""

    noise: float = NOISE
    lateness: float = 0.0
    swing: float | None = None
    #: (kind of beat, parts, swung) -> beats seen on that grid; and beats seen of each kind.
    use: Counter[tuple[str, int, bool]] | None = None

    def prices(self, kind: str) -> list[float]:
        """Minus log of how often each grid of a kind of beat is used; last, of how often none is."""
        grids = grids_of(kind, self.swing)
        seen = self.use or Counter()
        mine = [seen[kind, grid.parts, grid.swung] for grid in grids]
        known = sum(grid.use for grid in grids)
        free = seen[kind, FREE, False]
        total = sum(mine) + free + USE_WEIGHT
        shares = [(n + USE_WEIGHT * (1 - FREE_USE) * g.use / known) / total for n, g in zip(mine, grids, strict=True)]
        return [-math.log(share) for share in [*shares, (free + USE_WEIGHT * FREE_USE) / total]]


@dataclass(frozen=True, slots=True)
class _Beat:
    """A beat that may hold onsets: its own in ticks as played, and how many seconds it lasts."""

    start: int
    length: int
    kind: str
    played: tuple[float, ...]
    seconds: float


@dataclass(frozen=True, slots=True)
class _Choice:
    """Onsets of a beat on one grid."""

    cost: float
    grid: Grid
    places: tuple[int, ...]


def _cost(choice: _Choice) -> float:
    """What a choice is ranked by."""
    return choice.cost


@dataclass(frozen=True, slots=True)
class _Filled:
    """A beat with the onsets it got (its own, one early for it, without one early for the next) on every grid."""

    beat: _Beat
    fractions: tuple[float, ...]
    choices: tuple[_Choice, ...]
    #: Cost of lying anywhere in the beat, on no grid.
    free: float
    best: _Choice = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "best", min(self.choices, key=_cost))


def quantise(position: Floats, pace: Floats, units: Units, *, may_swing: bool = True) -> Quantised:
    """Write played onsets on the grids of their beats.

    Parameters
    ----------
    position : ndarray of shape (n_notes,)
        Played onsets in quarter notes, strictly rising, none before the first unit or after the last but one.
    pace : ndarray of shape (n_notes,)
        Seconds a quarter note lasts at each onset.
    units : Units
    may_swing : bool
        Whether swung eighths are looked for.

    Returns
    -------
    Quantised

    Examples
    --------
    >>> from stylemeter.music.meter import Meter
    >>> played = np.array([0.02, 0.49, 1.01, 1.26, 1.49, 1.77, 2.0, 2.34, 2.66])
    >>> found = quantise(played, np.full(9, 0.5), beat_units((Meter(0, 4, 4),), 0, 3 * TICKS))
    >>> [round(tick / TICKS, 3) for tick in found.onset.tolist()]
    [0.0, 0.5, 1.0, 1.25, 1.5, 1.75, 2.0, 2.333, 2.667]
    """
    beats = _beats(position, pace, units)
    fit = _fitted(beats[:FIT_BEATS], may_swing)
    path = _choose(beats, fit)
    onset = [tick for filled in path for tick in _ticks(filled)]
    error = [e for filled in path for e in _errors(filled)]
    share = float(np.mean([p for filled in path for p in _doubts(filled, fit.noise)]))
    return Quantised(
        np.array(onset, dtype=np.int64), np.array(error), fit.lateness, fit.swing, max(GUESS_MIN, min(share, 1.0))
    )


def _beats(position: Floats, pace: Floats, units: Units) -> list[_Beat]:
    """The beats that hold onsets, and each one that follows such a beat."""
    ticks = position * TICKS
    index = np.searchsorted(units.start, ticks, side="right") - 1
    wanted = np.union1d(index, index + 1)
    first = np.searchsorted(index, wanted, side="left")
    last = np.searchsorted(index, wanted, side="right")
    beats = []
    for unit, a, b in zip(wanted.tolist(), first.tolist(), last.tolist(), strict=True):
        length = int(units.length[unit])
        quarter = float(pace[a:b].mean()) if b > a else float(pace[max(a - 1, 0)])
        played = tuple(ticks[a:b].tolist())
        beats.append(_Beat(int(units.start[unit]), length, kind_of(length), played, quarter * length / TICKS))
    return beats


def _fitted(beats: list[_Beat], may_swing: bool) -> _Fit:
    """What fits a stretch of the take best, with or without a swing."""
    fit, path = _passes(beats, _Fit())
    swing = _swing(path) if may_swing else None
    if swing is None:
        return fit
    swung, swung_path = _passes(beats, replace(fit, swing=swing, use=None))
    # Even a triplet reading of a swing of 2 to 1 costs more (three places to choose from, not two): no price is added.
    return swung if _total(swung_path, swung) < _total(path, fit) else fit


def _passes(beats: list[_Beat], fit: _Fit) -> tuple[_Fit, list[_Filled]]:
    """Choose places and fit the take in turn."""
    path = _choose(beats, fit)
    for _ in range(PASSES - 1):
        fit = _refit(path, fit)
        path = _choose(beats, fit)
    return fit, path


def _refit(path: list[_Filled], fit: _Fit) -> _Fit:
    """Noise, lateness and use of the grids, as this choice of places has them."""
    errors = np.array([e for filled in path for e in _errors(filled)])
    shift = float(np.median(errors))
    lateness = min(max(fit.lateness + shift, -LATENESS_MAX), LATENESS_MAX)
    squares = float(np.sum((errors - (lateness - fit.lateness)) ** 2)) + NOISE_WEIGHT * NOISE**2
    noise = min(max(math.sqrt(squares / (len(errors) + NOISE_WEIGHT)), NOISE_MIN), NOISE_MAX)
    use = Counter(
        (f.beat.kind, FREE, False) if f.free < f.best.cost else (f.beat.kind, f.best.grid.parts, f.best.grid.swung)
        for f in path
    )
    return replace(fit, noise=noise, lateness=lateness, use=use)


def _choose(beats: list[_Beat], fit: _Fit) -> list[_Filled]:
    """The cheapest way through the beats, an onset late in one standing for the next where that is cheaper."""
    prices = {kind: fit.prices(kind) for kind in {beat.kind for beat in beats}}
    trail: list[dict[bool, tuple[bool, _Filled | None]]] = []
    # Cost of the cheapest way to each state: whether the last onset of the beat before is handed on to this one.
    costs = {False: 0.0}
    for index, beat in enumerate(beats):
        before = beats[index - 1] if index else None
        reached: dict[bool, float] = {}
        steps: dict[bool, tuple[bool, _Filled | None]] = {}
        for taken, cost in costs.items():
            for given in (False, True) if _may_give(beat) and index + 1 < len(beats) else (False,):
                filled = _fill(beat, before if taken else None, given, fit, prices)
                total = cost + (filled.best.cost if filled else 0.0)
                if total < reached.get(given, math.inf):
                    reached[given], steps[given] = total, (taken, filled)
        costs = reached
        trail.append(steps)
    return _back(trail, min(costs, key=lambda state: costs[state]))


def _back(trail: list[dict[bool, tuple[bool, _Filled | None]]], state: bool) -> list[_Filled]:
    """Follow the cheapest way back from its end."""
    path: list[_Filled] = []
    for steps in reversed(trail):
        state, filled = steps[state]
        if filled:
            path.append(filled)
    return path[::-1]


def _may_give(beat: _Beat) -> bool:
    """Whether the beat's last onset may stand for the next beat."""
    return bool(beat.played) and beat.played[-1] - beat.start > EARLY * beat.length


def _fill(beat: _Beat, early: _Beat | None, given: bool, fit: _Fit, prices: dict[str, list[float]]) -> _Filled | None:
    """The beat with its onsets on every grid that has room for them."""
    played = beat.played[:-1] if given else beat.played
    if early:
        played = (early.played[-1], *played)
    if not played:
        return None
    late = beat.start + fit.lateness / beat.seconds * beat.length
    fractions = tuple([(tick - late) / beat.length for tick in played])
    unit = beat.seconds**2 / (2 * fit.noise**2)
    choices: list[_Choice] = []
    least = math.inf
    *grid_prices, free_price = prices[beat.kind]
    for grid, price in zip(grids_of(beat.kind, fit.swing), grid_prices, strict=True):
        price += len(played) * math.log(len(grid.played))
        found = put(fractions, grid, (least + HOPELESS - price) / unit)
        if found:
            choices.append(_Choice(price + found[0] * unit, grid, found[1]))
            least = min(least, choices[-1].cost)
    free = free_price + len(played) * math.log(beat.seconds / (fit.noise * math.sqrt(2 * math.pi)))
    return _Filled(beat, fractions, tuple(choices) or (_crowded(fractions),), free)


def _crowded(fractions: tuple[float, ...]) -> _Choice:
    """More onsets than any grid has room for: as many places as it takes, each onset near where it was played."""
    grid = even_grid(4 * len(fractions))
    found = put(fractions, grid)
    places = found[1] if found else tuple(range(len(fractions)))
    return _Choice(CROWDED_COST * len(fractions), grid, places)


def _ticks(filled: _Filled) -> list[int]:
    """Written onsets of a beat."""
    beat, choice = filled.beat, filled.best
    return [beat.start + beat.length * choice.grid.written[place] // choice.grid.parts for place in choice.places]


def _errors(filled: _Filled) -> list[float]:
    """Played minus written onsets of a beat in seconds, the lateness taken out."""
    grid, places = filled.best.grid, filled.best.places
    return [(f - grid.played[i]) * filled.beat.seconds for f, i in zip(filled.fractions, places, strict=True)]


def _total(path: list[_Filled], fit: _Fit) -> float:
    """Minus log of the likelihood of a whole take."""
    return sum(f.best.cost + len(f.fractions) * math.log(fit.noise) for f in path)


def _swing(path: list[_Filled]) -> float | None:
    """Where the lone off-beats of quarter-note beats lie, if that can be a swing."""
    lone = []
    for filled in path:
        inner = [f for f in filled.fractions if 0.15 < f < 0.85]
        if filled.beat.kind == "quarter" and len(inner) == 1 and inner[0] > 0.4:
            lone.append(inner[0])
    if len(lone) < SWING_ONSETS:
        return None
    middle = round(median(lone), 3)
    return middle if SWING_MIN <= middle <= SWING_MAX else None


def _doubts(filled: _Filled, noise: float) -> list[float]:
    """Probability of each onset of a beat that it belongs elsewhere: on another grid, on none, or on its own."""
    best = filled.best
    chosen = _written(best)
    weights = [math.exp(best.cost - choice.cost) for choice in filled.choices]
    free = math.exp(min(best.cost - filled.free, 50.0))
    whole = sum(weights) + free
    other = [free / whole] * len(chosen)
    for choice, weight in zip(filled.choices, weights, strict=True):
        for index, written in enumerate(_written(choice)):
            if written != chosen[index]:
                other[index] += weight / whole
    doubts = []
    for index, place in enumerate(best.places):
        near = _next_place(filled, index, place, noise)
        doubts.append(1 - (1 - other[index]) * (1 - near))
    return doubts


def _written(choice: _Choice) -> list[Fraction]:
    """Written places as parts of the beat."""
    return [Fraction(choice.grid.written[place], choice.grid.parts) for place in choice.places]


def _next_place(filled: _Filled, index: int, place: int, noise: float) -> float:
    """Probability that an onset belongs at the place before or after its own on the same grid."""
    played = (filled.best.grid.played[-1] - 1, *filled.best.grid.played, 1.0)
    fraction, unit = filled.fractions[index], filled.beat.seconds / noise
    before, own, after = (math.exp(-(((fraction - p) * unit) ** 2) / 2) for p in played[place : place + 3])
    return (before + after) / (before + own + after) if own else 1.0

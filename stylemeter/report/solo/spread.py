"""How a style spreads along a habit, read from its sample for the page's strips."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from stylemeter.placement.records import HabitPlace, Placement
from stylemeter.report.draw.svg import Spread
from stylemeter.style.ranks import weighted_quantile

__all__ = ["habit_spread"]

Floats = npt.NDArray[np.float64]

#: Cells of a hill, and how often its neighbours are mixed in.
CELLS = 60
SMOOTHED = 4
#: Tails left off the line, on either side.
TAIL = 0.002


def habit_spread(placed: Placement, h: HabitPlace) -> Spread | None:
    """Spread of a habit's statistic in the rungs compared with, the style's middle in the middle of the line.

    Returns
    -------
    Spread or None
        None where the style has no rung to compare with, or nothing of the habit.
    """
    sample = _sample(placed, h.name)
    if sample is None:
        return None
    values, weights = sample
    edge = (1 - placed.coverage) / 2
    shares = [TAIL, edge, 0.25, 0.5, 0.75, 1 - edge, 1 - TAIL]
    low, norm_low, half_low, middle, half_high, norm_high, high = weighted_quantile(values, weights, shares).tolist()
    solo = h.statistic if math.isfinite(h.statistic) else None
    reach = 1.04 * max(high - middle, middle - low, abs((middle if solo is None else solo) - middle), 1e-6)
    interval = None
    if h.interval is not None:
        first, last = weighted_quantile(values, weights, list(h.interval)).tolist()
        interval = (first, last)
    return Spread(
        low=middle - reach,
        high=middle + reach,
        density=_density(values, weights, middle - reach, middle + reach),
        norm=(norm_low, norm_high),
        half=(half_low, half_high),
        solo=solo,
        interval=interval,
    )


def _sample(placed: Placement, habit: str) -> tuple[Floats, Floats] | None:
    """Statistics of the style's tunes, sorted, and their weights: those of both rungs, each by its share.

    The weights add up to the families of the thinner rung, as quantiles count ranks in families.
    """
    values, weights, families = [], [], []
    for notes, share in placed.plan.rungs if placed.plan else ():
        sample = placed.profile.rung(notes).ordered(f"habit:{habit}")
        if sample.total:
            values.append(np.asarray(sample.values, dtype=float))
            weights.append(share * np.diff(sample.cumulative) / sample.total)
            families.append(sample.total)
    if not values:
        return None
    joined, weight = np.concatenate(values), np.concatenate(weights)
    order = np.argsort(joined, kind="stable")
    return joined[order], weight[order] * min(families)


def _density(values: Floats, weights: Floats, low: float, high: float) -> tuple[float, ...]:
    """Heights of the hill of sorted values, smoothed, the highest 1."""
    places = np.searchsorted(values, np.linspace(low, high, CELLS + 1))
    heights = np.diff(np.concatenate(([0.0], np.cumsum(weights)))[places])
    for _ in range(SMOOTHED):
        around = np.concatenate((heights[:1], heights, heights[-1:]))
        heights = (around[:-2] + 2 * around[1:-1] + around[2:]) / 4
    top = float(heights.max()) or 1.0
    return tuple(np.round(heights / top, 4).tolist())

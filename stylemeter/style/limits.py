"""Limits of a trait in a rung, with their confidence intervals."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from stylemeter.style.ranks import bootstrap_limits, weighted_quantile
from stylemeter.style.rung import Rung

__all__ = ["DRAWS", "limit_rows", "rounded"]

#: Draws of the family bootstrap.
DRAWS = 200


def rounded(values: npt.ArrayLike) -> list[float]:
    """Numbers to nine significant digits: the sample itself is single precision."""
    return [float(f"{v:.9g}") for v in np.asarray(values, dtype=float).ravel()]


def limit_rows(rung: Rung, feature: str, coverages: Sequence[float]) -> list[list[float]]:
    """Lower and upper limit of a feature at each coverage, then the 90 % confidence interval of each limit.

    Returns
    -------
    list of list of float
        A row a coverage: lower, upper, lower's interval, upper's interval.
    """
    sample = rung.ordered(feature)
    shares = [s for c in coverages for s in ((1 - c) / 2, (1 + c) / 2)]
    limits = weighted_quantile(sample.values, sample.weight, shares).reshape(-1, 2)
    interval = bootstrap_limits(sample, rung.family, shares, draws=DRAWS).reshape(-1, 4)
    return [rounded([*pair, *ends]) for pair, ends in zip(limits, interval, strict=True)]

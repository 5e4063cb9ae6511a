"""How long a drive takes for each kilometre of great-circle distance, from recorded drives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.errors import TooFewPointsError

LEAST_LEGS = 30
"""Drives that a fit needs. A figure of our own: below, the interval is wider than any use."""

MOST_LEGS = 1500
"""Newest drives that enter: a fit looks at all pairs of them."""

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class PaceFit:
    """Minutes a drive takes: ``start_min`` + ``min_per_km`` x great-circle km.

    ``low`` and ``high`` bound ``min_per_km`` with 95 % confidence.
    """

    min_per_km: float
    low: float
    high: float
    start_min: float
    legs: int


def fit_pace(straight_km: ArrayLike, minutes: ArrayLike) -> PaceFit:
    """Fit the pace of drives, robust against the ones that were more than a drive.

    Parameters
    ----------
    straight_km : array_like, shape (n,)
        Great-circle distance of each drive in km, oldest drive first.
    minutes : array_like, shape (n,)
        Recorded time from leaving one site to arriving at the next, in min.

    Returns
    -------
    PaceFit
        Of the newest 1,500 drives.

    Raises
    ------
    TooFewPointsError
        Fewer than 30 drives, or all of the same distance.

    Notes
    -----
    Median of the slopes of all pairs with its rank interval (Theil 1950, Sen 1968, as in
    scipy.stats.theilslopes) and the median of what the slope leaves as the start of a drive. A
    meal or an errand lengthens near and far drives alike and so falls on either end of a pair: it
    moves the start a little, the slope hardly. A start below nothing is no start: then the slope
    is the median of minutes over km, with the interval of its order statistics.
    Checked against: drives made with a known pace (tests/stats/test_pace.py).
    """
    from scipy.stats import theilslopes

    km = np.asarray(straight_km, dtype=np.float64)[-MOST_LEGS:]
    taken = np.asarray(minutes, dtype=np.float64)[-MOST_LEGS:]
    if km.size < LEAST_LEGS or np.ptp(km) == 0.0:
        raise TooFewPointsError(
            f"{km.size} drives between sites of different distance are recorded; "
            f"a pace needs {LEAST_LEGS}."
        )
    slope, _, low, high = (float(value) for value in theilslopes(taken, km, CONFIDENCE))
    start = float(np.median(taken - slope * km))
    if start < 0.0 or slope <= 0.0:
        slope, low, high = _median(taken / km)
        start = 0.0
    return PaceFit(slope, low, high, start, int(km.size))


def _median(
    ratios: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> tuple[float, float, float]:
    """Give a median and the order statistics that bound it (binomial, distribution-free)."""
    from scipy.stats import binom

    ordered = np.sort(ratios)
    rank = int(binom.ppf((1.0 - CONFIDENCE) / 2.0, ordered.size, 0.5))
    low, high = ordered[max(rank - 1, 0)], ordered[min(ordered.size - rank, ordered.size - 1)]
    return float(np.median(ordered)), float(low), float(high)

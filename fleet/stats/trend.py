"""Whether a series rises or falls, and how fast, whatever a few outliers say."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm, theilslopes

from fleet.errors import TooFewPointsError
from fleet.stats.array import Floats

LEAST_VALUES = 3


@dataclass(frozen=True, slots=True)
class Slope:
    """A line through the middle of the data, and the interval that holds its slope."""

    slope: float
    intercept: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Tendency:
    """Mann and Kendall's S, its standard score, and the two-sided p by the normal law."""

    s: int
    z: float
    p: float


def theil_sen(times: ArrayLike, values: ArrayLike, *, confidence: float = 0.95) -> Slope:
    """Give the median of the slopes between all pairs of points.

    Parameters
    ----------
    times, values : array_like, shape (n,)
        Times must not be all the same.
    confidence : float, default 0.95
        Of the interval of the slope.

    Returns
    -------
    Slope
        In units of value a unit of time; the line passes through the medians.

    Raises
    ------
    TooFewPointsError
        Fewer than 3 points.
    ValueError
        Not two rows of finite numbers, equally long, with different times.

    Notes
    -----
    Source: Theil 1950, Sen 1968, by scipy.stats.theilslopes.
    Checked against: a drift series of first principles (tests/stats/test_homogeneity.py).
    """
    t, y = _pairs(times, values)
    found = theilslopes(y, t, alpha=confidence)
    return Slope(
        float(found.slope), float(found.intercept), float(found.low_slope), float(found.high_slope)
    )


def mann_kendall(values: ArrayLike) -> Tendency:
    """Test whether later values tend to be larger or smaller than earlier ones.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time, evenly spaced or not.

    Returns
    -------
    Tendency
        S = pairs that rise less pairs that fall; z with the correction for continuity and ties.

    Raises
    ------
    TooFewPointsError, ValueError
        As `theil_sen`.

    Notes
    -----
    var S = (n (n-1) (2n+5) - sum over ties of t (t-1) (2t+5)) / 18.
    Source: Mann 1945, Kendall 1975 (from memory). Checked against: pymannkendall.
    """
    _, y = _pairs(np.arange(np.size(values)), values)
    s = int(np.sum(np.sign(y[np.newaxis, :] - y[:, np.newaxis])[np.triu_indices(y.size, 1)]))
    variance = _variance(y)
    z = 0.0 if s == 0 else (s - np.sign(s)) / sqrt(variance)
    return Tendency(s, float(z), float(2.0 * norm.sf(abs(z))))


def _variance(y: Floats) -> float:
    ties = np.unique(y, return_counts=True)[1]
    return float(_pair_weight(np.array([y.size])) - _pair_weight(ties)) / 18.0


def _pair_weight(count: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> int:
    return int(np.sum(count * (count - 1) * (2 * count + 5)))


def _pairs(times: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    t, y = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if t.ndim != 1 or t.shape != y.shape or not np.isfinite([t, y]).all():
        raise ValueError("two rows of finite numbers, equally long, are expected")
    if t.size < LEAST_VALUES:
        raise TooFewPointsError(f"A trend needs at least {LEAST_VALUES} points; {t.size} given.")
    if np.ptp(t) == 0.0:
        raise ValueError("the times are all the same")
    return t, y

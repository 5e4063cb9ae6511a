"""Whether a series changed its level, and after which value: rank and mean-shift tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import rankdata

from fleet.errors import TooFewPointsError
from fleet.stats.array import Floats

LEAST_VALUES = 4
"""Fewer values cannot hold two levels and a scatter about them."""

PERMUTATIONS = 1999
"""Shuffles behind a p-value: the smallest that can be told is 1 / 2000."""


@dataclass(frozen=True, slots=True)
class Break:
    """The strongest change of a series: the statistic, and how many values lie before it."""

    statistic: float
    before: int


def pettitt(values: ArrayLike) -> Break:
    """Find the change that Pettitt's rank test points at.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time; NaN is refused.

    Returns
    -------
    Break
        K = max |U_k| with U_k = 2 sum of the first k ranks - k (n + 1).

    Raises
    ------
    TooFewPointsError
        Fewer than 4 values.
    ValueError
        Not one row of finite numbers.

    Notes
    -----
    Source: Pettitt 1979, as coded in the R package `trend` 1.1.6.
    Checked against: the 40 values published with the method, the flow of the Nile, and
    pyhomogeneity (tests/stats/test_homogeneity.py).
    """
    return _strongest(_pettitt_curve(_series(values)))


def pettitt_formula_p(statistic: float, count: int) -> float:
    """Give the approximate p of Pettitt's K, good up to about 0.5.

    Notes
    -----
    p = 2 exp(-6 K^2 / (n^3 + n^2)), at most 1. Source: as `pettitt`.

    Examples
    --------
    >>> round(pettitt_formula_p(232.0, 40), 6)
    0.014556
    """
    return min(1.0, 2.0 * exp(-6.0 * statistic**2 / (count**3 + count**2)))


def snht(values: ArrayLike, *, ddof: int = 1) -> Break:
    """Find the change that the standard normal homogeneity test points at.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time, usually ratios to a reference; NaN is refused.
    ddof : int, default 1
        The values are standardised by the standard deviation with divisor n - ddof. The
        published critical values hold for 1.

    Returns
    -------
    Break
        T = max of k z1^2 + (n - k) z2^2, z1 and z2 being the standardised means of both parts.

    Raises
    ------
    TooFewPointsError, ValueError
        As `pettitt`; also values that are all the same.

    Notes
    -----
    Source: Alexandersson and Moberg 1997; Khaliq and Ouarda 2007 for critical values (both as
    kept in the R package `climtrends` 1.0.6).
    Checked against: those critical values, and pyhomogeneity.
    """
    series = _varied(values)
    return _strongest(_snht_curve(series, ddof))


def buishand_q(values: ArrayLike) -> Break:
    """Find the change at the largest of Buishand's rescaled partial sums, Q / sqrt n.

    Raises
    ------
    TooFewPointsError, ValueError
        As `snht`.

    Notes
    -----
    S*_k = sum of the first k deviations from the mean over the standard deviation (divisor n).
    Source: Buishand 1982 (critical values as kept in the R package `climtrends` 1.0.6).
    Checked against: those critical values, and pyhomogeneity.
    """
    return _strongest(_buishand_curve(_varied(values)))


def buishand_r(values: ArrayLike) -> float:
    """Give the range of Buishand's rescaled partial sums, R / sqrt n; see `buishand_q`."""
    curve = _buishand_curve(_varied(values))
    return float(max(curve.max(), 0.0) - min(curve.min(), 0.0))


def von_neumann(values: ArrayLike) -> float:
    """Give the ratio of von Neumann: 2 for a series at rest, smaller the more it wanders.

    Raises
    ------
    TooFewPointsError, ValueError
        As `snht`.

    Notes
    -----
    sum of squared differences of neighbours / sum of squared deviations from the mean.
    Checked against: critical values as kept in the R package `climtrends` 1.0.6.
    """
    return float(_von_neumann(_varied(values)))


def permutation_p(
    values: ArrayLike, test: str, *, draws: int = PERMUTATIONS, seed: int = 0
) -> float:
    """Give the p-value of a test by shuffling the series.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time.
    test : str
        ``pettitt``, ``snht``, ``buishand_q``, ``buishand_r`` or ``von_neumann``.
    draws : int
        Number of shuffles.
    seed : int
        The same seed gives the same p.

    Returns
    -------
    float
        (1 + shuffles at least as far out) / (1 + draws): exact for exchangeable values, ties
        included; never 0.

    Raises
    ------
    TooFewPointsError, ValueError
        As the test; also for another name.
    """
    series = _varied(values)
    shuffled = np.random.default_rng(seed).permuted(np.tile(series, (draws, 1)), axis=1)
    seen = float(how_far_out(series, test))
    as_far = int(np.sum(how_far_out(shuffled, test) >= seen - 1e-12 * abs(seen)))
    return (1 + as_far) / (1 + draws)


def how_far_out(series: Floats, test: str) -> Floats:
    """Give the statistic of many series at once, turned so that larger is further out.

    Parameters
    ----------
    series : ndarray, shape (..., n)
        Finite, each with some variation.
    test : str
        As `permutation_p`.

    Returns
    -------
    ndarray, shape (...)
        Of von Neumann's ratio, the negative.

    Raises
    ------
    ValueError
        No such test.
    """
    if test not in _EXTREMES:
        raise ValueError(f"{test!r} is none of {', '.join(_EXTREMES)}")
    return _EXTREMES[test](series)


def _series(values: ArrayLike) -> Floats:
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1 or not np.isfinite(series).all():
        raise ValueError("one row of finite numbers is expected")
    if series.size < LEAST_VALUES:
        raise TooFewPointsError(
            f"A test for a change needs at least {LEAST_VALUES} values; {series.size} given."
        )
    return series


def _varied(values: ArrayLike) -> Floats:
    series = _series(values)
    if np.ptp(series) == 0.0:
        raise ValueError("the values are all the same")
    return series


def _strongest(curve: Floats) -> Break:
    place = int(np.argmax(np.abs(curve)))
    return Break(float(abs(curve[place])), place + 1)


def _pettitt_curve(series: Floats) -> Floats:
    count = series.shape[-1]
    steps = np.arange(1, count)
    ranks = rankdata(series, axis=-1)
    return np.asarray(2.0 * np.cumsum(ranks, axis=-1)[..., :-1] - steps * (count + 1))


def _snht_curve(series: Floats, ddof: int = 1) -> Floats:
    count = series.shape[-1]
    steps = np.arange(1, count)
    sums = _partial_sums(series, ddof)
    return np.asarray(sums**2 / steps + sums**2 / (count - steps))


def _buishand_curve(series: Floats) -> Floats:
    return np.asarray(_partial_sums(series, 0) / np.sqrt(series.shape[-1]))


def _partial_sums(series: Floats, ddof: int) -> Floats:
    deviation = series - series.mean(axis=-1, keepdims=True)
    return np.asarray(
        np.cumsum(deviation, axis=-1)[..., :-1] / series.std(axis=-1, ddof=ddof, keepdims=True)
    )


def _von_neumann(series: Floats) -> Floats:
    deviation = series - series.mean(axis=-1, keepdims=True)
    steps = np.diff(series, axis=-1)
    return np.asarray(np.sum(steps**2, axis=-1) / np.sum(deviation**2, axis=-1))


def _range(curve: Floats) -> Floats:
    highest, lowest = curve.max(axis=-1), curve.min(axis=-1)
    return np.asarray(np.maximum(highest, 0.0) - np.minimum(lowest, 0.0))


_EXTREMES: dict[str, Callable[[Floats], Floats]] = {
    "pettitt": lambda series: np.abs(_pettitt_curve(series)).max(axis=-1),
    "snht": lambda series: _snht_curve(series).max(axis=-1),
    "buishand_q": lambda series: np.abs(_buishand_curve(series)).max(axis=-1),
    "buishand_r": lambda series: _range(_buishand_curve(series)),
    "von_neumann": lambda series: -_von_neumann(series),
}

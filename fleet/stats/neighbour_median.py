"""Medians down the columns of a table with gaps: what most neighbours say."""

from __future__ import annotations

import numpy as np

from fleet.stats.array import Floats, Ints

NORMAL_SD = 1.4826
"""Standard deviation of a normal law over its median absolute deviation, 1 / 0.6745 [first
principles]."""

HUBER_SD = 1.345
"""Bend of Huber's mean, in robust standard deviations (Huber 1964, from memory)."""

HUBER_VARIANCE = 1.05
"""Variance of that mean over that of the plain one, under the normal law: 1 / 0.95."""

_HUBER_ROUNDS = 30
_HUBER_SETTLED = 1e-4


def column_median(table: Floats) -> tuple[Floats, Ints]:
    """Give the median of each column and how many values are behind it.

    Parameters
    ----------
    table : ndarray, shape (k, m)
        NaN is missing.

    Returns
    -------
    tuple of ndarray, shape (m,)
        Median (NaN for an empty column) and number of values.

    Examples
    --------
    >>> median, count = column_median(np.array([[1.0, np.nan], [3.0, np.nan], [8.0, np.nan]]))
    >>> median.tolist(), count.tolist()
    ([3.0, nan], [3, 0])
    """
    ordered = np.sort(table, axis=0)
    count = np.sum(~np.isnan(table), axis=0)
    columns = np.arange(table.shape[1])
    lower = ordered[np.maximum((count - 1) // 2, 0), columns]
    upper = ordered[np.minimum(count // 2, table.shape[0] - 1), columns]
    return np.asarray((lower + upper) / 2.0, dtype=table.dtype), count


def weighted_median(table: Floats, weights: Floats) -> Floats:
    """Give the weighted median of each column.

    Parameters
    ----------
    table : ndarray, shape (k, m)
        NaN is missing; k may be 0.
    weights : ndarray, shape (k,)
        Of the rows, not negative.

    Returns
    -------
    ndarray, shape (m,)
        The value at which half of the weight present is reached; NaN for a column without any.
    """
    if not len(table):
        return np.full(table.shape[1], np.nan)
    order = np.argsort(table, axis=0)
    ordered = np.take_along_axis(table, order, axis=0)
    weight = np.where(np.isnan(ordered), 0.0, weights[order])
    reached = np.cumsum(weight, axis=0)
    place = np.argmax(reached >= reached[-1] / 2.0, axis=0)
    found = ordered[place, np.arange(table.shape[1])]
    return np.where(reached[-1] > 0.0, found, np.nan)


def huber_mean(values: Floats) -> float:
    """Give a mean in which values far out count less, nearly as sharp as the plain one.

    Parameters
    ----------
    values : ndarray
        NaN is missing.

    Returns
    -------
    float
        NaN without values.

    Notes
    -----
    Huber's M-estimate with a bend at 1.345 robust standard deviations: 95 % efficient under the
    normal law, where a median has 64 % (Huber 1964, from memory).
    Checked against: statsmodels.robust.norms (tests/stats/test_neighbour_parts.py).

    Examples
    --------
    >>> round(huber_mean(np.array([1.0, 2.0, 3.0, 2.0, 90.0])), 3)
    2.499
    """
    seen = values[~np.isnan(values)]
    if not seen.size:
        return float("nan")
    middle = float(np.median(seen))
    reach = HUBER_SD * robust_sd(seen - middle)
    for _ in range(_HUBER_ROUNDS if reach > 0.0 else 0):
        weight = np.minimum(1.0, reach / np.maximum(np.abs(seen - middle), 1e-12))
        before, middle = middle, float(weight @ seen / weight.sum())
        if abs(middle - before) < _HUBER_SETTLED * reach:
            break
    return middle


def robust_sd(deviations: Floats) -> float:
    """Give the standard deviation that the median absolute deviation from 0 stands for.

    Parameters
    ----------
    deviations : ndarray
        About 0; NaN is missing.

    Returns
    -------
    float
        `NORMAL_SD` x median |deviation|; NaN without values.
    """
    seen = np.abs(deviations[~np.isnan(deviations)])
    return NORMAL_SD * float(np.median(seen)) if seen.size else float("nan")

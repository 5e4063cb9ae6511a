"""Medians down the columns of a table with gaps: what most neighbours say."""

from __future__ import annotations

import numpy as np

from fleet.stats.array import Floats, Ints

NORMAL_SD = 1.4826
"""Standard deviation of a normal law over its median absolute deviation, 1 / 0.6745 [first
principles]."""


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

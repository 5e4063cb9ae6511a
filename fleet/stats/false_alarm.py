"""How many of the alarms of a fleet may be false: p-values and the false discovery rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fleet.stats.array import Floats


def ratio_p(log_ratio: ArrayLike) -> Floats:
    """Turn likelihood ratios against the fit gauge into p-values.

    Parameters
    ----------
    log_ratio : array_like, shape (n,)
        Natural logarithm of P(data | some fault) / P(data | fit), each an average over its own
        cases. NaN (no evidence) gives NaN.

    Returns
    -------
    ndarray, shape (n,)
        min(1, 1 / ratio).

    Notes
    -----
    Under "fit" the mean of such a ratio is 1, so by Markov's inequality it exceeds x with a
    probability of at most 1 / x [first principles]: the p-value is safe, and errs high.

    Examples
    --------
    >>> ratio_p([0.0, -3.0, 6.907755278982137]).round(6).tolist()
    [1.0, 1.0, 0.001]
    """
    return np.asarray(np.exp(-np.maximum(np.asarray(log_ratio, dtype=np.float64), 0.0)))


def discovery_q(p: ArrayLike) -> Floats:
    """Give the smallest false discovery rate at which each test still counts as an alarm.

    Parameters
    ----------
    p : array_like, shape (n,)
        NaN marks a gauge that was not tested: it counts for nothing and keeps NaN.

    Returns
    -------
    ndarray, shape (n,)
        Benjamini and Hochberg's adjusted p-values. To raise the alarm where q <= 0.05 keeps the
        expected share of false ones among all alarms at 0.05 at most.

    Notes
    -----
    Source: Benjamini and Hochberg 1995. For p-values that are inverse likelihood ratios the bound
    holds however the gauges depend on each other (Wang and Ramdas 2022, from memory): neighbours
    share their neighbours.
    Checked against: scipy.stats.false_discovery_control and a plain recomputation
    (tests/stats/test_neighbour_evidence.py).
    """
    values = np.asarray(p, dtype=np.float64)
    q = np.full(values.shape, np.nan)
    tested = ~np.isnan(values)
    if tested.any():
        q[tested] = _adjusted(values[tested])
    return q


def _adjusted(p: Floats) -> Floats:
    """Give p-values adjusted after Benjamini and Hochberg; loading scipy.stats takes far longer."""
    order = np.argsort(p)
    each = p[order] * (p.size / np.arange(1, p.size + 1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum.accumulate(each[::-1])[::-1]
    return np.clip(adjusted, 0.0, 1.0)

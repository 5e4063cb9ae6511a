"""Intervals from a reliability target: the share of gauges to be fit at an interval's end."""

from __future__ import annotations

from math import ceil, inf, log

import numpy as np

from fleet.stats.array import Floats


def age_at_target(days: Floats, unfit: Floats, *, target: float) -> float:
    """Give the age at which the forecast reliability falls to the target.

    Parameters
    ----------
    days : ndarray, shape (g,)
        Days since a service, rising, from 0.
    unfit : ndarray, shape (g,)
        Probability of being unfit at each, never falling.
    target : float
        Reliability to be kept, between 0 and 1.

    Returns
    -------
    float
        Days, straight between the given ones; 0 where the target is missed on the first day,
        infinite where it is not reached on the last.

    Notes
    -----
    The optimum interval is the time at which reliability falls to the target: a metrology
    guide's reading of NCSLI RP-1.
    """
    allowed = 1.0 - _share("target", target)
    if unfit[0] >= allowed:
        return 0.0
    if unfit[-1] < allowed:
        return inf
    after = int(np.argmax(unfit >= allowed))
    rise = float(unfit[after] - unfit[after - 1])
    part = (allowed - float(unfit[after - 1])) / rise
    return float(days[after - 1] + part * (days[after] - days[after - 1]))


def exponential_interval(tried_days: float, observed: float, *, target: float) -> float:
    """Give the interval at which reliability falls to the target, were failures memoryless.

    Parameters
    ----------
    tried_days : float
        Age at which the reliability was observed, in days.
    observed : float
        Share found fit at that age, 0 to 1.
    target : float
        Reliability to be kept, between 0 and 1.

    Returns
    -------
    float
        Days: 0 where nothing was fit, infinite where all was; not capped.

    Notes
    -----
    R(t) = exp(-lambda t), so t = t0 ln(target) / ln(observed).
    Checked against: worked values (tests/stats/test_reliability.py), first principles.

    Examples
    --------
    >>> round(exponential_interval(365, 0.80, target=0.90), 1)
    172.3
    """
    if not 0.0 <= observed <= 1.0:
        raise ValueError(f"observed {observed} is not a share of 0 to 1")
    target = _share("target", target)
    if observed in (0.0, 1.0):
        return inf if observed == 1.0 else 0.0
    return tried_days * log(target) / log(observed)


def balancing_reduction(extension: float, *, target: float) -> float:
    """Give the reduction that holds a reactive interval at the target (method A1).

    Parameters
    ----------
    extension : float
        Share a by which a pass lengthens the interval, above 0.
    target : float
        Reliability to be kept, between 0 and 1.

    Returns
    -------
    float
        Share b by which a failure shortens it.

    Notes
    -----
    At the target the steps cancel: (1 + a)^R (1 - b)^(1 - R) = 1, so
    b = 1 - (1 + a)^(-R / (1 - R)). Method A1 of NCSLI RP-1, which sets b from a and the target;
    the equation is first principles.
    Checked against: worked values (tests/stats/test_reliability.py).

    Examples
    --------
    >>> round(balancing_reduction(0.10, target=0.90), 4)
    0.5759
    """
    if extension <= 0:
        raise ValueError(f"extension {extension} is not above 0")
    target = _share("target", target)
    return float(1.0 - (1.0 + extension) ** (-target / (1.0 - target)))


def balanced_factor(passes: int, checks: int, *, extension: float, target: float) -> float:
    """Give the mean step by which method A1 would have changed the interval at these checks.

    Parameters
    ----------
    passes, checks : int
        How many were found fit, of how many.
    extension, target : float
        As in `balancing_reduction`.

    Returns
    -------
    float
        Geometric mean of 1 + a for each pass and 1 - b for each failure: 1 at the target.
    """
    if not 0 <= passes <= checks or checks == 0:
        raise ValueError(f"{passes} passes of {checks} checks cannot be")
    reduction = balancing_reduction(extension, target=target)
    share = passes / checks
    return float((1.0 + extension) ** share * (1.0 - reduction) ** (1.0 - share))


def straight_passes_needed(target: float, *, confidence: float = 0.95) -> int:
    """Give how many passes without a failure are needed to claim a reliability.

    Parameters
    ----------
    target : float
        Reliability to be claimed, between 0 and 1.
    confidence : float, default 0.95
        Of the one-sided claim.

    Returns
    -------
    int
        Least n with target^n <= 1 - confidence (first principles).

    Examples
    --------
    >>> straight_passes_needed(0.95)
    59
    """
    return ceil(log(1.0 - _share("confidence", confidence)) / log(_share("target", target)))


def _share(name: str, value: float) -> float:
    if not 0.0 < value < 1.0:
        raise ValueError(f"{name} {value} is not between 0 and 1")
    return value

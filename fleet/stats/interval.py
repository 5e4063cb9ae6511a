"""How well a share of passes is known from a handful of tests."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import beta

from fleet.errors import TooFewPointsError


@dataclass(frozen=True, slots=True)
class ShareInterval:
    """A share, what it was counted from, and the interval that holds it."""

    hits: int
    trials: int
    share: float
    low: float
    high: float


def share_interval(hits: int, trials: int, *, confidence: float = 0.95) -> ShareInterval:
    """Give the exact two-sided interval of a share (Clopper and Pearson).

    Parameters
    ----------
    hits, trials : int
        How often it was so, of how many.
    confidence : float, default 0.95
        Least probability with which the interval covers the true share.

    Returns
    -------
    ShareInterval
        Equal tails; low is 0 without a hit, high is 1 without a miss.

    Raises
    ------
    TooFewPointsError
        No trials.
    ValueError
        Hits below 0 or above the trials.

    Notes
    -----
    Source: Clopper and Pearson 1934 (from memory): quantiles of beta distributions.
    Checked against: worked values in tests/stats/test_interval.py.

    Examples
    --------
    >>> round(share_interval(18, 20).low, 3)
    0.683
    """
    tail = (1.0 - confidence) / 2.0
    _refuse_bad_counts(hits, trials)
    misses = trials - hits
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, misses + 1))
    high = 1.0 if misses == 0 else float(beta.ppf(1.0 - tail, hits + 1, misses))
    return ShareInterval(hits, trials, hits / trials, low, high)


def share_at_least(hits: int, trials: int, *, confidence: float = 0.95) -> float:
    """Give the share that can be claimed: the exact one-sided lower bound.

    Parameters
    ----------
    hits, trials : int
        How often it was so, of how many.
    confidence : float, default 0.95
        Least probability with which the true share is at least the bound.

    Returns
    -------
    float
        Lower bound; 0 without a hit.

    Raises
    ------
    TooFewPointsError
        No trials.
    ValueError
        Hits below 0 or above the trials.

    Examples
    --------
    >>> round(share_at_least(59, 59), 3)
    0.95
    """
    _refuse_bad_counts(hits, trials)
    return 0.0 if hits == 0 else float(beta.ppf(1.0 - confidence, hits, trials - hits + 1))


def _refuse_bad_counts(hits: int, trials: int) -> None:
    if trials < 1:
        raise TooFewPointsError("A share needs at least one trial; none was given.")
    if not 0 <= hits <= trials:
        raise ValueError(f"{hits} hits of {trials} trials cannot be")

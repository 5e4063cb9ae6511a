"""What it says that nobody has called for a repair: a fault that people notice would be known.

Somebody who looks at the data, or passes by, may notice what struck before the next planned visit.
Where the records hold such repairs, a gauge of which nobody has called is more likely fit.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from fleet.stats.array import Floats
from fleet.stats.watch_count import Watches
from fleet.units import DAYS_PER_YEAR

LEAST_CALLS = 5
"""Fewer faults found by repairs say nothing of how fast people notice: a choice of this program."""

_MOST = 1000.0


def fit_notice(watches: Watches) -> float:
    """Fit how fast people notice what struck.

    Parameters
    ----------
    watches : Watches
        Of all units of a kind.

    Returns
    -------
    float
        Rate a year at which a fault is noticed while it lasts; 0 where too few repairs tell.

    Notes
    -----
    Of what struck at any time of a watch of u years alike, (1 - exp(-n u)) / (n u) is still
    unnoticed at its end. n is the rate at which that is the share found at planned visits, with u
    the mean watch that a planned visit ended.
    """
    called = int((watches.struck & watches.called).sum())
    planned = ~watches.called
    found = int((watches.struck & planned).sum())
    if called < LEAST_CALLS:
        return 0.0
    share = max(found, 0.5) / (called + max(found, 0.5))
    years = (watches.seen_day - watches.well_day)[planned] / DAYS_PER_YEAR
    mean = float(years.mean()) if years.size else 1.0

    def miss(rate: float) -> float:
        return float(unnoticed(rate, np.array([mean]))[0]) - share

    return float(brentq(miss, 1e-9, _MOST)) if miss(_MOST) < 0.0 else _MOST


def unnoticed(rate: float, years: Floats) -> Floats:
    """Give the probability that what struck within a time is not noticed by its end.

    Parameters
    ----------
    rate : float
        Of noticing, a year; 0 is never.
    years : ndarray
        Since all was seen to be well.

    Returns
    -------
    ndarray
        (1 - exp(-n u)) / (n u), 1 at no time.
    """
    passed = np.maximum(rate * years, 1e-12)
    return np.asarray(-np.expm1(-passed) / passed)

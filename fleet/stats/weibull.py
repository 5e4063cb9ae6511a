"""Weibull law of how long a service lasts, from checks that saw only before and after.

A failure between two visits has no day of its own: it is interval-censored. A gauge that was
still fit is right-censored.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtri

from fleet.errors import TooFewPointsError
from fleet.stats.array import Floats

LEAST_FAILURES = 5
LEAST_SPELLS = 20
"""Fewer spells that ended unfit, or fewer in all, are not enough evidence: a choice of this
program."""

WIDEST_SHAPE = 10.0
WIDEST_LOG_SD = 1.0
"""A shape above the first, or below one over it, or known worse than within a factor of e, means
that the ages do not tell the shape: choices of this program."""

_NO_SHAPE = "the checks' ages do not tell the shape of the law"

_STEP = 1e-3
_FAR = 25.0


@dataclass(frozen=True, slots=True, eq=False)
class WeibullFit:
    """R(t) = exp(-(t / scale_days)^shape).

    ``covariance`` is of (ln scale, ln shape), from the curvature of the likelihood.
    """

    scale_days: float
    shape: float
    log_likelihood: float
    covariance: Floats
    failures: int
    spells: int


@dataclass(frozen=True, slots=True)
class AgeInterval:
    """An age in days and the interval that holds it."""

    days: float
    low_days: float
    high_days: float


def fit_weibull(
    low: Floats, high: Floats, *, failures: int = LEAST_FAILURES, spells: int = LEAST_SPELLS
) -> WeibullFit:
    """Fit a Weibull law by maximum likelihood.

    Parameters
    ----------
    low, high : ndarray, shape (n,)
        Days after the service on which each gauge was last known to be fit (0 where it never
        was) and first known to be unfit (infinite where it never was).
    failures, spells : int
        Fewer are refused.

    Returns
    -------
    WeibullFit

    Raises
    ------
    TooFewPointsError
        Fewer spells, or fewer that ended unfit; or ages that do not tell the shape.
    ValueError
        An interval without length, or before day 0.

    Notes
    -----
    Each interval adds ln(S(low) - S(high)).
    Checked against: scipy.stats.weibull_min on CensoredData, and the estimates that the library
    surpyval publishes for 23 bearings (tests/stats/test_weibull.py).
    """
    _refuse(low, high, failures, spells)

    def loss(log_law: Floats) -> float:
        return -_log_likelihood(log_law, low, high) / low.size

    ended = np.isfinite(high)
    middle = float(np.mean(np.where(ended, (low + np.where(ended, high, low)) / 2.0, low)))
    widest = log(WIDEST_SHAPE)
    found = minimize(
        loss,
        np.array([log(middle * low.size / ended.sum()), 0.0]),
        method="Nelder-Mead",
        bounds=[(log(middle) - _FAR, log(middle) + _FAR), (-widest, widest)],
        options={"xatol": 1e-8, "fatol": 1e-12},
    ).x
    if abs(float(found[1])) > 0.999 * widest:
        raise TooFewPointsError(_NO_SHAPE)
    return WeibullFit(
        scale_days=exp(float(found[0])),
        shape=exp(float(found[1])),
        log_likelihood=_log_likelihood(found, low, high),
        covariance=_covariance(found, low, high),
        failures=int(np.isfinite(high).sum()),
        spells=int(low.size),
    )


def age_at_reliability(fit: WeibullFit, target: float, *, confidence: float = 0.95) -> AgeInterval:
    """Give the age at which the fitted reliability falls to a target.

    Parameters
    ----------
    fit : WeibullFit
    target : float
        Between 0 and 1.
    confidence : float, default 0.95
        Of the two-sided interval.

    Returns
    -------
    AgeInterval
        scale (-ln target)^(1 / shape); the interval by the delta method on its logarithm.
    """
    depth = log(-log(target))
    slope = np.array([1.0, -depth / fit.shape])
    spread = sqrt(max(float(slope @ fit.covariance @ slope), 0.0))
    reach = exp(float(ndtri(0.5 + confidence / 2.0)) * spread)
    days = fit.scale_days * exp(depth / fit.shape)
    return AgeInterval(days, days / reach, days * reach)


def _refuse(low: Floats, high: Floats, failures: int, spells: int) -> None:
    if not (np.all(low >= 0) and np.all(high > low)):
        raise ValueError("every spell needs 0 <= low < high")
    ended = int(np.isfinite(high).sum())
    if ended < failures or low.size < spells:
        raise TooFewPointsError(
            f"{ended} of {low.size} services ended unfit; at least {failures} of {spells} are "
            "needed"
        )


def _log_likelihood(log_law: Floats, low: Floats, high: Floats) -> float:
    """Sum ln(S(low) - S(high)), with S(infinity) = 0."""
    scale, shape = exp(float(log_law[0])), exp(float(log_law[1]))
    before = (low / scale) ** shape
    width = np.where(np.isfinite(high), (high / scale) ** shape - before, np.inf)
    failed = np.log(-np.expm1(-np.maximum(width, 1e-300)))
    return float(np.sum(failed - before))


def _covariance(at: Floats, low: Floats, high: Floats) -> Floats:
    """Invert the curvature of the log likelihood, by central differences."""

    def value(a: float, b: float) -> float:
        return _log_likelihood(at + _STEP * np.array([a, b]), low, high)

    middle = value(0, 0)
    scale2 = value(1, 0) - 2 * middle + value(-1, 0)
    shape2 = value(0, 1) - 2 * middle + value(0, -1)
    both = (value(1, 1) - value(1, -1) - value(-1, 1) + value(-1, -1)) / 4.0
    curvature = -np.array([[scale2, both], [both, shape2]]) / _STEP**2
    if np.linalg.eigvalsh(curvature)[0] <= 0:
        raise TooFewPointsError(_NO_SHAPE)
    covariance = np.linalg.inv(curvature)
    if covariance[1, 1] > WIDEST_LOG_SD**2:
        raise TooFewPointsError(_NO_SHAPE)
    return np.asarray(covariance)

"""What a coordinator would forecast without a model: the base rate, and age over interval."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from fleet.stats.array import Bools, Floats, Ints

LONGEST_RATIO = 3.0
"""An age beyond three intervals counts as three, so that a forgotten gauge does not turn the
line."""

INTERCEPT_SD = 1.0
SLOPE_SD = 1.0
"""Natural log of the odds (a whole interval, for the slope): how far the line may lie from the
base rate before the data speak. Weak; a dozen checks outweigh them."""


@dataclass(frozen=True, slots=True)
class AgeLine:
    """Log odds of being unfit = intercept + slope x age over interval."""

    intercept: float
    slope: float

    def unfit(self, ratio: Floats) -> Floats:
        """Give the probability of being unfit at ages over intervals."""
        return np.asarray(expit(self.intercept + self.slope * np.minimum(ratio, LONGEST_RATIO)))


def base_rate(outcome: Bools) -> float:
    """Give the share that was unfit so far, by the rule of succession.

    Parameters
    ----------
    outcome : ndarray of bool, shape (n,)
        Earlier checks; may be empty.

    Returns
    -------
    float
        (k + 1) / (n + 2) (Laplace), so that it is never quite 0 or 1.

    Examples
    --------
    >>> base_rate(np.array([True, False, False]))
    0.4
    """
    return (int(outcome.sum()) + 1) / (outcome.size + 2)


def fit_age_line(ratio: Floats, outcome: Bools) -> AgeLine:
    """Fit how the chance of being unfit grows with age over interval (logistic regression).

    Parameters
    ----------
    ratio : ndarray, shape (n,)
        Age of the service over the policy's interval at earlier checks; above 3 counts as 3.
    outcome : ndarray of bool, shape (n,)
        Whether the gauge was found unfit.

    Returns
    -------
    AgeLine
        Most likely line under normal priors about the base rate; without data, the base rate.

    Notes
    -----
    Checked against: statsmodels Logit where data outweigh the priors
    (tests/stats/test_score_reference.py).
    """
    share = base_rate(outcome)
    middle = log(share / (1.0 - share))
    age = np.minimum(ratio, LONGEST_RATIO)

    def loss(line: Floats) -> tuple[float, Floats]:
        log_odds = line[0] + line[1] * age
        miss = expit(log_odds) - outcome
        pulls = np.array([(line[0] - middle) / INTERCEPT_SD**2, line[1] / SLOPE_SD**2])
        misfit = float(np.sum(np.logaddexp(0.0, log_odds) - outcome * log_odds))
        prior = ((line[0] - middle) / INTERCEPT_SD) ** 2 + (line[1] / SLOPE_SD) ** 2
        return misfit + prior / 2.0, np.array([miss.sum(), miss @ age]) + pulls

    found = minimize(loss, np.array([middle, 0.0]), jac=True, method="BFGS").x
    return AgeLine(float(found[0]), float(found[1]))


def reference_forecasts(month: Ints, ratio: Floats, outcome: Bools) -> tuple[Floats, Floats]:
    """Forecast each check as the base rate, and as age over interval, would have then.

    Parameters
    ----------
    month : ndarray of int, shape (n,)
        Number of the month of each check, not falling.
    ratio : ndarray, shape (n,)
        Age of the service over the policy's interval.
    outcome : ndarray of bool, shape (n,)
        Whether the gauge was found unfit.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Base rate and age line, each fitted at the month's start to the months before it.
    """
    base, by_age = np.zeros(month.size), np.zeros(month.size)
    for one in np.unique(month).tolist():
        now, before = month == one, month < one
        base[now] = base_rate(outcome[before])
        by_age[now] = fit_age_line(ratio[before], outcome[before]).unfit(ratio[now])
    return base, by_age

"""Learn whether levels drift by season: whether some days of the year count more than others."""

from __future__ import annotations

from math import exp

import numpy as np
from scipy.optimize import minimize
from scipy.special import chdtri

from fleet.stats.array import Floats
from fleet.stats.clock import PLAIN, Clock
from fleet.stats.clock_fit import ENOUGH_FOR_SEASON, MOST_SWING, SEASON_LEVEL
from fleet.stats.pooled_change import (
    Changes,
    GrowthFit,
    GrowthPrior,
    fit_change,
    log_marginal,
    raised_variance,
)

_REACH = 8.0


def fit_season(changes: Changes, prior: GrowthPrior) -> Clock:
    """Fit by which season the levels of a kind grow, if by any.

    Parameters
    ----------
    changes : Changes
        Of every unit of the kind, with the days on which they were found; may be empty.
    prior : GrowthPrior
        Of the kind.

    Returns
    -------
    Clock
        With the most likely season where there are enough changes and the test for one says so;
        else without.

    Notes
    -----
    Growth and walk go by years of mean season. A likelihood ratio of the flat and the seasonal
    law, tau and sigma fitted along and outliers as under the flat one, against chi-square with
    two degrees of freedom; the season's prior is that of `fit_clock`.
    Checked against: simulated drift with and without a season (tests/stats/test_drift_season.py).
    """
    if changes.years.size < ENOUGH_FOR_SEASON or changes.found_day is None:
        return PLAIN
    law = _Law(changes, prior)
    flat, seasonal = law.best(np.zeros(2)), law.best(np.array([0.0, 0.0, 0.1, 0.1]))
    gain = 2.0 * (law.value(seasonal) - law.value(flat))
    return law.clock(seasonal) if gain > chdtri(2, SEASON_LEVEL) else PLAIN


class _Law:
    """The marginal likelihood of changes over tau, sigma and a season, as numbers of any size."""

    def __init__(self, changes: Changes, prior: GrowthPrior) -> None:
        self._changes, self._prior = changes, prior
        self._start: GrowthFit = fit_change(changes, prior)
        self._variance = raised_variance(changes, self._start)

    def clock(self, at: Floats) -> Clock:
        season = at[2:]
        size = float(np.hypot(*season)) if season.size else 0.0
        if size == 0.0:
            return PLAIN
        scale = MOST_SWING * float(np.tanh(size)) / size
        return Clock(cosine=scale * float(season[0]), sine=scale * float(season[1]))

    def value(self, at: Floats) -> float:
        between, walk = np.clip(at[:2], -_REACH, _REACH).tolist()
        likelihood = log_marginal(
            self._changes.in_season(self.clock(at)),
            self._variance,
            prior=self._prior,
            between_sd=self._start.between_sd * exp(between),
            walk_sd=self._start.walk_sd * exp(walk),
        )
        return likelihood - float(np.sum(at[2:] ** 2)) / 2.0

    def best(self, start: Floats) -> Floats:
        def loss(at: Floats) -> float:
            return -self.value(at) / (1 + self._changes.years.size)

        return np.asarray(minimize(loss, start, method="BFGS", options={"gtol": 1e-4}).x)

"""Rate of sudden events, each unit's pooled with those of its kind (Gamma-Poisson)."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from fleet.stats.array import Floats, Ints
from fleet.stats.clock import PLAIN, Clock

REACH_SD = 8.0
"""The law is sought within this many standard deviations of the prior."""


@dataclass(frozen=True, slots=True)
class HazardPrior:
    """What is believed of a kind before its data speak: two log-normal laws.

    ``per_year`` and ``shape`` are the medians of the kind's mean rate and of the shape a (1 /
    shape is the squared relative spread between units); the ``_log_sd`` are the standard
    deviations of their logarithms.
    """

    per_year: float
    per_year_log_sd: float = 1.0
    shape: float = 1.0
    shape_log_sd: float = 1.0


@dataclass(frozen=True, slots=True)
class HazardFit:
    """Rates of a kind's units ~ Gamma(shape, scale_years as rate), and what that rests on.

    ``clock`` tells how years become the exposure that ``scale_years`` is one of.
    """

    shape: float
    scale_years: float
    events: float = 0
    exposure_years: float = 0.0
    clock: Clock = PLAIN

    @property
    def per_year(self) -> float:
        """Give the mean rate of the kind, in events in the first year of age."""
        return self.shape / self.scale_years


@dataclass(frozen=True, slots=True, eq=False)
class HazardPosterior:
    """Gamma law of each unit's rate: shape a and b in years, both of shape (units,)."""

    shape: Floats
    scale_years: Floats


def fit_hazard(events: Ints | Floats, exposure_years: Floats, *, prior: HazardPrior) -> HazardFit:
    """Fit the Gamma law of a kind's rates by the marginal likelihood of its counts.

    Parameters
    ----------
    events : ndarray, shape (n,)
        Events seen at each unit; parts of one where it is not sure to have been one.
    exposure_years : ndarray, shape (n,)
        Years watched; units with 0 say nothing.
    prior : HazardPrior
        Alone it gives the result for no exposure.

    Returns
    -------
    HazardFit
        Most likely shape a and scale b; the kind's mean rate is a / b.

    Notes
    -----
    A count over t years is negative binomial: size a, probability b / (b + t).
    Checked against: scipy.stats.nbinom (tests/stats/test_hazard.py).
    """
    watched = exposure_years > 0
    count, years = events[watched], exposure_years[watched]

    def loss(deviation: Floats) -> float:
        shape, rate = prior_law(prior, deviation)
        misfit = float(np.sum(deviation**2)) / 2.0 - log_counts(count, years, shape, shape / rate)
        return misfit / (1 + count.size)

    shape, rate = prior_law(prior, minimize(loss, np.zeros(2), method="BFGS").x)
    return HazardFit(shape, shape / rate, float(count.sum()), float(years.sum()))


def prior_law(prior: HazardPrior, deviation: Floats) -> tuple[float, float]:
    """Give shape and mean rate so many standard deviations from the prior's medians.

    Parameters
    ----------
    prior : HazardPrior
    deviation : ndarray, shape (2,)
        Of the shape and of the rate.

    Returns
    -------
    tuple of float
    """
    shape_sd, rate_sd = np.clip(deviation, -REACH_SD, REACH_SD).tolist()
    rate = prior.per_year * exp(prior.per_year_log_sd * rate_sd)
    return prior.shape * exp(prior.shape_log_sd * shape_sd), rate


def posterior_hazard(
    events: Ints | Floats, exposure_years: Floats, *, shape: Floats, scale_years: Floats
) -> HazardPosterior:
    """Give the Gamma law of each unit's rate after its own events.

    Parameters
    ----------
    events : ndarray, shape (n,)
        Events seen at each unit.
    exposure_years : ndarray, shape (n,)
        Exposure of each, by its kind's clock.
    shape, scale_years : ndarray, shape (n,)
        Of each unit's kind.

    Returns
    -------
    HazardPosterior
        a + events and b + years.
    """
    return HazardPosterior(shape=shape + events, scale_years=scale_years + exposure_years)


def event_probability(posterior: HazardPosterior, years: Floats) -> Floats:
    """Give the probability of at least one event within a time.

    Parameters
    ----------
    posterior : HazardPosterior
        Of n units.
    years : ndarray, shape (n,) or (n, g) or (1, g)
        Exposure ahead; two axes ask for a grid of times for each unit.

    Returns
    -------
    ndarray
        1 - (b / (b + u))^a, in the broadcast shape.
    """
    shape, scale = posterior.shape, posterior.scale_years
    if years.ndim == 2:
        shape, scale = shape[:, np.newaxis], scale[:, np.newaxis]
    return np.asarray(-np.expm1(-shape * np.log1p(years / scale)))


def log_counts(events: Ints | Floats, years: Floats, shape: float, scale_years: float) -> float:
    """Give the log probability of counts under a Gamma law of rates.

    Parameters
    ----------
    events, years : ndarray, shape (n,)
        Of each unit.
    shape, scale_years : float
        Of the law.

    Returns
    -------
    float
        Less terms free of shape and scale.
    """
    per_unit = gammaln(events + shape) - gammaln(shape) - shape * np.log1p(years / scale_years)
    return float(np.sum(per_unit - events * np.log(scale_years + years)))

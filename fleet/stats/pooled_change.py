"""Growth of a level between visits, each unit's rate pooled with those of its kind.

One model serves the drift of a gauge (percent) and the resistance of its switch (logarithm of
ohm): change_k ~ Normal(mu_i dt_k, sigma^2 dt_k + v_k) with mu_i ~ Normal(m, tau^2).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log

import numpy as np
from scipy.optimize import minimize

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.clock import PLAIN, Clock, season_years
from fleet.units import DAYS_PER_YEAR

OUTLIER_SD = 3.5
"""A change this many standard deviations from what the unit's other changes predict loses
weight: a sound test gets there once in 2,000 (normal law)."""

SMALL_SAMPLE = 8
"""With fewer changes the spread of the data says too little to start from: the prior does."""

LOG_REACH = 9.0
"""tau and sigma are sought within this many factors of e of the prior's."""

_REWEIGHTINGS = 30
_REFITS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """Changes seen over untouched spells, flat over all units.

    ``years``, ``amount``, ``variance`` and ``unit`` have shape (k,): length of the spell, found
    minus left, measurement variance of that, and the index (0 to units - 1) of who it is of.
    ``found_day`` is the ordinal of the end of each spell; without it no season can be counted.
    """

    years: Floats
    amount: Floats
    variance: Floats
    unit: Ints
    units: int
    found_day: Floats | None = None

    def in_season(self, clock: Clock) -> Changes:
        """Give the same changes, their years those of the mean season."""
        if clock.swing == 0.0 or self.found_day is None:
            return self
        left_day = np.round(self.found_day - self.years * DAYS_PER_YEAR)
        years = season_years(clock, self.found_day) - season_years(clock, left_day)
        return replace(self, years=years)


@dataclass(frozen=True, slots=True)
class GrowthPrior:
    """What is believed of a kind before its data speak; weak enough to yield to a dozen changes.

    ``mean_sd``: the kind's mean rate lies about 0 with this standard deviation, in units a year.
    ``between_sd``, ``walk_sd``: most likely values of tau (units a year) and sigma (units a root
    year). Their densities rise from 0 as s exp(-s / mode), so that neither can be fitted as
    exactly nothing from a handful of gauges, and fall off slowly above.
    """

    mean_sd: float
    between_sd: float
    walk_sd: float


@dataclass(frozen=True, slots=True)
class GrowthFit:
    """Hyperparameters of a kind: m, its standard deviation, tau, sigma, and what they rest on.

    ``clock`` tells how the days of a year count, in rate and in walk; its season only.
    """

    mean: float
    mean_sd: float
    between_sd: float
    walk_sd: float
    changes: int = 0
    units: int = 0
    clock: Clock = PLAIN


@dataclass(frozen=True, slots=True, eq=False)
class GrowthPosterior:
    """Rate of each unit, shape (units,), and the weight of each change, shape (k,), 1 = full."""

    mean: Floats
    variance: Floats
    weight: Floats


def fit_change(changes: Changes, prior: GrowthPrior, clock: Clock = PLAIN) -> GrowthFit:
    """Fit the hyperparameters of a kind by marginal likelihood over its units.

    Parameters
    ----------
    changes : Changes
        Of every unit of the kind; may be empty.
    prior : GrowthPrior
        Weakly informative; alone it gives the result for no changes.
    clock : Clock, optional
        By whose season time counts; by default by none.

    Returns
    -------
    GrowthFit
        Most likely tau and sigma with every mu_i and m integrated out, and m's mean and standard
        deviation given them.

    Notes
    -----
    The likelihood of one unit needs only sums over its changes (Woodbury identity): with
    w = 1 / (sigma^2 dt + v), A = sum w dt^2, B = sum w dt y, it is that of independent changes
    times (1 + tau^2 A)^(-1/2) exp(tau^2 B^2 / (2 (1 + tau^2 A))) after m is taken off.

    A gross outlier (a mis-poured test) is found by the prediction from the unit's other changes
    and its variance raised until it stands at 3.5 standard deviations, so its pull falls as it
    grows; then the fit is repeated until it settles.
    Checked against: a dense multivariate normal likelihood, and statsmodels MixedLM
    (tests/stats/test_pooled_change.py).
    """
    changes = changes.in_season(clock)
    fit = _first_guess(changes, prior)
    for _ in range(_REFITS):
        variance = raised_variance(changes, fit)
        refit = _maximise(changes, variance, prior=prior, start=fit)
        settled = np.allclose(
            (refit.between_sd, refit.walk_sd), (fit.between_sd, fit.walk_sd), rtol=1e-4, atol=0.0
        )
        fit = refit
        if settled:
            break
    return replace(fit, clock=clock)


def posterior_growth(changes: Changes, fit: GrowthFit) -> GrowthPosterior:
    """Give each unit's rate, shrunk to its kind's.

    Parameters
    ----------
    changes : Changes
        Of the units asked about; a unit without any gets its kind's mean and spread.
    fit : GrowthFit
        Of the kind.

    Returns
    -------
    GrowthPosterior
        Mean and variance of mu_i given the changes; the uncertainty of m is in the variance.
    """
    changes = changes.in_season(fit.clock)
    variance = raised_variance(changes, fit)
    precision, pull = _unit_sums(changes, variance, fit.walk_sd)
    spread2 = fit.between_sd**2
    shrink = 1.0 / (1.0 + spread2 * precision)
    base = fit.walk_sd**2 * changes.years + changes.variance
    return GrowthPosterior(
        mean=shrink * (spread2 * pull + fit.mean),
        variance=shrink * spread2 + (shrink * fit.mean_sd) ** 2,
        weight=base / (base + (variance - changes.variance)),
    )


def left_out(changes: Changes, fit: GrowthFit) -> tuple[Floats, Floats]:
    """Predict each change from the unit's other changes.

    Parameters
    ----------
    changes : Changes
        Of the units asked about.
    fit : GrowthFit
        Of their kind.

    Returns
    -------
    tuple of ndarray, shape (k,)
        What each change misses of its prediction, and the variance that this should have.
    """
    changes = changes.in_season(fit.clock)
    miss, spread = _left_out_miss(changes, raised_variance(changes, fit), fit)
    return miss, fit.walk_sd**2 * changes.years + changes.variance + spread


def log_marginal(
    changes: Changes, variance: Floats, *, prior: GrowthPrior, between_sd: float, walk_sd: float
) -> float:
    """Give the log of the marginal likelihood times the priors, at one tau and sigma.

    Parameters
    ----------
    changes : Changes
        Of all units of a kind.
    variance : ndarray, shape (k,)
        Measurement variances to use instead of the changes' own.
    prior : GrowthPrior
        For m (integrated out), tau and sigma.
    between_sd, walk_sd : float
        tau and sigma, above 0.

    Returns
    -------
    float
        Up to a constant that depends on neither tau nor sigma.
    """
    weight = 1.0 / (walk_sd**2 * changes.years + variance)
    precision, pull = _unit_sums(changes, variance, walk_sd)
    inflation = 1.0 + between_sd**2 * precision
    mean_precision = float(np.sum(precision / inflation)) + prior.mean_sd**-2
    mean_pull = float(np.sum(pull / inflation))
    fitted = between_sd**2 * float(np.sum(pull**2 / inflation)) + mean_pull**2 / mean_precision
    log_volume = float(np.sum(np.log(weight)) - np.sum(np.log(inflation))) - log(mean_precision)
    misfit = float(np.sum(weight * changes.amount**2)) - fitted
    scales = ((between_sd, prior.between_sd), (walk_sd, prior.walk_sd))
    log_prior = sum(log(value) - value / mode for value, mode in scales)
    return 0.5 * (log_volume - misfit) + log_prior


def raised_variance(changes: Changes, fit: GrowthFit) -> Floats:
    """Raise the measurement variance of outliers until each stands at OUTLIER_SD.

    Parameters
    ----------
    changes : Changes
        Of all units of a kind, in its season.
    fit : GrowthFit
        Of the kind.

    Returns
    -------
    ndarray, shape (k,)
        Variance of each change; its own where it is no outlier. A unit is done when its own
        changes have settled, so that no other unit moves its numbers.
    """
    variance = changes.variance.copy()
    places, rest = np.arange(variance.size), changes
    for _ in range(_REWEIGHTINGS):
        before = variance[places]
        miss, miss_variance = _left_out_miss(rest, before, fit)
        expected = fit.walk_sd**2 * rest.years + rest.variance + miss_variance
        excess = np.maximum(miss**2 / (OUTLIER_SD**2 * expected), 1.0)
        raised = rest.variance + expected * (excess - 1.0)
        variance[places] = raised
        moving = np.bincount(rest.unit, ~np.isclose(raised, before, rtol=1e-6), rest.units) > 0
        still = moving[rest.unit]
        if not still.any():
            break
        places, rest = places[still], _part(rest, still)
    return variance


def _part(changes: Changes, kept: Bools) -> Changes:
    return Changes(
        years=changes.years[kept],
        amount=changes.amount[kept],
        variance=changes.variance[kept],
        unit=changes.unit[kept],
        units=changes.units,
        found_day=None if changes.found_day is None else changes.found_day[kept],
    )


def _unit_sums(changes: Changes, variance: Floats, walk_sd: float) -> tuple[Floats, Floats]:
    """Sum w dt^2 and w dt y over the changes of each unit."""
    weighted = changes.years / (walk_sd**2 * changes.years + variance)
    return (
        _sum_by_unit(changes, weighted * changes.years),
        _sum_by_unit(changes, weighted * changes.amount),
    )


def _sum_by_unit(changes: Changes, values: Floats) -> Floats:
    return np.bincount(changes.unit, values, changes.units).astype(np.float64)


def _first_guess(changes: Changes, prior: GrowthPrior) -> GrowthFit:
    """Scale the prior to the data by median and median deviation, which outliers cannot move."""
    if changes.years.size < SMALL_SAMPLE:
        return GrowthFit(0.0, prior.mean_sd, prior.between_sd, prior.walk_sd)
    mean = float(np.median(changes.amount / changes.years))
    spread = np.hypot(prior.between_sd * changes.years, prior.walk_sd * np.sqrt(changes.years))
    residual = (changes.amount - mean * changes.years) / np.sqrt(spread**2 + changes.variance)
    scale = max(1.4826 * float(np.median(np.abs(residual))), 0.05)
    return GrowthFit(mean, prior.mean_sd, scale * prior.between_sd, scale * prior.walk_sd)


def _maximise(
    changes: Changes, variance: Floats, *, prior: GrowthPrior, start: GrowthFit
) -> GrowthFit:
    scale = np.array([prior.between_sd, prior.walk_sd])

    def loss(log_ratio: Floats) -> float:
        between_sd, walk_sd = scale * np.exp(np.clip(log_ratio, -LOG_REACH, LOG_REACH))
        gain = log_marginal(changes, variance, prior=prior, between_sd=between_sd, walk_sd=walk_sd)
        return -gain / (1 + changes.years.size)

    first = np.log(np.array([start.between_sd, start.walk_sd]) / scale)
    found = np.clip(minimize(loss, first, method="BFGS").x, -LOG_REACH, LOG_REACH)
    between_sd, walk_sd = (float(value) for value in scale * np.exp(found))
    precision, pull = _unit_sums(changes, variance, walk_sd)
    inflation = 1.0 + between_sd**2 * precision
    mean_precision = float(np.sum(precision / inflation)) + prior.mean_sd**-2
    mean = float(np.sum(pull / inflation)) / mean_precision
    return GrowthFit(
        mean=mean,
        mean_sd=mean_precision**-0.5,
        between_sd=between_sd,
        walk_sd=walk_sd,
        changes=int(changes.years.size),
        units=int(np.unique(changes.unit).size),
    )


def _left_out_miss(changes: Changes, variance: Floats, fit: GrowthFit) -> tuple[Floats, Floats]:
    """Predict each change from the unit's others: the miss, and the prediction's variance."""
    precision, pull = _unit_sums(changes, variance, fit.walk_sd)
    weight = 1.0 / (fit.walk_sd**2 * changes.years + variance)
    others = precision[changes.unit] - weight * changes.years**2
    others_pull = pull[changes.unit] - weight * changes.years * changes.amount
    spread2 = fit.between_sd**2
    shrink = 1.0 / (1.0 + spread2 * np.maximum(others, 0.0))
    rate = shrink * (spread2 * others_pull + fit.mean)
    return changes.amount - rate * changes.years, shrink * spread2 * changes.years**2

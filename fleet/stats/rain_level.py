"""What a level measured by the rain does to the forecast of drift, and whether it shows a knock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.growth import Growth, growth_years, known_years
from fleet.stats.neighbour_level import FREEDOM
from fleet.stats.neighbour_measure import MOST_GROUPS, LevelReading

FARTHEST_KNOCK = 3.0
"""A knock is taken to move the level by one to three tolerances, either way, each size as likely
(own estimate)."""

KNOCK_SIZES = 8
"""So many sizes to each side."""

NOTHING = 1e12
"""Variance of a reading that is not there, percent squared."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelsTaken:
    """The drift of n gauges after their rain was taken in.

    ``growth`` starts at the level of today where ``known``, with ``age_days`` 0 there; elsewhere
    both are what they were. ``knock_log_ratio``, shape (n,), is log P(readings | knocked since the
    level was known) / P(readings | drift alone), 0 without readings.
    """

    growth: Growth
    age_days: Ints
    known: Bools
    knock_log_ratio: Floats


def take_in_levels(
    growth: Growth, age_days: Ints, readings: Sequence[LevelReading | None], *, today: int
) -> LevelsTaken:
    """Let the drift of gauges take in what the rain says of their levels, as of weak tests.

    Parameters
    ----------
    growth : Growth
        Drift of n gauges, percent.
    age_days : ndarray of int, shape (n,)
        Days since each level was known.
    readings : sequence of LevelReading or None
        n of them; readings before the level was known count as of that day.
    today : int
        Column of the record on which the day asked about falls, for the readings' days.

    Returns
    -------
    LevelsTaken

    Notes
    -----
    The level at age u is Normal(start + rate u, start_variance + rate_variance u^2 + walk u) with
    covariance start_variance + rate_variance u v + walk min(u, v) [random walk with uncertain
    drift]; readings add their own variance and what they share. The level of today and the rate
    follow by the normal law's regression on the readings (what a Kalman filter gives). A knock is
    a step s h that lasts from some reading on. Its ratio, averaged over readings and sizes s, is
    that of shifted Student's laws, ((1 + q/v) / (1 + q_s/v))^((v + m)/2): q = r'C^-1 r of the m
    residuals r, q_s of r - s h, v the degrees of freedom of the scatter of spells. The normal law
    would take a few spells of patchy rain for a knock; this one holds the whole span to scatter
    more where it fits badly [first principles].
    Checked against: a plain loop of scalar updates, and scipy's multivariate t
    (tests/stats/test_rain_level.py).
    """
    known = np.array([reading is not None for reading in readings], dtype=bool)
    years = known_years(growth, age_days)
    when, seen, own, shared = _laid_out(growth, age_days, readings, today=today)
    prior = _covariance(growth, when[:, :, None], when[:, None, :])
    total = prior + shared + own[:, :, None] * np.eye(when.shape[1])
    residual = seen - (growth.start[:, None] + growth.rate[:, None] * when)
    residual = np.where(own < NOTHING, residual, 0.0)
    inverse: Floats = np.linalg.inv(total).astype(np.float64)
    pull = np.einsum("nij,nj->ni", inverse, residual)
    now = _covariance(growth, years[:, None], when)
    rate = growth.rate_variance[:, None] * when
    spread = _covariance(growth, years, years)
    taken = replace(
        growth,
        start=growth.start + growth.rate * years + np.einsum("ni,ni->n", now, pull),
        start_variance=spread - np.einsum("ni,nij,nj->n", now, inverse, now),
        rate=growth.rate + np.einsum("ni,ni->n", rate, pull),
        rate_variance=growth.rate_variance - np.einsum("ni,nij,nj->n", rate, inverse, rate),
    )
    misfit = np.einsum("ni,ni->n", residual, pull)
    knock = _knock_log_ratio(growth, pull, inverse, misfit=misfit, told=own < NOTHING)
    return LevelsTaken(
        growth=_where(known, taken, growth),
        age_days=np.where(known, 0, age_days),
        known=known,
        knock_log_ratio=np.where(known, knock, 0.0),
    )


def _laid_out(
    growth: Growth, age_days: Ints, readings: Sequence[LevelReading | None], *, today: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Give ages in years, errors, own variances, shape (n, m), and shared ones, (n, m, m)."""
    shape = (len(readings), MOST_GROUPS)
    when, seen, own = np.zeros(shape), np.zeros(shape), np.full(shape, NOTHING)
    shared = np.zeros((*shape, MOST_GROUPS))
    ahead = np.zeros(shape)
    for i, reading in enumerate(readings):
        if reading is not None:
            count = reading.day.size
            ahead[i, :count] = reading.day - today
            seen[i, :count] = reading.percent
            own[i, :count] = reading.sd_percent**2
            shared[i, :count, :count] = reading.shared_percent2
    told = own < NOTHING
    when[told] = np.maximum(growth_years(growth, age_days, ahead), 0.0)[told]
    return when, seen, own, shared


def _covariance(growth: Growth, one: Floats, other: Floats) -> Floats:
    """Give the covariance of the levels at two ages, gauges along the first axis."""
    start, rate, walk = (
        values.reshape(-1, *[1] * (np.ndim(one) - 1))
        for values in (growth.start_variance, growth.rate_variance, growth.walk_variance)
    )
    return np.asarray(start + rate * one * other + walk * np.minimum(one, other))


def _knock_log_ratio(
    growth: Growth, pull: Floats, inverse: Floats, *, misfit: Floats, told: Bools
) -> Floats:
    """Average the likelihood ratio of steps over the reading they begin with and their size."""
    later = np.cumsum(pull[:, ::-1], axis=1)[:, ::-1]
    both = np.cumsum(np.cumsum(inverse[:, ::-1, ::-1], axis=1), axis=2)
    both = np.einsum("nii->ni", both)[:, ::-1]
    share = np.linspace(1.0, FARTHEST_KNOCK, KNOCK_SIZES)
    sizes = np.concatenate([growth.low[:, None] * share, growth.high[:, None] * share], axis=1)
    gain = 2.0 * sizes[:, None, :] * later[:, :, None] - sizes[:, None, :] ** 2 * both[:, :, None]
    rest = np.maximum(misfit[:, None, None] - gain, 0.0)
    half = (FREEDOM + told.sum(axis=1)[:, None, None]) / 2.0
    logs = half * (np.log1p(misfit / FREEDOM)[:, None, None] - np.log1p(rest / FREEDOM))
    logs = np.where(told[:, :, None], logs, -np.inf)
    highest = np.maximum(logs.max(axis=(1, 2)), -1e3)
    count = np.maximum(told.sum(axis=1), 1) * sizes.shape[1]
    return np.asarray(
        highest
        + np.log(np.exp(logs - highest[:, None, None]).sum(axis=(1, 2)) + 1e-300)
        - np.log(count)
    )


def _where(known: Bools, one: Growth, other: Growth) -> Growth:
    return replace(
        other,
        start=np.where(known, one.start, other.start),
        start_variance=np.where(known, one.start_variance, other.start_variance),
        rate=np.where(known, one.rate, other.rate),
        rate_variance=np.where(known, one.rate_variance, other.rate_variance),
    )

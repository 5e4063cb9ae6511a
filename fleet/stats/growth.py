"""A level that grows: its law, and the probability that it is out of its limits by a day.

A gauge is not taken to heal by waiting: the probability never falls with age, also where the level
would wander back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from fleet.stats.array import Floats, Ints, day_column
from fleet.stats.clock import season_lead
from fleet.units import DAYS_PER_YEAR

FARTHEST_YEARS = 1e6
"""A turn later than this is as good as none."""

SEASON_REACH_DAYS = 120.0
"""Days of mean season and days never differ by more: a year / pi at the widest swing, and two."""

LEAST_VARIANCE = 1e-18
"""Keeps a level known exactly, at age 0, from dividing by nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """The season of each of n gauges, as of `Clock`, and the ordinal of today; shape (n,)."""

    cosine: Floats
    sine: Floats
    today: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Growth:
    """A level that grows: Normal(start + rate u, start_variance + rate_variance u^2 + walk u).

    All of shape (n,); u in years since the level was known, of the mean season where there is a
    ``season``. ``walk_variance`` is a year's. The level is in limits between ``low`` and ``high``,
    which may be infinite.
    """

    start: Floats
    start_variance: Floats
    rate: Floats
    rate_variance: Floats
    walk_variance: Floats
    low: Floats
    high: Floats
    season: Season | None = None


def out_of_limits(growth: Growth, years: Floats) -> Floats:
    """Give the probability that levels lie outside their limits at given ages.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    years : ndarray, shape (n,) or (n, g) or (1, g)
        Time since each level was known.

    Returns
    -------
    ndarray
        1 - Phi((high - mean) / sd) + Phi((low - mean) / sd), in the broadcast shape.
    """
    if years.ndim == 2:
        growth = _take(growth, (slice(None), np.newaxis))
    mean, sd = predict(growth, years)
    above = ndtr((mean - growth.high) / sd)
    if np.all(np.isneginf(growth.low)):
        return np.asarray(above)
    return np.asarray(ndtr((growth.low - mean) / sd) + above)


def growth_years(growth: Growth, age_days: Ints, ahead_days: Floats) -> Floats:
    """Give the years that count since each level was known.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    age_days : ndarray of int, shape (n,)
        Days from when each level was known to today; negative for a day to come.
    ahead_days : ndarray, shape (g,) or (n, g)
        Days from today.

    Returns
    -------
    ndarray, shape (n, g)
        To each of these days; of the mean season where there is one.
    """
    years = (age_days[:, np.newaxis] + ahead_days) / DAYS_PER_YEAR
    if growth.season is None:
        return np.asarray(years)
    season = growth.season.cosine[:, np.newaxis], growth.season.sine[:, np.newaxis]
    today = day_column(growth.season.today)
    lead = season_lead(*season, today + ahead_days)
    return np.asarray(years + (lead - season_lead(*season, today - age_days[:, np.newaxis])))


def known_years(growth: Growth, age_days: Ints) -> Floats:
    """Give the years that count from when each level was known to today, shape (n,)."""
    return growth_years(growth, age_days, np.zeros(1))[:, 0]


def predict(growth: Growth, years: Floats) -> tuple[Floats, Floats]:
    """Give mean and standard deviation of levels so many years after each was known.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    years : ndarray
        Of a shape that goes with (n,).

    Returns
    -------
    tuple of ndarray
        Mean and standard deviation in the unit of the level.
    """
    walked = (growth.rate_variance * years + growth.walk_variance) * years
    variance = np.maximum(growth.start_variance + walked, LEAST_VARIANCE)
    return growth.start + growth.rate * years, np.sqrt(variance)


def worst_since_known(growth: Growth, age_days: Ints) -> Floats:
    """Give the highest probability of being out of limits on any day since a level was known.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    age_days : ndarray of int, shape (n,)
        Days since each level was known, not negative.

    Returns
    -------
    ndarray, shape (n,)
        The maximum over days 0, 1, ... age of `out_of_limits`, looked for on the first day, the
        last, and the two about the one time at which the probability of lying beyond each limit
        turns; by season too, for every day counts.

    Notes
    -----
    With m(u) = start + rate u, V(u) = start_variance + walk u + rate_variance u^2 and d = limit -
    start, (limit - m) / sqrt(V) has a slope of the sign of -(rate V0 + d walk / 2) - u (rate walk /
    2 + d rate_variance), V0 being start_variance: linear in u, so there is one turn at most.
    Checked against: every day (tests/stats/test_forecast.py).
    """
    now = known_years(growth, age_days)
    worst = np.maximum(out_of_limits(growth, np.zeros(now.size)), out_of_limits(growth, now))
    for limit in (growth.low, growth.high):
        turn = _turn(growth, limit)
        within = np.flatnonzero((turn > 0.0) & (turn < now))
        each, age = _take(growth, within), age_days[within]
        before = _last_day(each, age, turn[within])
        for day in (before, before + 1.0):
            then = out_of_limits(each, _years_on(each, age, np.clip(day, 0.0, age)))
            worst[within] = np.maximum(worst[within], then)
    return worst


def _turn(growth: Growth, limit: Floats) -> Floats:
    """Give the years at which the probability of lying beyond a limit turns, -1 for never."""
    finite = np.isfinite(limit)
    off = np.where(finite, limit, 0.0) - growth.start
    slope = growth.rate * growth.walk_variance / 2.0 + off * growth.rate_variance
    start = growth.rate * growth.start_variance + off * growth.walk_variance / 2.0
    turns = finite & (start * slope < 0.0)
    years = -start / np.where(turns, slope, 1.0)
    return np.where(turns, np.minimum(years, FARTHEST_YEARS), -1.0)


def _last_day(growth: Growth, age_days: Ints, years: Floats) -> Floats:
    """Give the last day since each level was known on which no more than so many years count."""
    low = np.floor(years * DAYS_PER_YEAR)
    if growth.season is None:
        return low
    low, high = low - SEASON_REACH_DAYS, low + SEASON_REACH_DAYS
    while np.any(high - low > 1.0):
        day = np.floor((low + high) / 2.0)
        early = _years_on(growth, age_days, day) <= years
        low, high = np.where(early, day, low), np.where(early, high, day)
    return low


def _years_on(growth: Growth, age_days: Ints, day: Floats) -> Floats:
    """Give the years that count up to a day of each gauge, of those since its level was known."""
    return growth_years(growth, age_days, (day - age_days)[:, np.newaxis])[:, 0]


def _take(growth: Growth, index: Ints | tuple[slice, None]) -> Growth:
    """Index every array of a Growth alike."""
    return Growth(
        start=growth.start[index],
        start_variance=growth.start_variance[index],
        rate=growth.rate[index],
        rate_variance=growth.rate_variance[index],
        walk_variance=growth.walk_variance[index],
        low=growth.low[index],
        high=growth.high[index],
        season=_take_season(growth.season, index),
    )


def _take_season(season: Season | None, index: Ints | tuple[slice, None]) -> Season | None:
    if season is None:
        return None
    return Season(season.cosine[index], season.sine[index], season.today[index])


def out_of_limits_by(growth: Growth, age_days: Ints, ahead_days: Floats) -> Floats:
    """Follow the worst probability since levels were known through the days ahead.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    age_days : ndarray of int, shape (n,)
        Days since each level was known, not negative.
    ahead_days : ndarray, shape (g,)
        Days from today on, rising, from 0.

    Returns
    -------
    ndarray, shape (n, g)
        Probability of being out of limits, which never falls along a row.
    """
    so_far = worst_since_known(growth, age_days)[:, np.newaxis]
    ahead = out_of_limits(growth, growth_years(growth, age_days, ahead_days))
    return np.maximum(so_far, np.maximum.accumulate(ahead, axis=1))


def out_if_knocked(growth: Growth, knock_sd: Floats) -> Floats:
    """Give the share of sudden changes that leave a level outside its limits.

    Parameters
    ----------
    growth : Growth
        Of n gauges.
    knock_sd : ndarray, shape (n,)
        Standard deviation of a sudden change.

    Returns
    -------
    ndarray, shape (n, 1)
        From the level as it was known, so that the probability does not fall with age.
    """
    knocked = replace(growth, start_variance=growth.start_variance + knock_sd**2)
    return out_of_limits(knocked, np.zeros((1, 1)))

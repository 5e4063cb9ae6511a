"""The probability that a gauge is unfit: as it stands, and had it just been serviced.

Causes: drift out of tolerance, a sudden change of level, blockage, a switch worn or dead, a gauge
left off its logger. They count as independent. A gauge is not taken to heal by waiting: the
probability that drift or resistance is out of limits never falls with age, also where its forecast
would wander back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.clock import Clock, exposure, season_lead
from fleet.stats.hazard import HazardPosterior, event_probability
from fleet.stats.notice import unnoticed
from fleet.units import DAYS_PER_YEAR

CERTAIN = 1.0 - 1e-9
"""Where probabilities are cut off, so that their logarithms stay finite."""

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


@dataclass(frozen=True, slots=True, eq=False)
class Sudden:
    """Events that come without warning, shape (n,).

    ``age_days`` ago there was seen to be none; ``new_days`` ago is when age began to count.
    ``clocks`` has each clock with the rows that it holds for; ``today`` is the ordinal of the day.
    """

    hazard: HazardPosterior
    age_days: Ints
    new_days: Ints
    clocks: tuple[tuple[Clock, Ints], ...]
    today: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Gauges:
    """What the forecast needs to know of n gauges; every array has shape (n,).

    ``drift`` (percent) and ``resistance`` (logarithm of ohm) start at the last known level, so
    many days ago. ``fresh_level`` and ``new_switch`` are the mean levels that a service and a
    new switch leave, with their variances; ``knock_sd`` is how far sudden changes of level go,
    which count from the day of that level too. ``blocked``, ``dead`` and ``disconnected`` are facts
    that the last visit left behind.
    """

    drift: Growth
    drift_age_days: Ints
    fresh_level: Floats
    fresh_level_variance: Floats
    resistance: Growth
    resistance_age_days: Ints
    new_switch: Floats
    new_switch_variance: Floats
    knock: Sudden
    knock_sd: Floats
    blockage: Sudden
    deaths: Sudden
    blocked: Bools
    dead: Bools
    disconnected: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Causes:
    """Probability of each cause, shape (n, g): a row a gauge, a column a day asked about.

    Evidence from elsewhere may move any of them by its odds: `dataclasses.replace` a field.
    ``together`` is that of any of them, where evidence has made them depend on each other.
    """

    drift: Floats
    knock: Floats
    blockage: Floats
    resistance: Floats
    deaths: Floats
    disconnection: Floats
    together: Floats | None = None

    @property
    def tolerance(self) -> Floats:
        """Give the probability of being out of tolerance, by drift or a sudden change."""
        return _joined(_hazard(self.drift) + _hazard(self.knock))

    @property
    def switch(self) -> Floats:
        """Give the probability that the switch fails, worn or dead."""
        return _joined(_hazard(self.resistance) + _hazard(self.deaths))

    def hazards(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Give -log(1 - p) of tolerance, blockage, switch and disconnection."""
        level = _hazard(self.drift) + _hazard(self.knock)
        switch = _hazard(self.resistance) + _hazard(self.deaths)
        return level, _hazard(self.blockage), switch, _hazard(self.disconnection)

    def unfit(self) -> Floats:
        """Give the probability of any cause, cut off at CERTAIN; 1 - prod(1 - p) on their own."""
        if self.together is not None:
            return np.minimum(self.together, CERTAIN)
        unfit = np.minimum(self.drift, CERTAIN)
        for cause in (self.knock, self.blockage, self.resistance, self.deaths, self.disconnection):
            unfit = unfit + np.minimum(cause, CERTAIN) * (1.0 - unfit)
        return np.minimum(unfit, CERTAIN)


def as_it_stands(gauges: Gauges, ahead_days: Floats) -> Causes:
    """Forecast gauges that nobody visits.

    Parameters
    ----------
    gauges : Gauges
        n of them, as on the day of the forecast.
    ahead_days : ndarray, shape (g,)
        Days from that day on, rising, from 0.

    Returns
    -------
    Causes
        Shape (n, g). A fact left behind by the last visit is certain.
    """
    drift = _out_of_limits_by(gauges.drift, gauges.drift_age_days, ahead_days)
    return Causes(
        drift=drift,
        knock=_happened(gauges.knock, ahead_days) * out_if_knocked(gauges.drift, gauges.knock_sd),
        blockage=_known(gauges.blocked, _happened(gauges.blockage, ahead_days)),
        resistance=_out_of_limits_by(gauges.resistance, gauges.resistance_age_days, ahead_days),
        deaths=_known(gauges.dead, _happened(gauges.deaths, ahead_days)),
        disconnection=_known(gauges.disconnected, np.zeros_like(drift)),
    )


def after_service(gauges: Gauges, days: Floats) -> Causes:
    """Forecast the same gauges had each just been serviced.

    Parameters
    ----------
    gauges : Gauges
        As they stand before the service.
    days : ndarray, shape (g,)
        Days since the service, rising, from 0.

    Returns
    -------
    Causes
        Shape (n, g). The level starts where services of the type leave it; the way of the water
        is clear and the gauge is on its logger. The resistance keeps its level, for no service
        betters it, but a switch found failing is replaced and starts as new ones do.
    """
    now = np.zeros_like(gauges.drift_age_days)
    fresh = replace(
        gauges.drift, start=gauges.fresh_level, start_variance=gauges.fresh_level_variance
    )
    drift = np.maximum.accumulate(out_of_limits(fresh, growth_years(fresh, now, days)), axis=1)
    return Causes(
        drift=drift,
        knock=_afresh(gauges.knock, days) * out_if_knocked(fresh, gauges.knock_sd),
        blockage=_afresh(gauges.blockage, days),
        resistance=_worn_after_service(gauges, days),
        deaths=_still_alive(gauges, days),
        disconnection=np.zeros_like(drift),
    )


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
    today = _column(growth.season.today)
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


def _out_of_limits_by(growth: Growth, age_days: Ints, ahead_days: Floats) -> Floats:
    """Follow the worst probability since the level was known through the days ahead."""
    so_far = worst_since_known(growth, age_days)[:, np.newaxis]
    ahead = out_of_limits(growth, growth_years(growth, age_days, ahead_days))
    return np.maximum(so_far, np.maximum.accumulate(ahead, axis=1))


def _happened(sudden: Sudden, ahead_days: Floats) -> Floats:
    """Give the probability of an event since there was seen to be none."""
    return _between(sudden, new=sudden.new_days, well=sudden.age_days, ahead_days=ahead_days)


def _afresh(sudden: Sudden, days: Floats) -> Floats:
    """Give the probability of an event within days of a service that makes all new."""
    now = np.zeros_like(sudden.age_days)
    return _between(sudden, new=now, well=now, ahead_days=days)


def _still_alive(gauges: Gauges, days: Floats) -> Floats:
    """Weigh the switch that ages on against the one that is replaced because it is dead now."""
    sudden, now = gauges.deaths, np.zeros_like(gauges.deaths.age_days)
    dead = _known(gauges.dead, _happened(sudden, np.zeros(1)))
    older = _between(sudden, new=sudden.new_days, well=now, ahead_days=days)
    return np.asarray((1.0 - dead) * older + dead * _afresh(sudden, days))


def since_well(sudden: Sudden) -> tuple[Floats, Floats]:
    """Give what has come together since there was seen to be none.

    Parameters
    ----------
    sudden : Sudden
        Of n gauges.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Exposure, and the probability that what struck is not noticed yet.
    """
    spent, silence = _gathered(
        sudden, new=sudden.new_days, well=sudden.age_days, ahead_days=np.zeros(1)
    )
    return spent[:, 0], silence[:, 0]


def _between(sudden: Sudden, *, new: Ints, well: Ints, ahead_days: Floats) -> Floats:
    """Give the probability that it struck since it was well, and that nobody has noticed."""
    spent, silence = _gathered(sudden, new=new, well=well, ahead_days=ahead_days)
    struck = event_probability(sudden.hazard, spent)
    if all(clock.noticed <= 0.0 for clock, _ in sudden.clocks):
        return struck
    return np.asarray(struck * silence / (1.0 - struck * (1.0 - silence)))


def _gathered(
    sudden: Sudden, *, new: Ints, well: Ints, ahead_days: Floats
) -> tuple[Floats, Floats]:
    """Give exposure and silence; what is alike for all gauges is worked out once."""
    shape = (new.size, ahead_days.size)
    if len(sudden.clocks) == 1:
        spent, silence = _by_clock(sudden.clocks[0][0], sudden.today, new, well, ahead_days)
        return np.broadcast_to(spent, shape), np.broadcast_to(silence, shape)
    spent, silence = np.zeros(shape), np.ones(shape)
    for clock, rows in sudden.clocks:
        spent[rows], silence[rows] = _by_clock(
            clock, sudden.today[rows], new[rows], well[rows], ahead_days
        )
    return spent, silence


def _by_clock(
    clock: Clock, today: Ints, new: Ints, well: Ints, ahead_days: Floats
) -> tuple[Floats, Floats]:
    """Give exposure and silence by one clock, in shapes that go with (n, g)."""
    day, since_new, since_well = (_column(days) for days in (today, new, well))
    spent = exposure(clock, day - since_new, day - since_well, day + ahead_days)
    if clock.noticed <= 0.0:
        return spent, np.ones((1, 1))
    return spent, unnoticed(clock.noticed, (since_well + ahead_days) / DAYS_PER_YEAR)


def _column(days: Ints) -> Floats:
    """Turn days into a column; into a single row where all are the same."""
    alike = days.size > 1 and bool((days == days[0]).all())
    return (days[:1] if alike else days).astype(np.float64)[:, np.newaxis]


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


def _worn_after_service(gauges: Gauges, days: Floats) -> Floats:
    """Weigh the switch that is kept against the one that is replaced because it fails now."""
    worn_then = _out_of_limits_by(gauges.resistance, gauges.resistance_age_days, days)
    worn_now = worn_then[:, :1]
    dead_now = _known(gauges.dead, _happened(gauges.deaths, np.zeros(1)))
    failing = 1.0 - (1.0 - worn_now) * (1.0 - dead_now)
    wears_out = np.maximum(worn_then - worn_now, 0.0) / np.maximum(1.0 - worn_now, 1e-9)
    new = replace(
        gauges.resistance, start=gauges.new_switch, start_variance=gauges.new_switch_variance
    )
    years = growth_years(new, np.zeros_like(gauges.resistance_age_days), days)
    new_worn = np.maximum.accumulate(out_of_limits(new, years), axis=1)
    return (1.0 - failing) * wears_out + failing * new_worn


def _known(fact: Bools, probability: Floats) -> Floats:
    """Make certain what the last visit left behind."""
    return np.where(fact[:, np.newaxis], CERTAIN, probability)


def _hazard(probability: Floats) -> Floats:
    return -np.log1p(-np.minimum(probability, CERTAIN))


def _joined(hazard: Floats) -> Floats:
    return np.minimum(-np.expm1(-hazard), CERTAIN)

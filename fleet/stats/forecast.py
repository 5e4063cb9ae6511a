"""The probability that a gauge is unfit: as it stands, and had it just been serviced.

Causes: drift out of tolerance, a sudden change of level, blockage, a switch worn or dead, a gauge
left off its logger. They count as independent. A gauge is not taken to heal by waiting: the
probability that drift or resistance is out of limits never falls with age, also where its forecast
would wander back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.stats.array import Bools, Floats, Ints, day_column
from fleet.stats.clock import Clock, exposure
from fleet.stats.growth import Growth, growth_years, out_if_knocked, out_of_limits, out_of_limits_by
from fleet.stats.hazard import HazardPosterior, event_probability
from fleet.stats.notice import unnoticed
from fleet.units import DAYS_PER_YEAR

CERTAIN = 1.0 - 1e-9
"""Where probabilities are cut off, so that their logarithms stay finite."""


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
    drift = out_of_limits_by(gauges.drift, gauges.drift_age_days, ahead_days)
    return Causes(
        drift=drift,
        knock=_happened(gauges.knock, ahead_days) * out_if_knocked(gauges.drift, gauges.knock_sd),
        blockage=_known(gauges.blocked, _happened(gauges.blockage, ahead_days)),
        resistance=out_of_limits_by(gauges.resistance, gauges.resistance_age_days, ahead_days),
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
    day, since_new, since_well = (day_column(days) for days in (today, new, well))
    spent = exposure(clock, day - since_new, day - since_well, day + ahead_days)
    if clock.noticed <= 0.0:
        return spent, np.ones((1, 1))
    return spent, unnoticed(clock.noticed, (since_well + ahead_days) / DAYS_PER_YEAR)


def _worn_after_service(gauges: Gauges, days: Floats) -> Floats:
    """Weigh the switch that is kept against the one that is replaced because it fails now."""
    worn_then = out_of_limits_by(gauges.resistance, gauges.resistance_age_days, days)
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

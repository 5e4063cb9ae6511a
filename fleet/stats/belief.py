"""What the desk comes to believe of gauges as services are recorded, without refitting the fleet.

The arrays of the forecast, kept up in place: the same numbers that the records of the services
would give under the same fit of the fleet, as long as no change is held to be an outlier.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, cast

import numpy as np

from fleet.domain.state import LOG_OHM_VARIANCE
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.forecast import Gauges, Sudden, after_service, as_it_stands, since_well
from fleet.stats.future import SUDDEN, SUDDEN_FACTS, Found
from fleet.stats.growth import Growth, known_years
from fleet.stats.worth import worth_record_days

STRUCK_SHARE = 0.5
"""Part of a spell that ended with a sudden event found, that counts as watched: the event may
have come on any of its days."""

Arrays = TypeVar("Arrays")


class Belief:
    """What is believed of n gauges, from day to day.

    Parameters
    ----------
    gauges : Gauges
        As they stand; copied.
    level_known, ohm_known : ndarray of bool, shape (n,)
        Whether the level and the resistance were measured since they last were changed.
    level_variance : ndarray, shape (n,)
        Measurement variance of a level, percent squared.
    dice : numpy.random.Generator
        For the measurements; each service draws for all n.
    """

    def __init__(
        self,
        gauges: Gauges,
        *,
        level_known: Bools,
        ohm_known: Bools,
        level_variance: Floats,
        dice: np.random.Generator,
    ) -> None:
        self.gauges = copy_arrays(gauges)
        self._level_known = level_known.copy()
        self._ohm_known = ohm_known.copy()
        self._level_sd = np.sqrt(level_variance)
        self._dice = dice

    def pass_days(self, days: int) -> None:
        """Let all gauges grow older by so many days."""
        gauges = self.gauges
        ages = [gauges.drift_age_days, gauges.resistance_age_days]
        seasons = (gauges.drift.season, gauges.resistance.season)
        ages += [season.today for season in seasons if season is not None]
        for name in SUDDEN:
            sudden = getattr(gauges, name)
            ages += [sudden.age_days, sudden.new_days, sudden.today]
        for age in ages:
            np.add(age, days, out=age)

    def hear(self, cause: str, noticed: Bools) -> None:
        """Know of gauges that people have noticed what struck them."""
        known = getattr(self.gauges, SUDDEN_FACTS[cause])
        np.logical_or(known, noticed, out=known)

    def worth(self, days: Floats, importance: Floats) -> Floats:
        """Give what a service of each gauge now would buy, as the ranking has it.

        Parameters
        ----------
        days : ndarray, shape (g,)
            Days after the service, rising from 0 to the horizon.
        importance : ndarray, shape (n,)
            Weights.

        Returns
        -------
        ndarray, shape (n,)
            Record-days, without compliance.
        """
        now = as_it_stands(self.gauges, np.zeros(1)).unfit()[:, 0]
        fresh = after_service(self.gauges, days).unfit()
        return worth_record_days(now, fresh, days=days, importance=importance)

    def record(self, index: Ints, found: Found) -> None:
        """Take in what services found and left.

        Parameters
        ----------
        index : ndarray of int, shape (k,)
            The gauges, each once.
        found : Found
            What is true of them; measured with noise here. A blocked gauge or a dead switch
            gives no level as found, a dead switch no resistance; a level that was knocked is
            seen to have been, and says nothing of the drift.
        """
        dead = found.struck["deaths"]
        tested = ~(dead | found.struck["blockage"] | found.struck["knock"])
        self._measure(self.gauges.drift, index, (found.level, found.level_left), tested)
        self._measure(self.gauges.resistance, index, (found.log_ohm, found.log_ohm_left), ~dead)
        for name in SUDDEN:
            new = found.replaced if name == "deaths" else np.ones_like(found.replaced)
            self._watch(getattr(self.gauges, name), index, found.struck[name], new)
        for fact in SUDDEN_FACTS.values():
            getattr(self.gauges, fact)[index] = False
        self.gauges.disconnected[index] = False

    def _watch(self, sudden: Sudden, index: Ints, struck: Bools, new: Bools) -> None:
        """Count the exposure that a look ends, and the events that it found."""
        watched = np.where(struck, STRUCK_SHARE, 1.0) * since_well(sudden)[0][index]
        sudden.hazard.shape[index] += struck
        sudden.hazard.scale_years[index] += watched
        sudden.age_days[index] = 0
        sudden.new_days[index] = np.where(new, 0, sudden.new_days[index])

    def _measure(
        self, growth: Growth, index: Ints, levels: tuple[Floats, Floats], seen: Bools
    ) -> None:
        """Learn a rate from found minus left, and start from what is measured as left."""
        drift = growth is self.gauges.drift
        known = self._level_known if drift else self._ohm_known
        age = self.gauges.drift_age_days if drift else self.gauges.resistance_age_days
        spread = self._level_sd if drift else np.full(known.size, LOG_OHM_VARIANCE**0.5)
        found, left = (
            true + (spread * self._dice.standard_normal(known.size))[index] for true in levels
        )
        noise = spread[index] ** 2
        years = known_years(growth, age)[index]
        learns = seen & known[index] & (years > 0.0)
        learn_rate(
            growth,
            index[learns],
            change=(found - growth.start[index])[learns],
            years=years[learns],
            noise=noise[learns],
        )
        growth.start[index] = left
        growth.start_variance[index] = noise
        known[index] = True
        age[index] = 0


def learn_rate(
    growth: Growth, index: Ints, *, change: Floats, years: Floats, noise: Floats
) -> None:
    """Sharpen rates of growth in place, by changes seen since each level was known.

    Parameters
    ----------
    growth : Growth
        Of n gauges; ``rate`` and ``rate_variance`` change.
    index : ndarray of int, shape (k,)
        The gauges, each once.
    change : ndarray, shape (k,)
        Level found minus the level known before, in the unit of the level.
    years : ndarray, shape (k,)
        Between the two, above 0.
    noise : ndarray, shape (k,)
        Measurement variance of the level found; that of the level before is in ``growth``.

    Notes
    -----
    Normal rate, normal change: with w = 1 / (sigma^2 t + v), the precision grows by w t^2 and the
    precision times the mean by w t y (first principles; the sums of `posterior_growth`).
    """
    prior = growth.rate_variance[index]
    spread = growth.walk_variance[index] * years + growth.start_variance[index] + noise
    variance = 1.0 / (1.0 / prior + years**2 / spread)
    growth.rate[index] = variance * (growth.rate[index] / prior + years * change / spread)
    growth.rate_variance[index] = variance


def copy_arrays(of: Arrays) -> Arrays:
    """Copy a dataclass of arrays and of such dataclasses: every array its own, the rest shared."""
    parts: dict[str, Any] = {}
    for field in fields(cast("Any", of)):
        value = getattr(of, field.name)
        if is_dataclass(value):
            parts[field.name] = copy_arrays(value)
        else:
            parts[field.name] = value.copy() if isinstance(value, np.ndarray) else value
    return type(of)(**parts)

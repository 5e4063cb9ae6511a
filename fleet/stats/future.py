"""One drawn future of a network: how its gauges drift, block and wear, and what services find.

The same laws as the forecast's, so that the share of drawn gauges that are unfit tends to the
probability forecast. What is unknown of a whole kind (its mean drift, its mean rate of sudden
events) is drawn once a future and shared by its gauges: that is most of what makes one year
differ from another.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.fleet_model import TypeModel
from fleet.stats.forecast import Gauges
from fleet.stats.gauge_array import Standings
from fleet.stats.growth import Growth, growth_years, known_years
from fleet.stats.hazard import HazardFit
from fleet.stats.pooled_change import GrowthFit
from fleet.stats.strike import SharedRate, Strikes

SUDDEN_FACTS = {"blockage": "blocked", "deaths": "dead"}
"""Sudden causes of `Gauges` of which a visit may leave the fact behind, and what tells of it."""

SUDDEN = (*SUDDEN_FACTS, "knock")
"""Every sudden cause of `Gauges`."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedGrowth:
    """What gauges of a kind share of a growth's doubt, shape (n,): spread of the kind's mean."""

    kind: Ints
    mean_sd: Floats
    between_sd: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SharedDoubt:
    """What is not known of whole kinds, for every cause."""

    drift: SharedGrowth
    resistance: SharedGrowth
    sudden: Mapping[str, SharedRate]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """How gauges were found and left, shape (k,) in the order of the services.

    Levels in percent, resistances as logarithm of ohm; ``struck`` by sudden cause; ``replaced``
    tells which switches were.
    """

    level: Floats
    log_ohm: Floats
    struck: Mapping[str, Bools]
    level_left: Floats
    log_ohm_left: Floats
    replaced: Bools


def shared_doubt(standings: Standings) -> SharedDoubt:
    """Gather what is not known of the kinds of gauges.

    Parameters
    ----------
    standings : Standings
        n gauges with the models of their types; a fit borrowed from the network is one kind.

    Returns
    -------
    SharedDoubt
        Of the n gauges. The log mean rate of a kind with k events has the standard deviation
        (1 + k)^(-1/2): the prior's precision of 1 and one for each event (Poisson likelihood).
    """
    return SharedDoubt(
        drift=_shared_growth(standings, lambda model: model.drift),
        resistance=_shared_growth(standings, lambda model: model.resistance),
        sudden={
            "blockage": _shared_rate(standings, lambda model: model.blockage),
            "deaths": _shared_rate(standings, lambda model: model.deaths),
            "knock": _shared_rate(standings, lambda model: model.knock.hazard),
        },
    )


class Future:
    """One drawn future of n gauges, walked through day by day.

    Parameters
    ----------
    gauges : Gauges
        As they stand on the day it starts; not changed.
    doubt : SharedDoubt
        Of the same gauges.
    dice : numpy.random.Generator
        Each step and each service draws for all n gauges, so that two futures from dice of one
        seed meet the same chance whatever is visited.
    """

    def __init__(self, gauges: Gauges, doubt: SharedDoubt, dice: np.random.Generator) -> None:
        self._gauges = gauges
        self._dice = dice
        self._size = gauges.drift.start.size
        self._passed = 0
        self._drift_rate, self._level = self._draw_growth(
            gauges.drift, gauges.drift_age_days, doubt.drift
        )
        self._ohm_rate, self._log_ohm = self._draw_growth(
            gauges.resistance, gauges.resistance_age_days, doubt.resistance
        )
        self._sudden = {
            name: Strikes(getattr(gauges, name), doubt.sudden[name], self._kinds, dice)
            for name in SUDDEN
        }
        for name, fact in SUDDEN_FACTS.items():
            self._sudden[name].strike(getattr(gauges, fact))
        self._step_percent = self._normal(np.zeros(self._size), gauges.knock_sd**2)
        self._disconnected = gauges.disconnected.copy()

    def pass_days(self, days: int) -> None:
        """Let so many days come over all gauges."""
        self._level += self._step(self._gauges.drift, self._drift_rate, days)
        self._log_ohm += self._step(self._gauges.resistance, self._ohm_rate, days)
        self._passed += days
        for strikes in self._sudden.values():
            strikes.pass_days(days)

    def noticed(self, cause: str) -> Bools:
        """Tell of which gauges people have noticed that this struck, shape (n,)."""
        return self._sudden[cause].noticed

    def unfit(self) -> Bools:
        """Tell which gauges are truly unfit, shape (n,)."""
        drift, resistance = self._gauges.drift, self._gauges.resistance
        level = self._level + self._knocked()
        unfit = self._disconnected | (level < drift.low) | (level > drift.high)
        unfit |= self._log_ohm > resistance.high
        for name in SUDDEN_FACTS:
            unfit |= self._sudden[name].struck
        return np.asarray(unfit)

    def service(self, index: Ints) -> Found:
        """Service gauges: each starts anew, as `after_service` forecasts.

        Parameters
        ----------
        index : ndarray of int, shape (k,)
            The gauges, each once.

        Returns
        -------
        Found
            A switch found worn or dead is replaced; any other keeps its resistance.
        """
        gauges = self._gauges
        struck = {name: strikes.struck[index] for name, strikes in self._sudden.items()}
        found_level = (self._level + self._knocked())[index]
        found_ohm = self._log_ohm[index]
        fresh = self._normal(gauges.fresh_level, gauges.fresh_level_variance)
        new = self._normal(gauges.new_switch, gauges.new_switch_variance)
        failing = (found_ohm > gauges.resistance.high[index]) | struck["deaths"]
        self._level[index] = fresh[index]
        self._log_ohm[index] = np.where(failing, new[index], found_ohm)
        for name, strikes in self._sudden.items():
            strikes.mend(index, failing if name == "deaths" else np.ones_like(failing))
        step = self._normal(np.zeros(self._size), gauges.knock_sd**2)
        self._step_percent[index] = step[index]
        self._disconnected[index] = False
        left = (self._level[index], self._log_ohm[index])
        return Found(found_level, found_ohm, struck, *left, replaced=failing)

    def _knocked(self) -> Floats:
        """Give the sudden step that each level has taken, 0 without."""
        return np.where(self._sudden["knock"].struck, self._step_percent, 0.0)

    def _draw_growth(
        self, growth: Growth, age_days: Ints, shared: SharedGrowth
    ) -> tuple[Floats, Floats]:
        """Draw the rates and the levels of today."""
        shrink = _shrink(growth.rate_variance, shared)
        off = self._kinds(shared.kind)
        own = self._dice.standard_normal(self._size)
        rate = growth.rate + shrink * shared.mean_sd * off
        rate = rate + np.sqrt(shrink) * shared.between_sd * own
        years = known_years(growth, age_days)
        variance = growth.start_variance + growth.walk_variance * years
        return rate, self._normal(growth.start + rate * years, variance)

    def _step(self, growth: Growth, rate: Floats, days: int) -> Floats:
        since = np.full(self._size, -self._passed)
        years = growth_years(growth, since, np.array([float(self._passed + days)]))[:, 0]
        return self._normal(rate * years, growth.walk_variance * years)

    def _normal(self, mean: Floats, variance: Floats) -> Floats:
        return mean + np.sqrt(variance) * self._dice.standard_normal(self._size)

    def _kinds(self, kind: Ints) -> Floats:
        """Draw one standard normal number a kind, and give each gauge its kind's."""
        return self._dice.standard_normal(int(kind.max(initial=-1)) + 1)[kind]


def _shrink(rate_variance: Floats, shared: SharedGrowth) -> Floats:
    """Find s of `posterior_growth` again from its variance s tau^2 + s^2 mean_sd^2."""
    between, mean = shared.between_sd**2, shared.mean_sd**2
    root = np.sqrt(between**2 + 4.0 * mean * rate_variance)
    return np.asarray(2.0 * rate_variance / np.maximum(between + root, 1e-300))


def _shared_growth(standings: Standings, fit: Callable[[TypeModel], GrowthFit]) -> SharedGrowth:
    return SharedGrowth(
        kind=_kinds([fit(model) for model in standings.models])[standings.which],
        mean_sd=standings.of_kind(lambda model: fit(model).mean_sd),
        between_sd=standings.of_kind(lambda model: fit(model).between_sd),
    )


def _shared_rate(standings: Standings, fit: Callable[[TypeModel], HazardFit]) -> SharedRate:
    return SharedRate(
        kind=_kinds([fit(model) for model in standings.models])[standings.which],
        scale_years=standings.of_kind(lambda model: fit(model).scale_years),
        log_sd=standings.of_kind(lambda model: (1.0 + fit(model).events) ** -0.5),
    )


def _kinds(fits: Sequence[Hashable]) -> Ints:
    """Give each fit the number of its kind; those borrowed from the network are one."""
    place = {one: number for number, one in enumerate(dict.fromkeys(fits))}
    return np.array([place[one] for one in fits], dtype=np.int64)

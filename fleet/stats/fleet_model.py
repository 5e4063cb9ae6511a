"""What the whole fleet's records teach of each gauge type: growth, blockage, switch deaths."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from math import log

import numpy as np

from fleet.domain.state import LOG_OHM_VARIANCE, Change, GaugeState, log_ohm
from fleet.domain.watch import Watch
from fleet.stats.clock import Clock
from fleet.stats.clock_fit import fit_clock, fit_watches
from fleet.stats.drift_season import fit_season
from fleet.stats.hazard import HazardFit, HazardPrior
from fleet.stats.knock import KnockFit, fit_knock
from fleet.stats.pooled_change import Changes, GrowthFit, GrowthPrior, fit_change
from fleet.stats.spread import Spread, fit_spread
from fleet.stats.watch_count import gather_watches

DRIFT_PRIOR = GrowthPrior(mean_sd=2.0, between_sd=2.0, walk_sd=1.5)
"""Percent a year and percent a root year. A state extension network reports tipping buckets
5-10 % off after 2-3 years without service, so rates of 2-4 % a year; the random part of the same
size over half a year (own estimate)."""

RESISTANCE_PRIOR = GrowthPrior(mean_sd=0.3, between_sd=0.15, walk_sd=0.3)
"""Logarithm of ohm. From 0.2 ohm new (from memory of reed data sheets) to the 5 ohm of common
field practice in some ten years is 0.3 a year."""

BLOCKAGE_PRIOR = HazardPrior(per_year=0.2)
"""One blockage in five gauge-years, a factor of e either way: own estimate, no published source."""

DEATH_PRIOR = HazardPrior(per_year=0.05)
"""One sudden switch failure in twenty gauge-years: own estimate, no published source."""

AS_LEFT_PRIOR = Spread(mean=0.0, sd=1.5, values=4)
"""Percent. Common practice leaves a gauge within 3 %, taken as two standard deviations; weighs
as much as four as-left results."""

NEW_SWITCH_PRIOR = Spread(mean=log(0.3), sd=0.7, values=4)
"""Logarithm of ohm: 0.2 ohm new (from memory), at most 1 ohm leaving the workshop (common
practice, no published source); weighs as much as four readings."""

ENOUGH_CHANGES = 12
ENOUGH_GAUGES = 4
ENOUGH_YEARS = 20.0
ENOUGH_VALUES = 5
"""Below these numbers a type borrows the figure of the whole network: choices of this program."""


@dataclass(frozen=True, slots=True)
class TypeModel:
    """Hyperparameters of one gauge type, or of the whole network.

    ``borrowed`` names the parts that are the network's because the type's own data are few.
    """

    drift: GrowthFit
    knock: KnockFit
    resistance: GrowthFit
    blockage: HazardFit
    deaths: HazardFit
    as_left: Spread
    new_switch: Spread
    borrowed: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class FleetModel:
    """The models of all types seen, and the network's for any other."""

    types: Mapping[str, TypeModel]
    network: TypeModel

    def of(self, type_code: str) -> TypeModel:
        """Give the model of a type; the network's, told as such, for one never seen."""
        return self.types.get(type_code) or _borrow_all(self.network)


def fit_fleet(states: Sequence[GaugeState]) -> FleetModel:
    """Fit every type's hyperparameters from the states of its gauges.

    Parameters
    ----------
    states : sequence of GaugeState
        In any order; may be empty.

    Returns
    -------
    FleetModel
        The same, to the last bit, for the same states in any order.
    """
    ordered = sorted(states, key=_order)
    clocks = _clocks(ordered)
    network = _fit(ordered, clocks)
    by_type: dict[str, list[GaugeState]] = defaultdict(list)
    for state in ordered:
        by_type[state.gauge.type_code].append(state)
    types = {code: _fit_type(group, network, clocks) for code, group in by_type.items()}
    return FleetModel(types, network)


def gather_changes(
    states: Sequence[GaugeState], pick: Callable[[GaugeState], tuple[Change, ...]]
) -> Changes:
    """Lay the changes of all gauges end to end.

    Parameters
    ----------
    states : sequence of GaugeState
        One unit each.
    pick : callable
        Gives a state's changes: of drift or of the switch.

    Returns
    -------
    Changes
        In the order of the states.
    """
    picked = [pick(state) for state in states]
    seen = list(chain.from_iterable(picked))
    return Changes(
        years=np.fromiter((change.years for change in seen), np.float64, len(seen)),
        amount=np.fromiter((change.amount for change in seen), np.float64, len(seen)),
        variance=np.fromiter((change.variance for change in seen), np.float64, len(seen)),
        unit=np.repeat(np.arange(len(states)), np.array([len(c) for c in picked], dtype=np.int64)),
        units=len(states),
        found_day=np.fromiter((c.found_on.toordinal() for c in seen), np.float64, len(seen)),
    )


def _order(state: GaugeState) -> tuple[str, str, int, str]:
    gauge = state.gauge
    installed_on = gauge.installed_on.isoformat()
    return gauge.site_code, gauge.position, gauge.installation_id, installed_on


@dataclass(frozen=True, slots=True)
class _Clocks:
    """How time counts, learned from the whole network: few types could tell by themselves."""

    drift: Clock
    blockage: Clock
    deaths: Clock


def _clocks(states: Sequence[GaugeState]) -> _Clocks:
    return _Clocks(
        drift=fit_season(gather_changes(states, lambda state: state.drift), DRIFT_PRIOR),
        blockage=fit_clock(gather_watches(states, _blockage_watches), BLOCKAGE_PRIOR),
        deaths=fit_clock(gather_watches(states, _switch_watches), DEATH_PRIOR),
    )


def _blockage_watches(state: GaugeState) -> tuple[Watch, ...]:
    return state.blockage_watches


def _switch_watches(state: GaugeState) -> tuple[Watch, ...]:
    return state.switch_watches


def _fit(states: Sequence[GaugeState], clocks: _Clocks) -> TypeModel:
    lefts = [state.last_as_left for state in states if state.last_as_left is not None]
    ohms = [log_ohm(state.switch_ohm) for state in states if state.switch_ohm is not None]
    changes = gather_changes(states, lambda state: state.drift)
    drift = fit_change(changes, DRIFT_PRIOR, clocks.drift)
    return TypeModel(
        drift=drift,
        knock=fit_knock(changes, drift),
        resistance=fit_change(
            gather_changes(states, lambda state: state.switch_growth), RESISTANCE_PRIOR
        ),
        blockage=fit_watches(
            gather_watches(states, _blockage_watches), clocks.blockage, BLOCKAGE_PRIOR
        ),
        deaths=fit_watches(gather_watches(states, _switch_watches), clocks.deaths, DEATH_PRIOR),
        as_left=fit_spread(
            np.array([left.error.level_percent for left in lefts]),
            np.array([left.variance for left in lefts]),
            prior=AS_LEFT_PRIOR,
        ),
        new_switch=fit_spread(
            np.array(ohms), np.full(len(ohms), LOG_OHM_VARIANCE), prior=NEW_SWITCH_PRIOR
        ),
    )


def _fit_type(states: Sequence[GaugeState], network: TypeModel, clocks: _Clocks) -> TypeModel:
    own = _fit(states, clocks)
    enough = {
        "drift": _enough_growth(own.drift),
        "knock": own.knock.hazard.exposure_years >= ENOUGH_YEARS,
        "resistance": _enough_growth(own.resistance),
        "blockage": own.blockage.exposure_years >= ENOUGH_YEARS,
        "deaths": own.deaths.exposure_years >= ENOUGH_YEARS,
        "as_left": own.as_left.values >= ENOUGH_VALUES,
        "new_switch": own.new_switch.values >= ENOUGH_VALUES,
    }
    return TypeModel(
        drift=own.drift if enough["drift"] else network.drift,
        knock=own.knock if enough["knock"] else network.knock,
        resistance=own.resistance if enough["resistance"] else network.resistance,
        blockage=own.blockage if enough["blockage"] else network.blockage,
        deaths=own.deaths if enough["deaths"] else network.deaths,
        as_left=own.as_left if enough["as_left"] else network.as_left,
        new_switch=own.new_switch if enough["new_switch"] else network.new_switch,
        borrowed=frozenset(part for part, own_data in enough.items() if not own_data),
    )


def _enough_growth(fit: GrowthFit) -> bool:
    return fit.changes >= ENOUGH_CHANGES and fit.units >= ENOUGH_GAUGES


def _borrow_all(network: TypeModel) -> TypeModel:
    parts = ("drift", "knock", "resistance", "blockage", "deaths", "as_left", "new_switch")
    return replace(network, borrowed=frozenset(parts))

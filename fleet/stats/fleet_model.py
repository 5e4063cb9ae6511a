"""What the whole fleet's records teach of each gauge type: growth, blockage, switch deaths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np

from fleet.domain.state import LOG_OHM_VARIANCE, GaugeState
from fleet.stats.clock import Clock
from fleet.stats.clock_fit import fit_clock, fit_watches
from fleet.stats.drift_season import fit_season
from fleet.stats.fleet_evidence import EvidenceGatherer, FleetEvidence
from fleet.stats.hazard import HazardFit, HazardPrior
from fleet.stats.knock import KnockFit, fit_knock
from fleet.stats.pooled_change import GrowthFit, GrowthPrior, fit_change
from fleet.stats.spread import Spread, fit_spread

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
    """Fit every type's hyperparameters from the states of its gauges; see `fit_evidence`."""
    gatherer = EvidenceGatherer()
    gatherer.add(states)
    return fit_evidence(gatherer.whole())


def fit_evidence(evidence: FleetEvidence) -> FleetModel:
    """Fit every type's hyperparameters from what is gathered of its gauges.

    Parameters
    ----------
    evidence : FleetEvidence
        Of the whole fleet; may be empty.

    Returns
    -------
    FleetModel
        The same, to the last bit, in whatever order and shares the gauges were gathered.
    """
    clocks = _Clocks(
        drift=fit_season(evidence.drift, DRIFT_PRIOR),
        blockage=fit_clock(evidence.blockage, BLOCKAGE_PRIOR),
        deaths=fit_clock(evidence.deaths, DEATH_PRIOR),
    )
    network = _fit(evidence, clocks)
    places: dict[str, list[int]] = {}
    for place, code in enumerate(evidence.type_code):
        places.setdefault(code, []).append(place)
    types = {
        code: _fit_type(evidence.take(np.array(own, dtype=np.int64)), network, clocks)
        for code, own in places.items()
    }
    return FleetModel(types, network)


@dataclass(frozen=True, slots=True)
class _Clocks:
    """How time counts, learned from the whole network: few types could tell by themselves."""

    drift: Clock
    blockage: Clock
    deaths: Clock


def _fit(evidence: FleetEvidence, clocks: _Clocks) -> TypeModel:
    left, read = ~np.isnan(evidence.left_percent), ~np.isnan(evidence.log_ohm)
    ohms = evidence.log_ohm[read]
    drift = fit_change(evidence.drift, DRIFT_PRIOR, clocks.drift)
    return TypeModel(
        drift=drift,
        knock=fit_knock(evidence.drift, drift),
        resistance=fit_change(evidence.growth, RESISTANCE_PRIOR),
        blockage=fit_watches(evidence.blockage, clocks.blockage, BLOCKAGE_PRIOR),
        deaths=fit_watches(evidence.deaths, clocks.deaths, DEATH_PRIOR),
        as_left=fit_spread(
            evidence.left_percent[left], evidence.left_variance[left], prior=AS_LEFT_PRIOR
        ),
        new_switch=fit_spread(ohms, np.full(ohms.size, LOG_OHM_VARIANCE), prior=NEW_SWITCH_PRIOR),
    )


def _fit_type(evidence: FleetEvidence, network: TypeModel, clocks: _Clocks) -> TypeModel:
    own = _fit(evidence, clocks)
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

"""Gauge states, policies and the fleet's model laid out as the arrays of the forecast."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np

from fleet.domain.check import limits_percent
from fleet.domain.code import Phase
from fleet.domain.history import Gauge
from fleet.domain.policy import Policy
from fleet.domain.state import LOG_OHM_VARIANCE, Change, GaugeState, log_ohm
from fleet.domain.watch import Watch
from fleet.stats.array import Floats, Ints
from fleet.stats.fleet_model import FleetModel, TypeModel, gather_changes
from fleet.stats.forecast import Gauges, Growth, Season, Sudden
from fleet.stats.hazard import HazardFit, posterior_hazard
from fleet.stats.knock import count_knocks
from fleet.stats.pooled_change import GrowthFit, posterior_growth
from fleet.stats.watch_count import gather_watches, settle_counts

Kind = TypeVar("Kind", bound=Hashable)

DOUBTED_BELOW = 0.999
"""A change whose weight is under this was held to be an outlier."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One gauge on the day of the forecast, with the model of its type."""

    state: GaugeState
    policy: Policy
    model: TypeModel
    as_of: date

    @property
    def gauge(self) -> Gauge:
        """Give the gauge."""
        return self.state.gauge

    @property
    def age_days(self) -> int:
        """Give the days since the last service, or since the installation without one."""
        return self.days_since(self.state.serviced_or_installed_on)

    @property
    def days_overdue(self) -> int:
        """Give the days by which the age exceeds the policy's interval, 0 within it."""
        return max(0, self.age_days - self.policy.service_interval_days)

    @property
    def nominal_tips(self) -> float:
        """Give the tips that the nominal test volume should make."""
        return self.gauge.test_volume_ml / self.gauge.tip_ml

    @property
    def drift_from(self) -> date:
        """Give the day of the last known level; without one, of the service that left it so."""
        return self.state.level_on or self.state.serviced_or_installed_on

    @property
    def resistance_from(self) -> date:
        """Give the day of the last known resistance, or of the installation without one."""
        return self.state.switch_ohm_on or self.gauge.installed_on

    @property
    def blockage_from(self) -> date:
        """Give the day on which the way of the water was last seen."""
        return self.state.site_seen_on or self.gauge.installed_on

    @property
    def way_clean_from(self) -> date:
        """Give the day from which dirt in the way of the water counts."""
        return self.state.way_clean_on or self.blockage_from

    @property
    def switch_new_from(self) -> date:
        """Give the day from which the age of the switch counts."""
        return self.state.switch_new_on or self.deaths_from

    @property
    def deaths_from(self) -> date:
        """Give the day on which the switch was last seen."""
        return self.state.switch_seen_on or self.gauge.installed_on

    def days_since(self, day: date) -> int:
        """Count the days from a day to that of the forecast."""
        return (self.as_of - day).days


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """The arrays of the forecast, and how many changes of each gauge were held to be outliers."""

    gauges: Gauges
    doubted_drift: Ints
    doubted_resistance: Ints


def stand(
    states: Sequence[GaugeState], policies: Sequence[Policy], *, model: FleetModel, as_of: date
) -> list[Standing]:
    """Pair each state with its policy and the model of its type.

    Parameters
    ----------
    states : sequence of GaugeState
        Derived from records up to ``as_of``.
    policies : sequence of Policy
        In force on ``as_of``, one for each state, in the same order.
    model : FleetModel
        Fitted to the fleet.
    as_of : date
        Day of the forecast.

    Returns
    -------
    list of Standing
        In the order of the states.

    Raises
    ------
    ValueError
        Not one policy for each state, or a state that knows of a day after ``as_of``.
    """
    if len(states) != len(policies):
        raise ValueError(f"{len(states)} states but {len(policies)} policies")
    standings = [
        Standing(state, policy, model.of(state.gauge.type_code), as_of)
        for state, policy in zip(states, policies, strict=True)
    ]
    for standing in standings:
        latest = max(_days_known(standing))
        if latest > as_of:
            where = f"{standing.gauge.site_code} {standing.gauge.position}"
            raise ValueError(f"{where}: its state knows of {latest}, after {as_of}")
    return standings


def lay_out(standings: Sequence[Standing]) -> Evidence:
    """Lay gauges out as the arrays of the forecast.

    Parameters
    ----------
    standings : sequence of Standing
        n gauges.

    Returns
    -------
    Evidence
        Arrays in the order of the standings.
    """
    drift, doubted_drift = _drift(standings)
    resistance, doubted_resistance = _resistance(standings)
    gauges = Gauges(
        drift=drift,
        drift_age_days=_ages(standings, lambda s: s.drift_from),
        fresh_level=_floats(s.model.as_left.mean for s in standings),
        fresh_level_variance=_floats(s.model.as_left.sd**2 for s in standings),
        resistance=resistance,
        resistance_age_days=_ages(standings, lambda s: s.resistance_from),
        new_switch=_floats(s.model.new_switch.mean for s in standings),
        new_switch_variance=_floats(s.model.new_switch.sd**2 for s in standings),
        knock=_knock(standings),
        knock_sd=_floats(s.model.knock.size_sd for s in standings),
        blockage=_sudden(
            standings,
            fit=lambda s: s.model.blockage,
            watches=lambda state: state.blockage_watches,
            since=lambda s: s.blockage_from,
            new=lambda s: s.way_clean_from,
        ),
        deaths=_sudden(
            standings,
            fit=lambda s: s.model.deaths,
            watches=lambda state: state.switch_watches,
            since=lambda s: s.deaths_from,
            new=lambda s: s.switch_new_from,
        ),
        blocked=np.array([s.state.left_blocked for s in standings], dtype=bool),
        dead=np.array([s.state.switch_left_dead for s in standings], dtype=bool),
        disconnected=np.array([s.state.left_disconnected for s in standings], dtype=bool),
    )
    return Evidence(gauges, doubted_drift, doubted_resistance)


def _drift(standings: Sequence[Standing]) -> tuple[Growth, Ints]:
    starts = [_known_level(s) or (s.model.as_left.mean, s.model.as_left.sd**2) for s in standings]
    limits = [
        limits_percent(s.policy, Phase.AS_FOUND, nominal_tips=s.nominal_tips) for s in standings
    ]
    return _growth(
        standings,
        starts=starts,
        limits=limits,
        changes=lambda state: state.drift,
        fit=lambda s: s.model.drift,
    )


def _resistance(standings: Sequence[Standing]) -> tuple[Growth, Ints]:
    starts = [
        (log_ohm(s.state.switch_ohm), LOG_OHM_VARIANCE)
        if s.state.switch_ohm is not None
        else (s.model.new_switch.mean, s.model.new_switch.sd**2)
        for s in standings
    ]
    limits = [(-np.inf, log_ohm(s.policy.closed_field_limit_ohm)) for s in standings]
    return _growth(
        standings,
        starts=starts,
        limits=limits,
        changes=lambda state: state.switch_growth,
        fit=lambda s: s.model.resistance,
    )


def _growth(
    standings: Sequence[Standing],
    *,
    starts: Sequence[tuple[float, float]],
    limits: Sequence[tuple[float, float]],
    changes: Callable[[GaugeState], tuple[Change, ...]],
    fit: Callable[[Standing], GrowthFit],
) -> tuple[Growth, Ints]:
    """Find each gauge's rate under its own type's fit, and count the changes that were doubted."""
    fits = [fit(s) for s in standings]
    rate = np.zeros(len(standings))
    rate_variance = np.zeros(len(standings))
    doubted = np.zeros(len(standings), dtype=np.int64)
    for one, index in _rows(fits):
        seen = gather_changes([standings[i].state for i in index], changes)
        posterior = posterior_growth(seen, one)
        rate[index], rate_variance[index] = posterior.mean, posterior.variance
        doubted[index] = np.bincount(
            seen.unit[posterior.weight < DOUBTED_BELOW], minlength=index.size
        )
    growth = Growth(
        start=_floats(start for start, _ in starts),
        start_variance=_floats(variance for _, variance in starts),
        rate=rate,
        rate_variance=rate_variance,
        walk_variance=_floats(one.walk_sd**2 for one in fits),
        low=_floats(low for low, _ in limits),
        high=_floats(high for _, high in limits),
        season=_season(standings, fits),
    )
    return growth, doubted


def _season(standings: Sequence[Standing], fits: Sequence[GrowthFit]) -> Season | None:
    if all(one.clock.swing == 0.0 for one in fits):
        return None
    return Season(
        cosine=_floats(one.clock.cosine for one in fits),
        sine=_floats(one.clock.sine for one in fits),
        today=_ordinals(standings),
    )


def _known_level(standing: Standing) -> tuple[float, float] | None:
    level = standing.state.level_percent
    return None if level is None else (level, standing.state.level_variance)


def _sudden(
    standings: Sequence[Standing],
    *,
    fit: Callable[[Standing], HazardFit],
    watches: Callable[[GaugeState], tuple[Watch, ...]],
    since: Callable[[Standing], date],
    new: Callable[[Standing], date],
) -> Sudden:
    """Add each gauge's own events and exposure to its type's law, under the type's clock."""
    fits = [fit(s) for s in standings]
    events, years = np.zeros(len(fits)), np.zeros(len(fits))
    clocks = _rows([one.clock for one in fits])
    for clock, rows in clocks:
        seen = gather_watches([standings[i].state for i in rows], watches)
        shape = _floats(fits[i].shape for i in rows)
        scale_years = _floats(fits[i].scale_years for i in rows)
        counts = settle_counts(seen, clock, shape=shape, scale_years=scale_years)
        events[rows], years[rows] = counts.events, counts.exposure
    return Sudden(
        hazard=posterior_hazard(events, years, fits=fits),
        age_days=_ages(standings, since),
        new_days=_ages(standings, new),
        clocks=clocks,
        today=_ordinals(standings),
    )


def _knock(standings: Sequence[Standing]) -> Sudden:
    """Count each gauge's sudden changes of level; the time without counts from the known level."""
    events, years = np.zeros(len(standings)), np.zeros(len(standings))
    for (drift, knock), rows in _rows([(s.model.drift, s.model.knock) for s in standings]):
        changes = gather_changes([standings[i].state for i in rows], lambda state: state.drift)
        events[rows], years[rows] = count_knocks(changes, drift, knock)
    fits = [s.model.knock.hazard for s in standings]
    age_days = _ages(standings, lambda s: s.drift_from)
    return Sudden(
        hazard=posterior_hazard(events, years, fits=fits),
        age_days=age_days,
        new_days=age_days,
        clocks=_rows([fit.clock for fit in fits]),
        today=_ordinals(standings),
    )


def _rows(kinds: Sequence[Kind]) -> tuple[tuple[Kind, Ints], ...]:
    """Group the places of equal kinds."""
    places: dict[Kind, list[int]] = {}
    for place, kind in enumerate(kinds):
        places.setdefault(kind, []).append(place)
    return tuple((kind, np.array(rows, dtype=np.int64)) for kind, rows in places.items())


def _ordinals(standings: Sequence[Standing]) -> Ints:
    return np.array([s.as_of.toordinal() for s in standings], dtype=np.int64)


def _ages(standings: Sequence[Standing], since: Callable[[Standing], date]) -> Ints:
    return np.array([s.days_since(since(s)) for s in standings], dtype=np.int64)


def _floats(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=np.float64)


def _days_known(standing: Standing) -> Iterable[date]:
    state = standing.state
    days = (state.last_visit_on, state.level_on, state.site_seen_on, state.switch_seen_on)
    return (standing.gauge.installed_on, *(day for day in days if day is not None))

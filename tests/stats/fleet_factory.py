"""Invented fleets for the tests of the ranking: records drawn by chance, states derived."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from fleet.domain.code import DecisionRule, Phase
from fleet.domain.history import CheckRecord, Gauge, GaugeHistory, PhaseRuns, SwitchReadings
from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState, derive_state
from fleet.stats.clock import Clock
from fleet.stats.fleet_model import FleetModel
from tests.factories import make_check, make_gauge

AS_OF = date(2025, 6, 2)

AUTUMN = Clock(cosine=0.2, sine=-0.7)
"""A season by which levels grow fastest at the end of October; invented."""

POLICY = Policy(
    service_interval_days=180,
    as_found_tolerance_percent=5.0,
    as_left_tolerance_percent=3.0,
    reject_limit_percent=10.0,
    as_found_low_tips=None,
    as_found_high_tips=None,
    as_left_low_tips=None,
    as_left_high_tips=None,
    minimum_as_found_runs=2,
    minimum_as_left_runs=2,
    closed_field_limit_ohm=5.0,
    closed_workshop_limit_ohm=1.0,
    open_limit_ohm=1e6,
    decision_rule=DecisionRule.SIMPLE,
    target_reliability=0.9,
    compliance_record_days=0.0,
    basis="test",
)


def make_fleet(gauges: int, *, seed: int, visits: int = 6, types: int = 2) -> list[GaugeState]:
    """Give the states of gauges, each with up to so many visits, of so many types."""
    rng = np.random.default_rng(seed)
    return [derive_state(_history(number, rng, visits, types)) for number in range(gauges)]


def _history(number: int, rng: np.random.Generator, visits: int, types: int) -> GaugeHistory:
    gauge = make_gauge(
        installation_id=number,
        site_code=f"S{number:03d}",
        serial=f"{number:05d}",
        type_code=f"TB{number % types}",
        installed_on=date(2021, 1, 4) + timedelta(int(rng.integers(0, 200))),
        bucket_mm=0.2,
        importance=float(rng.choice([0.5, 1.0, 3.0])),
        test_volume_ml=1200.0,
    )
    kinds = int(rng.integers(0, visits + 1))
    days = np.sort(rng.choice(np.arange(60, 1300), kinds, replace=False))
    rate, level, log_ohm = rng.normal(-1.0, 1.5), 0.0, np.log(0.2)
    records = []
    for day in days:
        level += rate * 0.5 + rng.normal(0, 0.6)
        log_ohm += 0.1 + rng.normal(0, 0.1)
        records.append(_record(gauge, int(day), level, float(np.exp(log_ohm)), rng))
        level = rng.normal(0, 0.8) if records[-1].adjusted else level
    return GaugeHistory(gauge, tuple(records))


def _record(
    gauge: Gauge, day: int, level: float, ohm: float, rng: np.random.Generator
) -> CheckRecord:
    found, left = bool(rng.random() < 0.9), bool(rng.random() < 0.9)
    dead = bool(rng.random() < 0.06)
    return make_check(
        gauge.installed_on + timedelta(day),
        site_code=gauge.site_code,
        serial=gauge.serial,
        adjusted=abs(level) > 3,
        restoration_proven=bool(rng.random() < 0.96),
        blocked_found=bool(rng.random() < 0.12),
        blocked_left=bool(rng.random() < 0.04),
        as_found=_runs(Phase.AS_FOUND, gauge, level, rng) if found else None,
        as_left=_runs(Phase.AS_LEFT, gauge, 0.0 if abs(level) > 3 else level, rng)
        if left
        else None,
        switch_found=SwitchReadings(Phase.AS_FOUND, closed_ohm=ohm, no_closure=dead)
        if rng.random() < 0.9
        else None,
    )


def _runs(phase: Phase, gauge: Gauge, level: float, rng: np.random.Generator) -> PhaseRuns:
    expected = gauge.test_volume_ml / gauge.tip_ml
    unknown = phase is Phase.AS_FOUND
    tips = [int(np.floor(expected * (1 + level / 100) + unknown * rng.random())) for _ in range(2)]
    volume = gauge.test_volume_ml
    return PhaseRuns(
        phase, 2, 0 if unknown else 2, 2 * volume, sum(tips), 2.0, tuple(tips), (volume, volume)
    )


def with_gauge(state: GaugeState, **changes: object) -> GaugeState:
    """Give a state with other facts about its gauge."""
    return replace(state, gauge=replace(state.gauge, **changes))  # type: ignore[arg-type]


def drifting_by(model: FleetModel, clock: Clock, *, types: int | None = None) -> FleetModel:
    """Give a model by which the levels of the network and of the first types go by a season."""
    chosen = sorted(model.types)[:types]
    kinds = {
        code: replace(kind, drift=replace(kind.drift, clock=clock)) if code in chosen else kind
        for code, kind in model.types.items()
    }
    network = replace(model.network, drift=replace(model.network.drift, clock=clock))
    return FleetModel(kinds, network)

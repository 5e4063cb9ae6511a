"""What lies on the coordinator's desk: the records, kept up visit by visit, and the forecasts."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from fleet.domain.code import DecisionRule
from fleet.domain.history import CheckRecord, Gauge
from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState, advance
from fleet.stats.fleet_model import FleetModel, fit_fleet
from fleet.stats.gauge_column import columns_of
from fleet.stats.policy_column import policy_columns
from fleet.stats.ranking import rank_columns
from tests.benchmarks.season.nature import FIELD_LIMIT_OHM, KINDS, Floats, Ints
from tests.benchmarks.season.technician import FIRST_DAY
from tests.benchmarks.season.watch import Watch

INTERVAL_DAYS = 180
REFIT_DAYS = 28


def service_policies(gauges: list[Gauge], *, compliance_record_days: float) -> list[Policy]:
    """Give the policy of each gauge's type."""
    by_type = {
        kind.code: Policy(
            service_interval_days=INTERVAL_DAYS,
            as_found_tolerance_percent=kind.tolerance_percent,
            as_left_tolerance_percent=3.0,
            reject_limit_percent=15.0,
            as_found_low_tips=None,
            as_found_high_tips=None,
            as_left_low_tips=None,
            as_left_high_tips=None,
            minimum_as_found_runs=2,
            minimum_as_left_runs=2,
            closed_field_limit_ohm=FIELD_LIMIT_OHM,
            closed_workshop_limit_ohm=1.0,
            open_limit_ohm=1e6,
            decision_rule=DecisionRule.SIMPLE,
            target_reliability=0.9,
            compliance_record_days=compliance_record_days,
            basis="simulation",
        )
        for kind in KINDS
    }
    return [by_type[gauge.type_code] for gauge in gauges]


class Desk:
    """The states of all gauges, and what follows from them on a day."""

    def __init__(self, gauges: list[Gauge], *, compliance_record_days: float = 0.0) -> None:
        self.gauges = gauges
        self.states = [GaugeState(gauge=gauge) for gauge in gauges]
        self.policies = service_policies(gauges, compliance_record_days=compliance_record_days)
        self._model: FleetModel | None = None
        self._fitted_on = -REFIT_DAYS

    def copy(self, *, compliance_record_days: float) -> Desk:
        """Give a desk with the same records and another compliance worth."""
        other = Desk(self.gauges, compliance_record_days=compliance_record_days)
        other.states = list(self.states)
        return other

    def file(self, index: int, record: CheckRecord) -> None:
        """Put a record to its gauge."""
        self.states[index] = advance(self.states[index], record)

    def ages_days(self, day: int) -> Ints:
        """Give the days since each gauge's last service."""
        today = date_of(day)
        return np.array([(today - s.serviced_or_installed_on).days for s in self.states])

    def worth(self, day: int, watch: Watch | None = None) -> Floats:
        """Give the worth of a service of each gauge, as the ranking of the project has it.

        With a watch, its daily totals are taken in.
        """
        rain = None if watch is None else watch.view(day)
        model = self._fit(day)
        policies = policy_columns(self.policies)
        ranked = rank_columns(
            columns_of(self.states, model), policies, model, as_of=date_of(day), rain=rain
        )
        return ranked.numbers.total_record_days

    def _fit(self, day: int) -> FleetModel:
        """Fit the fleet, every four weeks."""
        if self._model is None or day - self._fitted_on >= REFIT_DAYS:
            self._model, self._fitted_on = fit_fleet(self.states), day
        return self._model


def date_of(day: int) -> date:
    """Give the date of a day of the season."""
    return FIRST_DAY + timedelta(days=day)

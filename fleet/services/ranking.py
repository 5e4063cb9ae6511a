"""Which gauges need a visit next: state, policy and forecast of each, in order of worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.policy import Policy
from fleet.domain.sheet import Driver
from fleet.domain.state import GaugeState, derive_state
from fleet.errors import NotFoundError
from fleet.services.driver_words import drivers_of
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.gauge_forecast import GaugeForecast
from fleet.stats.ranking import rank_states
from fleet.store.queries.crew import depot
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.policy import policy_book


@dataclass(frozen=True, slots=True)
class RankedGauge:
    """One gauge in its place in the ranking, with the reasons in words, greatest first."""

    rank: int
    forecast: GaugeForecast
    drivers: tuple[Driver, ...]

    @property
    def state(self) -> GaugeState:
        """Give the gauge's state as of the day of the ranking."""
        return self.forecast.state

    @property
    def policy(self) -> Policy:
        """Give the policy in force on that day."""
        return self.forecast.policy

    @property
    def total_record_days(self) -> float:
        """Give the worth of a service, with what the policy adds for being overdue."""
        return self.forecast.total_record_days

    @property
    def unfit_probability(self) -> float:
        """Give the probability that the gauge is unfit now."""
        return self.forecast.p


@dataclass(frozen=True, slots=True)
class RankFilter:
    """Which gauges are shown; None does not filter. ``driver`` is the one with most share."""

    depot_code: str | None = None
    type_code: str | None = None
    driver: str | None = None

    def shows(self, ranked: RankedGauge) -> bool:
        """Tell whether a ranked gauge is to be shown."""
        gauge = ranked.state.gauge
        return (
            self.depot_code in (None, gauge.depot_code)
            and self.type_code in (None, gauge.type_code)
            and self.driver in (None, ranked.drivers[0].name)
        )


def rank_gauges(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    keep: RankFilter | None = None,
) -> list[RankedGauge]:
    """Rank the network's gauges by what a service now is worth.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Records after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    keep : RankFilter, optional
        Which gauges to give. The model is fitted to the whole network in any case, so a filter
        does not change a gauge's worth; ranks count within what is given.

    Returns
    -------
    list of RankedGauge
        Most worth first.

    Raises
    ------
    NotFoundError
        There is no such depot, or no gauge of such a type in service; told is what there is.
    """
    histories = gauge_histories(session, as_of=as_of, known_on=known_on)
    book = policy_book(session, known_on=known_on)
    states = [derive_state(history) for history in histories]
    _require_known(session, keep or RankFilter(), states, known_on)
    policies = [
        book.in_force(type_code=state.gauge.type_code, site_code=state.gauge.site_code, on=as_of)
        for state in states
    ]
    forecasts = rank_states(states, policies, fit_fleet(states), as_of=as_of)
    ranked = [RankedGauge(f.rank, f, drivers_of(f)) for f in forecasts]
    shown = [gauge for gauge in ranked if keep is None or keep.shows(gauge)]
    return [replace(gauge, rank=place) for place, gauge in enumerate(shown, start=1)]


def _require_known(
    session: Session, keep: RankFilter, states: Sequence[GaugeState], known_on: datetime | None
) -> None:
    if keep.depot_code is not None:
        depot(session, keep.depot_code, known_on=known_on)
    types = sorted({state.gauge.type_code for state in states})
    if keep.type_code is not None and keep.type_code not in types:
        named = ", ".join(types) or "none is in service"
        raise NotFoundError(f"No gauge of type {keep.type_code!r} is in service. Types: {named}.")


def rank_network(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    keep: RankFilter | None = None,
) -> list[RankedGauge]:
    """Rank in a session of its own; see `rank_gauges`."""
    with sessions() as session:
        return rank_gauges(session, as_of=as_of, known_on=known_on, keep=keep)


RANK_COLUMNS = {
    "rank": "int64",
    "depot_code": "str",
    "site_code": "str",
    "position": "str",
    "serial": "str",
    "type_code": "str",
    "worth_record_days": "float64",
    "compliance_record_days": "float64",
    "unfit_percent": "float64",
    "age_days": "int64",
    "interval_days": "int64",
    "days_overdue": "int64",
    "last_service_on": "object",
    "nominal_tips": "float64",
    "drift_now_percent": "float64",
    "drift_now_tips": "float64",
    "tolerance_low_percent": "float64",
    "tolerance_high_percent": "float64",
    "tolerance_low_tips": "float64",
    "tolerance_high_tips": "float64",
    "switch_ohm": "float64",
    "switch_limit_ohm": "float64",
    "age_share_percent": "float64",
    "drift_share_percent": "float64",
    "switch_share_percent": "float64",
    "driver": "str",
    "why": "str",
    "age_evidence": "str",
    "drift_evidence": "str",
    "switch_evidence": "str",
}


def rank_frame(ranked: Sequence[RankedGauge]) -> pd.DataFrame:
    """Give a ranking as a table.

    Returns
    -------
    DataFrame
        Columns `RANK_COLUMNS`, in order of rank; ``worth_record_days`` is the total, with
        compliance; tips are of one run of the nominal volume, against what is expected; ``why``
        is the sentence of the driver with most share.
    """
    rows = [_row(gauge) for gauge in ranked]
    return pd.DataFrame(rows, columns=list(RANK_COLUMNS)).astype(RANK_COLUMNS)


def _row(ranked: RankedGauge) -> dict[str, object]:
    forecast, state = ranked.forecast, ranked.state
    gauge, first = state.gauge, ranked.drivers[0]
    sentences = {driver.name: driver.sentence for driver in ranked.drivers}
    drift, a_percent = forecast.drift, forecast.nominal_tips / 100.0
    return {
        "rank": ranked.rank,
        "depot_code": gauge.depot_code,
        "site_code": gauge.site_code,
        "position": gauge.position,
        "serial": gauge.serial,
        "type_code": gauge.type_code,
        "worth_record_days": round(forecast.total_record_days, 2),
        "compliance_record_days": round(forecast.compliance_record_days, 2),
        "unfit_percent": round(100.0 * forecast.p, 1),
        "age_days": forecast.age_days,
        "interval_days": forecast.interval_days,
        "days_overdue": forecast.days_overdue,
        "last_service_on": state.last_service_on,
        "nominal_tips": round(forecast.nominal_tips, 2),
        "drift_now_percent": round(drift.now, 2),
        "drift_now_tips": round(drift.now * a_percent, 2),
        "tolerance_low_percent": round(drift.low, 3),
        "tolerance_high_percent": round(drift.high, 3),
        "tolerance_low_tips": round(drift.low * a_percent, 2),
        "tolerance_high_tips": round(drift.high * a_percent, 2),
        "switch_ohm": state.switch_ohm,
        "switch_limit_ohm": ranked.policy.closed_field_limit_ohm,
        "age_share_percent": round(100.0 * forecast.age_share, 1),
        "drift_share_percent": round(100.0 * forecast.drift_share, 1),
        "switch_share_percent": round(100.0 * forecast.switch_share, 1),
        "driver": first.name,
        "why": first.sentence,
        **{f"{name}_evidence": sentence for name, sentence in sentences.items()},
    }


SITE_COLUMNS = {
    "rank": "int64",
    "depot_code": "str",
    "site_code": "str",
    "gauges": "int64",
    "serials": "str",
    "worth_record_days": "float64",
    "highest_unfit_percent": "float64",
    "longest_overdue_days": "int64",
    "leading_serial": "str",
    "driver": "str",
    "why": "str",
}


def site_frame(ranked: Sequence[RankedGauge]) -> pd.DataFrame:
    """Give a ranking by site: a visit services every gauge there, so worths add up.

    Returns
    -------
    DataFrame
        Columns `SITE_COLUMNS`, most worth first, then by site; driver and why are of the gauge
        with most worth, ``leading_serial``.
    """
    by_site: dict[str, list[RankedGauge]] = defaultdict(list)
    for gauge in ranked:
        by_site[gauge.state.gauge.site_code].append(gauge)
    rows = [
        {
            "depot_code": gauges[0].state.gauge.depot_code,
            "site_code": code,
            "gauges": len(gauges),
            "serials": " ".join(g.state.gauge.serial for g in gauges),
            "worth_record_days": round(sum(g.total_record_days for g in gauges), 2),
            "highest_unfit_percent": round(100.0 * max(g.unfit_probability for g in gauges), 1),
            "longest_overdue_days": max(g.forecast.days_overdue for g in gauges),
            "leading_serial": gauges[0].state.gauge.serial,
            "driver": gauges[0].drivers[0].name,
            "why": gauges[0].drivers[0].sentence,
        }
        for code, gauges in by_site.items()
    ]
    rows.sort(key=lambda row: (-float(str(row["worth_record_days"])), str(row["site_code"])))
    placed = [{"rank": place, **row} for place, row in enumerate(rows, start=1)]
    return pd.DataFrame(placed, columns=list(SITE_COLUMNS)).astype(SITE_COLUMNS)

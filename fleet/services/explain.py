"""Every number that led to one gauge's rank, in the order in which it was worked out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from datetime import date, datetime

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import NotFoundError
from fleet.services.explain_cause import Line, cause_lines
from fleet.services.rain_explain import rain_lines
from fleet.services.ranking import RankedGauge, rank_network

EXPLAIN_COLUMNS = ("part", "name", "value", "unit_or_meaning")


def explain_gauge(
    sessions: sessionmaker[Session],
    serial: str,
    *,
    as_of: date,
    known_on: datetime | None = None,
    with_rain: bool = True,
) -> tuple[RankedGauge, int, pd.DataFrame]:
    """Explain one gauge's rank.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    serial : str
        Of an instrument that was installed on the day.
    as_of : date
        Day of the ranking.
    known_on : datetime, optional
        As the records were known then; None is now.
    with_rain : bool, default True
        Take in what the daily totals say, where there are any.

    Returns
    -------
    tuple
        The ranked gauge, the number of gauges ranked, and a frame with columns
        `EXPLAIN_COLUMNS` in the order of the calculation.

    Raises
    ------
    NotFoundError
        No gauge of that serial was installed on the day.
    """
    ranked = rank_network(sessions, as_of=as_of, known_on=known_on, with_rain=with_rain)
    for gauge in ranked.of_serials([serial]):
        frame = pd.DataFrame(list(_lines(gauge)), columns=list(EXPLAIN_COLUMNS))
        return gauge, len(ranked), frame
    raise NotFoundError(
        f"No gauge with serial {serial!r} was installed on {as_of.isoformat()}. "
        "List the serials with: fleet gauge rank"
    )


def _lines(ranked: RankedGauge) -> Iterator[Line]:
    yield from _gauge_lines(ranked)
    yield from _policy_lines(ranked)
    yield from cause_lines(ranked)
    model = ranked.forecast.model
    borrowed = ", ".join(sorted(model.borrowed)) or "nothing"
    yield ("model", "borrowed_from_network", borrowed, "parts with too little data of the type")
    yield from rain_lines(ranked.forecast.rain, ranked.rain)
    yield from _worth_lines(ranked)


def _gauge_lines(ranked: RankedGauge) -> Iterator[Line]:
    gauge, state = ranked.state.gauge, ranked.state
    yield ("gauge", "site", gauge.site_code, "code")
    yield ("gauge", "position", gauge.position, "at the site")
    yield ("gauge", "type", gauge.type_code, "code")
    yield ("gauge", "bucket_mm", gauge.bucket_mm, "mm a tip")
    yield ("gauge", "orifice_area_cm2", gauge.orifice_area_cm2, "cm2")
    yield ("gauge", "tip_ml", gauge.tip_ml, "mL a tip = mm x cm2 / 10")
    yield ("gauge", "nominal_tips", ranked.forecast.nominal_tips, "tips of the nominal test volume")
    yield ("gauge", "installed_on", gauge.installed_on, "day")
    yield ("gauge", "last_service_on", state.last_service_on, f"visit {state.last_service_ref}")
    yield ("gauge", "age_days", ranked.forecast.age_days, "days since service or installation")
    yield ("gauge", "importance", gauge.importance, "weight, 1 is ordinary")


def _policy_lines(ranked: RankedGauge) -> Iterator[Line]:
    for field in fields(ranked.policy):
        yield ("policy", field.name, getattr(ranked.policy, field.name), "in force on the day")


def _worth_lines(ranked: RankedGauge) -> Iterator[Line]:
    f = ranked.forecast
    yield ("worth", "p_drift", f.p_drift, "probability")
    yield ("worth", "p_blockage", f.p_blockage, "probability")
    yield ("worth", "p_switch", f.p_switch, "probability")
    yield ("worth", "p_disconnection", f.p_disconnection, "probability")
    yield ("worth", "p", f.p, "unfit now, 1 - product of (1 - each)")
    yield ("worth", "p_after_service", f.p_after_service, "unfit on the day of a service")
    yield ("worth", "p_at_horizon", f.p_at_horizon, f"unfit {f.horizon_days} days after a service")
    yield ("worth", "worth_record_days", f.worth_record_days, "weight x integral of max(0, p - P)")
    yield ("worth", "days_overdue", f.days_overdue, "days")
    yield ("worth", "compliance_record_days", f.compliance_record_days, "added by policy")
    yield ("worth", "total_record_days", f.total_record_days, "what the rank goes by")
    for driver in ranked.drivers:
        yield ("driver", driver.name, driver.share_percent, f"% of the worth. {driver.sentence}")

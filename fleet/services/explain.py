"""Every number that led to one gauge's rank, in the order in which it was worked out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import date, datetime
from math import exp, isfinite, sqrt

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.state import Change
from fleet.errors import NotFoundError
from fleet.services.rain_explain import Line, rain_lines
from fleet.services.ranking import RankedGauge, rank_network
from fleet.stats.gauge_forecast import LevelForecast, SuddenForecast
from fleet.stats.pooled_change import GrowthFit

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
    for gauge in ranked:
        if gauge.state.gauge.serial == serial:
            frame = pd.DataFrame(list(_lines(gauge)), columns=list(EXPLAIN_COLUMNS))
            return gauge, len(ranked), frame
    raise NotFoundError(
        f"No gauge with serial {serial!r} was installed on {as_of.isoformat()}. "
        "List the serials with: fleet gauge rank"
    )


def _lines(ranked: RankedGauge) -> Iterator[Line]:
    yield from _gauge_lines(ranked)
    yield from _policy_lines(ranked)
    forecast, model = ranked.forecast, ranked.forecast.model
    yield from _growth_lines("drift", forecast.drift, model.drift, "% of expected tips")
    yield from _evidence_lines("drift", ranked.state.drift, "% found minus left")
    yield ("drift", "as_left_mean_of_type", model.as_left.mean, "%; where a service starts anew")
    yield (
        "drift",
        "as_left_sd_of_type",
        model.as_left.sd,
        f"%, from {model.as_left.values} values",  # noqa: PD011  # a count, not a frame
    )
    yield from _sudden_lines("blockage", forecast.blockage, ranked.state.blockages)
    yield ("blockage", "years_watched", ranked.state.blockage_years, "years")
    yield ("blockage", "type_per_year", model.blockage.per_year, "events a year of the type")
    yield from _growth_lines("switch", forecast.resistance, model.resistance, "log ohm")
    yield ("switch", "now_ohm", exp(forecast.resistance.now), "ohm, median prediction")
    yield from _evidence_lines("switch", ranked.state.switch_growth, "log ohm found minus left")
    yield ("switch", "new_mean_of_type", model.new_switch.mean, "log ohm; of a switch put in new")
    yield (
        "switch",
        "new_sd_of_type",
        model.new_switch.sd,
        f"log ohm, from {model.new_switch.values} values",  # noqa: PD011  # a count, not a frame
    )
    yield from _sudden_lines("switch failure", forecast.deaths, ranked.state.switch_deaths)
    yield ("switch failure", "years_watched", ranked.state.switch_years, "years")
    yield ("switch failure", "type_per_year", model.deaths.per_year, "events a year of the type")
    borrowed = ", ".join(sorted(model.borrowed)) or "nothing"
    yield ("model", "borrowed_from_network", borrowed, "parts with too little data of the type")
    yield from rain_lines(forecast.rain, ranked.rain)
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


def _growth_lines(part: str, level: LevelForecast, fit: GrowthFit, unit: str) -> Iterator[Line]:
    known = "measured" if level.known else "not measured: where its type starts"
    yield (part, "type_mean_rate", fit.mean, f"{unit} a year (m), +-{fit.mean_sd:.3g}")
    yield (part, "type_spread_of_rates", fit.between_sd, f"{unit} a year (tau)")
    yield (part, "type_random_walk", fit.walk_sd, f"{unit} a root year (sigma)")
    yield (part, "type_changes", fit.changes, f"changes of {fit.units} gauges behind the three")
    yield (part, "start", level.start, f"{unit}, {known}")
    yield (part, "start_sd", level.start_sd, unit)
    yield (part, "start_age_days", level.age_days, "days ago")
    yield (
        part,
        "rate_per_year",
        level.rate_per_year,
        f"{unit} a year, its own, shrunk to the type",
    )
    yield (part, "rate_sd", level.rate_sd, f"{unit} a year")
    yield (part, "doubted_changes", level.doubted, "out of line with the rest, given less weight")
    yield (part, "now", level.now, unit)
    yield (part, "now_sd", level.now_sd, unit)
    yield _limit(part, "low", level.low, unit)
    yield _limit(part, "high", level.high, unit)
    yield (part, "p", level.p, "probability of being out of limits by now")


def _limit(part: str, name: str, limit: float, unit: str) -> Line:
    return (part, name, limit, f"{unit}, limit") if isfinite(limit) else (part, name, None, "none")


def _evidence_lines(part: str, changes: Sequence[Change], unit: str) -> Iterator[Line]:
    for change in changes:
        meaning = f"{unit} over {change.years:.2f} years, measured +-{sqrt(change.variance):.2g}"
        yield (part, f"seen at {change.visit_ref}", change.amount, meaning)


def _sudden_lines(part: str, sudden: SuddenForecast, events: int) -> Iterator[Line]:
    yield (part, "events", events, "seen")
    yield (part, "rate_per_year", sudden.per_year, "events a year, its own, shrunk to the type")
    yield (part, "gamma_shape", sudden.shape, "a, after its own events")
    yield (part, "gamma_scale_years", sudden.scale_years, "b, after its own years")
    yield (part, "age_days", sudden.age_days, "days since it was last seen to be well")
    yield (part, "left_so", sudden.left, "the last visit left it so: certain")
    yield (part, "p", sudden.p, "probability by now, 1 - (b / (b + u))^a")


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

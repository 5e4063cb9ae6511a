"""The ranking: which gauge's service buys the most good record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState
from fleet.stats.array import Floats, Ints
from fleet.stats.fleet_model import FleetModel
from fleet.stats.forecast import (
    Causes,
    Growth,
    Sudden,
    after_service,
    as_it_stands,
    growth_years,
    out_if_knocked,
    predict,
    since_well,
)
from fleet.stats.gauge_array import Evidence, Standing, lay_out, stand
from fleet.stats.gauge_forecast import GaugeForecast, LevelForecast, SuddenForecast
from fleet.stats.rain_weigh import RainEffect, RainView, rain_effects, weigh_rain
from fleet.stats.worth import driver_shares, worth_record_days

HORIZON_DAYS = 365


def rank_states(
    states: Sequence[GaugeState],
    policies: Sequence[Policy],
    model: FleetModel,
    *,
    as_of: date,
    horizon_days: int = HORIZON_DAYS,
    rain: RainView | None = None,
) -> tuple[GaugeForecast, ...]:
    """Rank gauges by what a service of each on a day would buy.

    Parameters
    ----------
    states : sequence of GaugeState
        Derived from records up to ``as_of``.
    policies : sequence of Policy
        In force on ``as_of``, one for each state, in the same order.
    model : FleetModel
        Of the whole fleet, so that a filtered list ranks as the whole does.
    as_of : date
        Day of the forecast.
    horizon_days : int, default 365
        How far a service's good is counted.
    rain : RainView, optional
        What the daily totals say of each state's gauge, in the same order; None leaves them out.

    Returns
    -------
    tuple of GaugeForecast
        Highest total first; equals by site, position, serial. Empty for no states.

    Raises
    ------
    ValueError
        Not one policy for each state, a state that knows of a day after ``as_of``, or a horizon
        of less than a day.

    Notes
    -----
    worth = w * integral from 0 to H of max(0, p - P(u)) du; the policy's compliance is added for
    each day overdue.
    Checked against: a slow recomputation that shares no code (tests/stats/test_ranking.py).
    """
    if horizon_days < 1:
        raise ValueError(f"horizon_days {horizon_days} is below 1")
    standings = stand(states, policies, model=model, as_of=as_of)
    if not standings:
        return ()
    evidence = lay_out(standings)
    days = np.arange(horizon_days + 1, dtype=np.float64)
    now = as_it_stands(evidence.gauges, np.zeros(1))
    fresh = after_service(evidence.gauges, days)
    wholes = _wholes(standings, now, unfit_after=fresh.unfit(), days=days)
    effects: list[RainEffect | None] = [None] * len(standings)
    if rain is not None:
        weighed = weigh_rain(evidence.gauges, rain, days=days)
        effects = rain_effects(rain, weighed, wholes)
        now = weighed.now
        wholes = _wholes(standings, now, unfit_after=weighed.fresh.unfit(), days=days)
    parts = _parts(standings, evidence, now, effects)
    rows = sorted(map(_row, standings, wholes, parts, effects), key=_order)
    return tuple(replace(row, rank=place) for place, row in enumerate(rows, start=1))


def _row(
    standing: Standing, whole: dict[str, Any], part: dict[str, Any], effect: RainEffect | None
) -> GaugeForecast:
    return GaugeForecast(
        rank=0,
        state=standing.state,
        policy=standing.policy,
        model=standing.model,
        as_of=standing.as_of,
        age_days=standing.age_days,
        interval_days=standing.policy.service_interval_days,
        days_overdue=standing.days_overdue,
        nominal_tips=standing.nominal_tips,
        rain=effect,
        **whole,
        **part,
    )


def _order(row: GaugeForecast) -> tuple[float, str, str, str]:
    gauge = row.state.gauge
    return -row.total_record_days, gauge.site_code, gauge.position, gauge.serial


def _wholes(
    standings: Sequence[Standing], now: Causes, *, unfit_after: Floats, days: Floats
) -> list[dict[str, Any]]:
    """Work out the numbers that belong to each gauge as a whole."""
    unfit = now.unfit()[:, 0]
    importance = np.array([s.gauge.importance for s in standings], dtype=np.float64)
    worth = worth_record_days(unfit, unfit_after, days=days, importance=importance)
    compliance = np.array(
        [s.policy.compliance_record_days * s.days_overdue for s in standings], dtype=np.float64
    )
    shares = driver_shares(now, worth=worth, compliance=compliance)
    return _by_gauge(
        p_drift=now.tolerance[:, 0],
        p_blockage=now.blockage[:, 0],
        p_switch=now.switch[:, 0],
        p_disconnection=now.disconnection[:, 0],
        p=unfit,
        p_after_service=unfit_after[:, 0],
        p_at_horizon=unfit_after[:, -1],
        horizon_days=np.full(len(standings), int(days[-1])),
        worth_record_days=worth,
        compliance_record_days=compliance,
        total_record_days=worth + compliance,
        age_share=shares.age,
        drift_share=shares.drift,
        switch_share=shares.switch,
    )


def _parts(
    standings: Sequence[Standing],
    evidence: Evidence,
    now: Causes,
    effects: Sequence[RainEffect | None],
) -> list[dict[str, Any]]:
    """Work out the numbers that belong to each cause."""
    gauges = evidence.gauges
    levels = [s.state.level_percent is not None for s in standings]
    ohms = [s.state.switch_ohm is not None for s in standings]
    drift = _by_gauge(
        known=np.array(levels),
        doubted=evidence.doubted_drift,
        p=now.drift[:, 0],
        **_grown(gauges.drift, gauges.drift_age_days),
    )
    resistance = _by_gauge(
        known=np.array(ohms),
        doubted=evidence.doubted_resistance,
        p=now.resistance[:, 0],
        **_grown(gauges.resistance, gauges.resistance_age_days),
    )
    out_share = out_if_knocked(gauges.drift, gauges.knock_sd)[:, 0]
    never = np.zeros(len(standings), dtype=bool)
    knock = _by_gauge(left=never, p=now.knock[:, 0], **_law(gauges.knock))
    blockage = _by_gauge(left=gauges.blocked, p=now.blockage[:, 0], **_law(gauges.blockage))
    deaths = _by_gauge(left=gauges.dead, p=now.deaths[:, 0], **_law(gauges.deaths))
    return [
        {
            "drift": LevelForecast(**{**drift[i], **_level_of_today(effects[i])}),
            "knock": SuddenForecast(**knock[i]),
            "knock_out_share": float(out_share[i]),
            "resistance": LevelForecast(**resistance[i]),
            "blockage": SuddenForecast(**blockage[i]),
            "deaths": SuddenForecast(**deaths[i]),
        }
        for i in range(len(standings))
    ]


def _level_of_today(effect: RainEffect | None) -> dict[str, float]:
    return {} if effect is None else {"now": effect.level_now, "now_sd": effect.level_sd}


def _grown(growth: Growth, age_days: Ints) -> dict[str, NDArray[Any]]:
    years = growth_years(growth, age_days, np.zeros(1))[:, 0]
    now, now_sd = predict(growth, years)
    return {
        "start": growth.start,
        "start_sd": np.sqrt(growth.start_variance),
        "age_days": age_days,
        "age_years": years,
        "rate_per_year": growth.rate,
        "rate_sd": np.sqrt(growth.rate_variance),
        "walk_sd": np.sqrt(growth.walk_variance),
        "now": now,
        "now_sd": now_sd,
        "low": growth.low,
        "high": growth.high,
    }


def _law(sudden: Sudden) -> dict[str, NDArray[Any]]:
    hazard = sudden.hazard
    spent, silence = since_well(sudden)
    return {
        "shape": hazard.shape,
        "scale_years": hazard.scale_years,
        "age_days": sudden.age_days,
        "new_days": sudden.new_days,
        "exposure": spent,
        "unnoticed": silence,
    }


def _by_gauge(**columns: NDArray[Any]) -> list[dict[str, Any]]:
    """Turn columns into one dictionary a gauge, of plain Python numbers."""
    lists = [column.tolist() for column in columns.values()]
    return [dict(zip(columns, values, strict=True)) for values in zip(*lists, strict=True)]

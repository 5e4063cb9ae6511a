"""The ranking as tables: a row a gauge, or a row a site with its gauges' worth added up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import pandas as pd

from fleet.services.ranking import RankedGauge, Ranking
from fleet.stats.gauge_forecast import GaugeForecast

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
    "unfit_without_rain_percent": "float64",
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
    "rain_evidence": "str",
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
        "unfit_without_rain_percent": round(100.0 * _without_rain(forecast), 1),
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
        "rain_evidence": ranked.rain,
    }


def _without_rain(forecast: GaugeForecast) -> float:
    return forecast.p if forecast.rain is None else forecast.rain.p_without


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


def site_frame(ranked: Ranking, *, top: int | None = None) -> pd.DataFrame:
    """Give a ranking by site: a visit services every gauge there, so worths add up.

    Parameters
    ----------
    ranked : Ranking
    top : int, optional
        Only so many sites; None is all.

    Returns
    -------
    DataFrame
        Columns `SITE_COLUMNS`, most worth first, then by site; driver and why are of the gauge
        with most worth, ``leading_serial``.
    """
    columns, unfit, late = ranked.columns, ranked.unfit_probability, ranked.days_overdue
    worth = ranked.total_record_days.tolist()
    by_site: dict[str, list[int]] = defaultdict(list)
    for spot, code in enumerate(columns.site_code):
        by_site[code].append(spot)
    rounded = {code: round(sum(worth[i] for i in own), 2) for code, own in by_site.items()}
    codes = sorted(by_site, key=lambda code: (-rounded[code], code))[:top]
    leaders = ranked.rows([by_site[code][0] for code in codes])
    rows = [
        {
            "rank": place,
            "depot_code": leader.state.gauge.depot_code,
            "site_code": code,
            "gauges": len(by_site[code]),
            "serials": " ".join(columns.serial[by_site[code]]),
            "worth_record_days": rounded[code],
            "highest_unfit_percent": round(100.0 * float(unfit[by_site[code]].max()), 1),
            "longest_overdue_days": int(late[by_site[code]].max()),
            "leading_serial": leader.state.gauge.serial,
            "driver": leader.drivers[0].name,
            "why": leader.drivers[0].sentence,
        }
        for place, (code, leader) in enumerate(zip(codes, leaders, strict=True), start=1)
    ]
    return pd.DataFrame(rows, columns=list(SITE_COLUMNS)).astype(SITE_COLUMNS)

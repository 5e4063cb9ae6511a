"""The tables of a backtest: scores, the reliability diagram, and every check behind them."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from fleet.services.backtest import Backtest
from fleet.services.backtest_words import score_sentence
from fleet.stats.replay import CAUSES, CheckForecast

SCORE_COLUMNS = {
    "cause": "str",
    "score": "str",
    "checks": "int64",
    "found": "int64",
    "found_percent": "float64",
    "expected": "float64",
    "forecast_score": "float64",
    "base_rate_score": "float64",
    "age_score": "float64",
    "better_than_base_rate_by": "float64",
    "p_base_rate": "float64",
    "better_than_age_by": "float64",
    "p_age": "float64",
    "sentence": "str",
}


def score_frame(tested: Backtest) -> pd.DataFrame:
    """Give the scores as a table.

    Returns
    -------
    DataFrame
        Columns `SCORE_COLUMNS`, a row a cause and score. ``expected`` is the sum of the
        forecasts; scores are means, the lower the better; p of a paired permutation test by site.
    """
    rows = [
        {
            "cause": card.cause,
            "score": name,
            "checks": card.checks,
            "found": card.found,
            "found_percent": 100.0 * card.found / card.checks,
            "expected": card.expected,
            "forecast_score": line.ours,
            "base_rate_score": line.base_rate,
            "age_score": line.age_line,
            "better_than_base_rate_by": line.against_base.difference,
            "p_base_rate": line.against_base.p,
            "better_than_age_by": line.against_age.difference,
            "p_age": line.against_age.p,
            "sentence": score_sentence(card, name),
        }
        for card in tested.cards
        for name, line in card.lines.items()
    ]
    return pd.DataFrame(rows, columns=list(SCORE_COLUMNS)).astype(SCORE_COLUMNS)


BIN_COLUMNS = {
    "cause": "str",
    "forecast_from_percent": "float64",
    "forecast_to_percent": "float64",
    "mean_forecast_percent": "float64",
    "checks": "int64",
    "found": "int64",
    "found_percent": "float64",
    "low_percent": "float64",
    "high_percent": "float64",
    "forecast_within_interval": "bool",
}


def bin_frame(tested: Backtest) -> pd.DataFrame:
    """Give the reliability diagram as a table.

    Returns
    -------
    DataFrame
        Columns `BIN_COLUMNS`, a row a cause and size of forecast; exact 95 % intervals.
    """
    rows = [
        {
            "cause": card.cause,
            "forecast_from_percent": 100.0 * one.low,
            "forecast_to_percent": 100.0 * one.high,
            "mean_forecast_percent": 100.0 * one.mean_forecast,
            "checks": one.seen.trials,
            "found": one.seen.hits,
            "found_percent": 100.0 * one.seen.share,
            "low_percent": 100.0 * one.seen.low,
            "high_percent": 100.0 * one.seen.high,
            "forecast_within_interval": one.seen.low <= one.mean_forecast <= one.seen.high,
        }
        for card in tested.cards
        for one in card.bins
    ]
    return pd.DataFrame(rows, columns=list(BIN_COLUMNS)).astype(BIN_COLUMNS)


CHECK_COLUMNS = (
    "visited_on",
    "visit_ref",
    "depot_code",
    "site_code",
    "position",
    "serial",
    "type_code",
    "age_days",
    "interval_days",
    *(f"{cause}_forecast_percent" for cause in CAUSES),
    "sudden_change_forecast_percent",
    *(f"{cause}_found" for cause in CAUSES),
)


def check_frame(tested: Backtest) -> pd.DataFrame:
    """Give every scored check with its forecasts, so that the scores can be worked out again.

    Returns
    -------
    DataFrame
        Columns `CHECK_COLUMNS`, in order of day; a cause of which the check does not tell is
        empty. The forecast of drift holds that of a sudden change of level.
    """
    rows = [_check_row(check) for check in tested.checks]
    return pd.DataFrame(rows, columns=list(CHECK_COLUMNS))


def _check_row(check: CheckForecast) -> dict[str, object]:
    gauge = check.audited.gauge
    return {
        "visited_on": check.record.visited_on,
        "visit_ref": check.record.visit_ref,
        "depot_code": gauge.depot_code,
        "site_code": gauge.site_code,
        "position": gauge.position,
        "serial": gauge.serial,
        "type_code": gauge.type_code,
        "age_days": check.age_days,
        "interval_days": check.interval_days,
        **{f"{cause}_forecast_percent": 100.0 * check.probability[cause] for cause in CAUSES},
        "sudden_change_forecast_percent": 100.0 * check.knock,
        **{f"{cause}_found": check.outcome(cause) for cause in CAUSES},
    }


FRAMES: dict[str, Callable[[Backtest], pd.DataFrame]] = {
    "scores": score_frame,
    "bins": bin_frame,
    "checks": check_frame,
}
"""The tables of a backtest, by the name under which they are asked for."""

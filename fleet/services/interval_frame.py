"""The table of an interval review: policy, forecast, records, and each method beside them."""

from __future__ import annotations

from collections.abc import Sequence
from math import isinf

import pandas as pd

from fleet.services.interval_review import IntervalReview
from fleet.services.interval_words import advice_of, review_sentence
from fleet.stats.staircase import Step

REVIEW_COLUMNS = (
    "code",
    "gauges",
    "interval_days",
    "target_percent",
    "forecast_days",
    "forecast_shortest_days",
    "forecast_longest_days",
    "forecast_unfit_at_interval_percent",
    "checks",
    "fit",
    "fit_percent",
    "fit_low_percent",
    "fit_high_percent",
    "mean_age_days",
    "exponential_days",
    "exponential_low_days",
    "exponential_high_days",
    "exponential_capped",
    "a1_extension_percent",
    "a1_reduction_percent",
    "a1_days",
    "staircase_extend",
    "staircase_keep",
    "staircase_reduce",
    "services",
    "services_ended_unfit",
    "weibull_days",
    "weibull_low_days",
    "weibull_high_days",
    "weibull_shape",
    "weibull_scale_days",
    "weibull_note",
    "advice",
    "sentence",
)


def review_frame(reviews: Sequence[IntervalReview], code_column: str) -> pd.DataFrame:
    """Give a review as a table.

    Parameters
    ----------
    reviews : sequence of IntervalReview
        A row each.
    code_column : str
        Name of the first column: ``type_code`` or ``site_code``.

    Returns
    -------
    DataFrame
        Columns `REVIEW_COLUMNS`; what no record tells is missing. A forecast age beyond five
        years is missing too; the sentence says so.
    """
    frame = pd.DataFrame([_row(review) for review in reviews], columns=list(REVIEW_COLUMNS))
    return frame.rename(columns={"code": code_column})


def _row(review: IntervalReview) -> dict[str, object]:
    return {
        **_policy_and_forecast(review),
        **_records(review),
        **_life(review),
        **{f"staircase_{step}": review.staircase[step] for step in Step},
        "advice": advice_of(review),
        "sentence": review_sentence(review),
    }


def _policy_and_forecast(review: IntervalReview) -> dict[str, object]:
    forecast = review.forecast
    return {
        "code": review.code,
        "gauges": review.gauges,
        "interval_days": review.interval_days,
        "target_percent": 100.0 * review.target,
        "forecast_days": _finite(forecast.days),
        "forecast_shortest_days": _finite(forecast.shortest_days),
        "forecast_longest_days": _finite(forecast.longest_days),
        "forecast_unfit_at_interval_percent": 100.0 * forecast.unfit_at_interval,
    }


def _records(review: IntervalReview) -> dict[str, object]:
    end, memoryless, reactive = review.end, review.memoryless, review.reactive
    if end is None or memoryless is None or reactive is None:
        return {"checks": 0, "fit": 0}
    return {
        "checks": end.seen.trials,
        "fit": end.seen.hits,
        "fit_percent": 100.0 * end.seen.share,
        "fit_low_percent": 100.0 * end.seen.low,
        "fit_high_percent": 100.0 * end.seen.high,
        "mean_age_days": end.mean_age_days,
        "exponential_days": memoryless.days,
        "exponential_low_days": memoryless.low_days,
        "exponential_high_days": memoryless.high_days,
        "exponential_capped": memoryless.capped,
        "a1_extension_percent": 100.0 * reactive.extension,
        "a1_reduction_percent": 100.0 * reactive.reduction,
        "a1_days": reactive.days,
    }


def _life(review: IntervalReview) -> dict[str, object]:
    life = review.life
    counts = {"services": life.spells, "services_ended_unfit": life.failures}
    if life.fit is None or life.age is None:
        return {**counts, "weibull_note": f"not enough evidence: {life.why_not}"}
    return {
        **counts,
        "weibull_days": life.age.days,
        "weibull_low_days": life.age.low_days,
        "weibull_high_days": life.age.high_days,
        "weibull_shape": life.fit.shape,
        "weibull_scale_days": life.fit.scale_days,
    }


def _finite(days: float) -> float | None:
    return None if isinf(days) else days

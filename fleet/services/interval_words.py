"""An interval review in one plain sentence a row: it advises and changes nothing."""

from __future__ import annotations

from math import isinf

from fleet.services.interval_review import LONGEST_DAYS, IntervalReview
from fleet.stats.reliability import straight_passes_needed
from fleet.stats.staircase import Step

LONGER = "longer"
SHORTER = "shorter"
KEEP = "keep"
NOT_ENOUGH = "not enough evidence"


def advice_of(review: IntervalReview) -> str:
    """Say what the records alone speak for.

    Parameters
    ----------
    review : IntervalReview
        Of one type or site.

    Returns
    -------
    str
        SHORTER or LONGER where the exact 95 % interval of the share found fit around the end of
        the interval lies wholly below or above the target; else NOT_ENOUGH where even as many
        passes without a failure could not have shown the target, and KEEP otherwise.
    """
    if review.end is None:
        return NOT_ENOUGH
    seen = review.end.seen
    if seen.high < review.target:
        return SHORTER
    if seen.low > review.target:
        return LONGER
    return KEEP if seen.trials >= straight_passes_needed(review.target) else NOT_ENOUGH


def review_sentence(review: IntervalReview) -> str:
    """Say what the policy asks, what is forecast, what was found, and what that speaks for."""
    parts = (_policy(review), _forecast(review), _found(review), _life(review), _speaks(review))
    return " ".join(part for part in parts if part)


def _policy(review: IntervalReview) -> str:
    return f"Policy: every {review.interval_days} days, {100 * review.target:g} % fit at the end."


def _forecast(review: IntervalReview) -> str:
    forecast = review.forecast
    share = f"{100 * forecast.unfit_at_interval:.1f} % unfit at {review.interval_days} days"
    if forecast.days == 0:
        return f"Forecast: {share}; below the target on the day of the service itself."
    if isinf(forecast.days):
        return f"Forecast: {share}; the target holds for more than {LONGEST_DAYS} days."
    one = f"single gauges {_days(forecast.shortest_days)} to {_days(forecast.longest_days)}"
    only = "" if review.gauges == 1 else f" ({one})"
    return f"Forecast: {share}; the target is reached after {forecast.days:.0f} days{only}."


def _days(days: float) -> str:
    return f"beyond {LONGEST_DAYS}" if isinf(days) else f"{days:.0f}"


def _found(review: IntervalReview) -> str:
    if review.end is None:
        return "Found: no check with a verdict around the end of the interval."
    end, seen = review.end, review.end.seen
    words = (
        f"Found: {seen.hits} of {seen.trials} fit at {end.youngest_days} to {end.oldest_days} "
        f"days, {100 * seen.share:.1f} % (95 % interval {100 * seen.low:.1f} to "
        f"{100 * seen.high:.1f} %)."
    )
    steps = ", ".join(f"{step} {review.staircase[step]}" for step in Step)
    return f"{words} Staircase, newest results: {steps}."


def _life(review: IntervalReview) -> str:
    life = review.life
    if life.age is None or life.fit is None:
        return f"Weibull: not enough evidence, {life.why_not}."
    return (
        f"Weibull of {life.spells} services ({life.failures} ended unfit): the target is reached "
        f"after {life.age.days:.0f} days (95 % interval {life.age.low_days:.0f} to "
        f"{life.age.high_days:.0f})."
    )


def _speaks(review: IntervalReview) -> str:
    advice = advice_of(review)
    if advice == NOT_ENOUGH:
        checks = 0 if review.end is None else review.end.seen.trials
        needed = straight_passes_needed(review.target)
        return (
            f"Not enough evidence to judge the interval: {checks} checks, and {needed} passes "
            f"without a failure would be needed to show {100 * review.target:g} %."
        )
    words = {
        SHORTER: "The records speak for a shorter interval",
        LONGER: "The records would bear a longer interval",
        KEEP: "The records neither ask for a change nor rule one out",
    }[advice]
    return f"{words}{_disagreement(review, advice)}."


def _disagreement(review: IntervalReview, advice: str) -> str:
    forecast_shorter = review.forecast.days < review.interval_days
    against = {SHORTER: not forecast_shorter, LONGER: forecast_shorter}
    return ", against the forecast" if against.get(advice, False) else ""

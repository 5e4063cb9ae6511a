"""The ranking once more, slowly: plain loops and math.erf, nothing shared with the package.

Takes a state, its policy, and the hyperparameters of its type; works everything else out anew.
"""

from __future__ import annotations

from itertools import pairwise
from math import erf, exp, log, sqrt

YEAR_DAYS = 365.25
CUT = 1e-9


def slow_worth(state, policy, model, *, as_of, horizon_days):
    """Give p by cause, p, and the worth without compliance."""
    now = causes_now(state, policy, model, as_of)
    p = 1 - product(1 - q for q in now.values())
    fresh = causes_after_service(state, policy, model, as_of, horizon_days)
    gains = [max(0.0, p - (1 - product(1 - q for q in day))) for day in fresh]
    integral = sum((a + b) / 2 for a, b in pairwise(gains))
    return now, p, state.gauge.importance * integral


def causes_now(state, policy, model, as_of):
    drift = drift_law(state, model)
    low, high = tolerance(state, policy)
    age = (as_of - (state.level_on or state.last_service_on or state.gauge.installed_on)).days
    worn = highest(resistance_law(state, model), None, log_of(policy), resistance_age(state, as_of))
    dead = (
        1 - CUT
        if state.switch_left_dead
        else one_or_more(
            model.deaths,
            state.switch_deaths,
            state.switch_years,
            (as_of - (state.switch_seen_on or state.gauge.installed_on)).days / YEAR_DAYS,
        )
    )
    blocked = (
        1 - CUT
        if state.left_blocked
        else one_or_more(
            model.blockage,
            state.blockages,
            state.blockage_years,
            (as_of - (state.site_seen_on or state.gauge.installed_on)).days / YEAR_DAYS,
        )
    )
    return {
        "drift": highest(drift, low, high, age),
        "blockage": blocked,
        "worn": worn,
        "dead": dead,
        "disconnection": 1 - CUT if state.left_disconnected else 0.0,
    }


def causes_after_service(state, policy, model, as_of, horizon_days):
    """List, for each day after a service, the probabilities of drift, blockage and switch."""
    _, _, rate, rate_variance, walk = drift_law(state, model)
    fresh = (model.as_left.mean, model.as_left.sd**2, rate, rate_variance, walk)
    kept = resistance_law(state, model)
    new = (model.new_switch.mean, model.new_switch.sd**2, *kept[2:])
    low, high = tolerance(state, policy)
    limit, age = log_of(policy), resistance_age(state, as_of)
    now = causes_now(state, policy, model, as_of)
    failing = 1 - (1 - now["worn"]) * (1 - now["dead"])
    days, drift, kept_worst, new_worst = [], 0.0, now["worn"], 0.0
    for day in range(horizon_days + 1):
        drift = max(drift, outside(fresh, low, high, day / YEAR_DAYS))
        kept_worst = max(kept_worst, outside(kept, None, limit, (age + day) / YEAR_DAYS))
        new_worst = max(new_worst, outside(new, None, limit, day / YEAR_DAYS))
        kept_fails = (kept_worst - now["worn"]) / max(1 - now["worn"], CUT)
        worn = (1 - failing) * kept_fails + failing * new_worst
        years = day / YEAR_DAYS
        dead = one_or_more(model.deaths, state.switch_deaths, state.switch_years, years)
        blocked = one_or_more(model.blockage, state.blockages, state.blockage_years, years)
        days.append((drift, blocked, worn, dead))
    return days


def drift_law(state, model):
    rate, rate_variance = rate_of(state.drift, model.drift)
    if state.level_percent is None:
        start, start_variance = model.as_left.mean, model.as_left.sd**2
    else:
        start, start_variance = state.level_percent, state.level_variance
    return start, start_variance, rate, rate_variance, model.drift.walk_sd**2


def resistance_law(state, model):
    rate, rate_variance = rate_of(state.switch_growth, model.resistance)
    if state.switch_ohm is None:
        start, start_variance = model.new_switch.mean, model.new_switch.sd**2
    else:
        start, start_variance = log(max(state.switch_ohm, 0.02)), 0.0025
    return start, start_variance, rate, rate_variance, model.resistance.walk_sd**2


def resistance_age(state, as_of):
    return (as_of - (state.switch_ohm_on or state.gauge.installed_on)).days


def rate_of(changes, fit):
    """Shrink a gauge's rate to its type's by precision weighting, one change after another."""
    precision, weighted = 1 / fit.between_sd**2, 0.0
    for change in changes:
        noise = fit.walk_sd**2 * change.years + change.variance
        precision += change.years**2 / noise
        weighted += change.years * change.amount / noise
    own = 1 / (fit.between_sd**2 * precision)
    mean = (fit.mean / fit.between_sd**2 + weighted) / precision
    return mean, 1 / precision + (own * fit.mean_sd) ** 2


def tolerance(state, policy):
    nominal = (
        10 * state.gauge.test_volume_ml / (state.gauge.bucket_mm * state.gauge.orifice_area_cm2)
    )
    low = -policy.as_found_tolerance_percent
    high = policy.as_found_tolerance_percent
    if policy.as_found_low_tips is not None:
        low = 100 * (policy.as_found_low_tips - nominal) / nominal
    if policy.as_found_high_tips is not None:
        high = 100 * (policy.as_found_high_tips - nominal) / nominal
    return low, high


def log_of(policy):
    return log(policy.closed_field_limit_ohm)


def highest(law, low, high, age_days):
    return min(
        max(outside(law, low, high, day / YEAR_DAYS) for day in range(age_days + 1)), 1 - CUT
    )


def outside(law, low, high, years):
    start, start_variance, rate, rate_variance, walk = law
    mean = start + rate * years
    sd = sqrt(start_variance + rate_variance * years**2 + walk * years)
    above = 0.5 - 0.5 * erf((high - mean) / sd / sqrt(2))
    below = 0.0 if low is None else 0.5 + 0.5 * erf((low - mean) / sd / sqrt(2))
    return above + below


def one_or_more(fit, events, exposure_years, years):
    shape, scale = fit.shape + events, fit.scale_years + exposure_years
    return 1 - exp(shape * (log(scale) - log(scale + years)))


def product(values):
    result = 1.0
    for value in values:
        result *= value
    return result

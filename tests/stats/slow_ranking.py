"""The ranking once more, slowly: plain loops and math.erf, nothing shared with the package.

Takes a state, its policy, and the hyperparameters of its type; works everything else out anew.
"""

from __future__ import annotations

from itertools import pairwise
from math import cos, erf, exp, expm1, log, pi, sin, sqrt

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
    knocked = one_or_more(
        model.knock.hazard, *knocks_of(state, model), age / YEAR_DAYS
    ) * out_if_knocked(drift, model, low, high)
    worn_years = [day / YEAR_DAYS for day in range(resistance_age(state, as_of) + 1)]
    worn = highest(resistance_law(state, model), None, log_of(policy), worn_years)
    dead = 1 - CUT if state.switch_left_dead else dead_now(state, model, as_of)
    blocked = 1 - CUT if state.left_blocked else blocked_now(state, model, as_of)
    return {
        "drift": highest(drift, low, high, drift_years(model, as_of.toordinal() - age, age)),
        "knock": knocked,
        "blockage": blocked,
        "worn": worn,
        "dead": dead,
        "disconnection": 1 - CUT if state.left_disconnected else 0.0,
    }


def causes_after_service(state, policy, model, as_of, horizon_days):
    """List, for each day after a service, the probability of each cause."""
    _, _, rate, rate_variance, walk = drift_law(state, model)
    fresh = (model.as_left.mean, model.as_left.sd**2, rate, rate_variance, walk)
    kept = resistance_law(state, model)
    new = (model.new_switch.mean, model.new_switch.sd**2, *kept[2:])
    low, high = tolerance(state, policy)
    limit, age = log_of(policy), resistance_age(state, as_of)
    now = causes_now(state, policy, model, as_of)
    failing = 1 - (1 - now["worn"]) * (1 - now["dead"])
    days, drift, kept_worst, new_worst = [], 0.0, now["worn"], 0.0
    drifted = drift_years(model, as_of.toordinal(), horizon_days)
    for day in range(horizon_days + 1):
        drift = max(drift, outside(fresh, low, high, drifted[day]))
        kept_worst = max(kept_worst, outside(kept, None, limit, (age + day) / YEAR_DAYS))
        new_worst = max(new_worst, outside(new, None, limit, day / YEAR_DAYS))
        kept_fails = (kept_worst - now["worn"]) / max(1 - now["worn"], CUT)
        worn = (1 - failing) * kept_fails + failing * new_worst
        years = day / YEAR_DAYS
        knocked = one_or_more(model.knock.hazard, *knocks_of(state, model), years) * out_if_knocked(
            fresh, model, low, high
        )
        aged = (as_of - switch_new(state)).days
        older = struck(model.deaths, state.switch_watches, (aged, 0), day, as_of)
        anew = struck(model.deaths, state.switch_watches, (0, 0), day, as_of)
        dead = (1 - now["dead"]) * older + now["dead"] * anew
        blocked = struck(model.blockage, state.blockage_watches, (0, 0), day, as_of)
        days.append((drift, knocked, blocked, worn, dead))
    return days


def dead_now(state, model, as_of):
    seen = (as_of - (state.switch_seen_on or state.gauge.installed_on)).days
    new = (as_of - switch_new(state)).days
    return struck(model.deaths, state.switch_watches, (new, seen), 0, as_of)


def blocked_now(state, model, as_of):
    seen_on = state.site_seen_on or state.gauge.installed_on
    clean = (as_of - (state.way_clean_on or seen_on)).days
    return struck(model.blockage, state.blockage_watches, (clean, (as_of - seen_on).days), 0, as_of)


def switch_new(state):
    return state.switch_new_on or state.switch_seen_on or state.gauge.installed_on


def struck(fit, watches, ago, ahead, as_of):
    """Give the odds of one event or more against none, times that nobody has noticed it."""
    new, well = ago
    events, exposure = counted(fit, watches)
    today = as_of.toordinal()
    span = stretch(fit.clock, today - new, today - well, today + ahead)
    came = 1 - (1 + span / (fit.scale_years + exposure)) ** -(fit.shape + events)
    passed = fit.clock.noticed * (well + ahead) / YEAR_DAYS
    unnoticed = (1 - exp(-passed)) / passed if passed > 0 else 1.0
    odds = came / (1 - came) * unnoticed
    return odds / (1 + odds)


def counted(fit, watches):
    """Count events and exposure, five times over at the rate that the last count told."""
    rate, watches = 0.0, [watch for watch in watches if watch.well_on < watch.seen_on]
    for _ in range(6):
        events, exposure = 0, 0.0
        for watch in watches:
            event, spent = looked(fit.clock, watch, rate)
            events, exposure = events + event, exposure + spent
        rate = (fit.shape + events) / (fit.scale_years + exposure)
    return events, exposure


def looked(clock, watch, rate):
    days = (watch.new_on, watch.well_on, watch.seen_on)
    span = stretch(clock, *(day.toordinal() for day in days))
    x = max(rate * span, 1e-6)
    if watch.sign == 2:
        return 1, span * (1 / x - 1 / expm1(x))
    if watch.sign == 1 and clock.begun > 1:
        more = clock.begun - 1
        return 1, span * (1 + 1 / x - more / expm1(more * x))
    return 0, span * clock.begun


def stretch(clock, new, start, end):
    """Add up the season day by day, and raise the ages to the power of the wear."""

    def years(day):
        turn = 2 * pi * (day - 730120) / YEAR_DAYS  # 1 January 2000
        swing = clock.cosine * sin(turn) - clock.sine * cos(turn)
        return day / YEAR_DAYS + swing / (2 * pi)

    return (years(end) - years(new)) ** clock.wear - (years(start) - years(new)) ** clock.wear


def drift_years(model, start, days):
    """Give the years of the mean season from an ordinal to each of so many days after it."""
    return [stretch(model.drift.clock, start, start, start + day) for day in range(days + 1)]


def grown_years(change, fit):
    """Give the years of the mean season over which a change came."""
    end = change.found_on.toordinal()
    start = end - round(change.years * YEAR_DAYS)
    return stretch(fit.clock, start, start, end)


def knocks_of(state, model):
    """Weigh, for each change, a sudden one against drift alone."""
    events, years = 0.0, 0.0
    for place, change in enumerate(state.drift):
        others = (*state.drift[:place], *state.drift[place + 1 :])
        rate, rate_variance = rate_of(others, model.drift, mean_sd=0.0)
        grown = grown_years(change, model.drift)
        miss = change.amount - rate * grown
        narrow = model.drift.walk_sd**2 * grown + change.variance + rate_variance * grown**2
        wide = narrow + model.knock.size_sd**2
        came = 1 - exp(-model.knock.hazard.per_year * change.years)
        with_it = came * exp(-(miss**2) / wide / 2) / sqrt(wide)
        without = (1 - came) * exp(-(miss**2) / narrow / 2) / sqrt(narrow)
        sure = with_it / (with_it + without)
        events += sure
        years += change.years * (1 - sure / 2)
    return events, years


def out_if_knocked(law, model, low, high):
    start, start_variance, *rest = law
    return outside((start, start_variance + model.knock.size_sd**2, *rest), low, high, 0.0)


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


def rate_of(changes, fit, *, mean_sd=None):
    """Shrink a gauge's rate to its type's by precision weighting, one change after another."""
    precision, weighted = 1 / fit.between_sd**2, 0.0
    for change in changes:
        years = grown_years(change, fit)
        noise = fit.walk_sd**2 * years + change.variance
        precision += years**2 / noise
        weighted += years * change.amount / noise
    own = 1 / (fit.between_sd**2 * precision)
    mean = (fit.mean / fit.between_sd**2 + weighted) / precision
    return mean, 1 / precision + (own * (fit.mean_sd if mean_sd is None else mean_sd)) ** 2


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


def highest(law, low, high, each_years):
    return min(max(outside(law, low, high, years) for years in each_years), 1 - CUT)


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

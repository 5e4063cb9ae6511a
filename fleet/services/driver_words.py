"""The three drivers of a rank in plain sentences: age, drift, switch, each with its evidence."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp

from fleet.domain.sheet import Driver
from fleet.domain.state import GaugeState, MeasuredPhase
from fleet.reports.wording import chance_words, counted
from fleet.stats.gauge_forecast import GaugeForecast, LevelForecast

DRIVERS = ("age", "drift", "switch")
SEEN_FROM_YEARS = 0.05
"""Below this a time watched would be printed as 0.0 years."""


def drivers_of(forecast: GaugeForecast) -> tuple[Driver, ...]:
    """Say why a gauge stands where it stands.

    Parameters
    ----------
    forecast : GaugeForecast
        One row of the ranking.

    Returns
    -------
    tuple of Driver
        Age, drift and switch with their shares, largest share first; equals in that order.
    """
    made = (
        Driver("age", 100.0 * forecast.age_share, " ".join(_age(forecast))),
        Driver("drift", 100.0 * forecast.drift_share, " ".join(_drift(forecast))),
        Driver("switch", 100.0 * forecast.switch_share, " ".join(_switch(forecast))),
    )
    return tuple(
        sorted(made, key=lambda driver: (-driver.share_percent, DRIVERS.index(driver.name)))
    )


def _age(forecast: GaugeForecast) -> Iterator[str]:
    state = forecast.state
    if state.left_disconnected:
        yield (
            f"Visit {state.disconnected_ref} does not prove that the gauge was put back on its "
            "logger: its record may be lost since then."
        )
    if state.left_blocked:
        yield "It was left blocked."
    if state.last_service_on is None:
        yield f"No service on record since it was installed on {state.gauge.installed_on}:"
    else:
        yield f"Last serviced on {state.last_service_on} (visit {state.last_service_ref}):"
    late = forecast.days_overdue
    due = f"{counted(late, 'day')} overdue" if late else "not yet due"
    yield f"{counted(forecast.age_days, 'day')} ago, interval {forecast.interval_days}, {due}."
    if not state.left_blocked:
        seen = _seen("found here", state.blockages, state.blockage_years)
        yield f"Chance of a blockage by now {chance_words(forecast.p_blockage)} ({seen})."
    if state.attempts_since_service:
        yield f"{counted(state.attempts_since_service, 'visit')} since then failed."
    if forecast.compliance_record_days > 0:
        yield f"Policy adds {forecast.compliance_record_days:.1f} record-days for being overdue."


def _drift(forecast: GaugeForecast) -> Iterator[str]:
    state, drift = forecast.state, forecast.drift
    known = _last_level(state) if drift.known else None
    yield _start(forecast, known)
    own = counted(len(state.drift), "change") + " seen and" if state.drift else "the drift of"
    yield f"Drifts {_signed(drift.rate_per_year)} % a year, judged by {own} its type;"
    yield f"so now about {_now(drift, forecast.nominal_tips)}:"
    yield f"chance of being out {chance_words(forecast.p_drift)}."
    found = state.last_as_found
    if found is not None and found is not known:
        blocked = ", blocked" if found.visit_ref in state.blockage_refs else ""
        yield f"Last as found {_reading(found)}{blocked}."
    if drift.doubted:
        were = "was" if drift.doubted == 1 else "were"
        yield f"{counted(drift.doubted, 'change')} out of line {were} given less weight."


def _last_level(state: GaugeState) -> MeasuredPhase | None:
    """Find the test that gave the last known level; none where it stood elsewhere then."""
    for phase in (state.last_as_left, state.last_as_found):
        if phase is not None and phase.visited_on == state.level_on:
            return phase
    return None


def _start(forecast: GaugeForecast, known: MeasuredPhase | None) -> str:
    state, drift = forecast.state, forecast.drift
    if known is not None:
        name = "left" if known is state.last_as_left else "found"
        return f"As {name} {_reading(known)}{_corrected(known)}."
    if drift.known:
        return f"It read {_signed(drift.start)} % on {state.level_on}, before it came here."
    since = (
        "since it was installed"
        if state.last_service_ref is None
        else f"since visit {state.last_service_ref} changed it"
    )
    start = _signed(drift.start)
    return f"No test on record {since}; services of its type leave {start} % on average."


def _reading(phase: MeasuredPhase) -> str:
    error = phase.error
    return (
        f"{phase.runs.tips} of {error.expected_tips:.1f} tips ({_signed(error.error_percent)} %) "
        f"on {phase.visited_on}, visit {phase.visit_ref}"
    )


def _corrected(phase: MeasuredPhase) -> str:
    level = _signed(phase.error.level_percent)
    if level == _signed(phase.error.error_percent):
        return ""
    return f"; {level} % with the half tip a run that emptied buckets lose"


def _now(drift: LevelForecast, tips: float) -> str:
    now, low, high = (_signed(at * tips / 100.0) for at in (drift.now, drift.low, drift.high))
    return (
        f"{_signed(drift.now)} % or {now} tips in {tips:.1f}, limits {_signed(drift.low)} to "
        f"{_signed(drift.high)} % or {low} to {high} tips"
    )


def _switch(forecast: GaugeForecast) -> Iterator[str]:
    state, resistance = forecast.state, forecast.resistance
    if state.switch_left_dead:
        yield "The switch was left failing."
    now = _ohm(exp(resistance.now))
    if resistance.known and state.switch_ohm is not None:
        yield f"Closed resistance {_ohm(state.switch_ohm)} on {state.switch_ohm_on}"
        yield f"(visit {state.switch_ohm_ref}), about {now} by now"
    else:
        yield f"Closed resistance never read; about {now} for its type"
    yield f"against {forecast.policy.closed_field_limit_ohm:g} ohm."
    yield f"Chance of a failing switch {chance_words(forecast.p_switch)}"
    yield f"({_seen('found failing', state.switch_deaths, state.switch_years)})."


def _ohm(value: float) -> str:
    return f"{value:.2f} ohm" if value < 10.0 else f"{value:.0f} ohm"


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def _seen(what: str, count: int, years: float) -> str:
    if years < SEEN_FROM_YEARS:
        return "not watched here yet, so by its type"
    times = {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")
    words = f"{times} {what}" if count == 0 else f"{what} {times}"
    return f"{words} in {years:.1f} years watched"

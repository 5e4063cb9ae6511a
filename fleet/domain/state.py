"""Everything that the ranking needs of a gauge's history: one state, derived by one function.

The state holds no policy and no fitted parameter, so it changes only when a record of the gauge
changes; it can be kept up visit by visit (`advance`) or derived afresh (`derive_state`), with
the same result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import reduce
from math import log

from fleet.domain.check import PhaseError, phase_error
from fleet.domain.code import VisitOutcome
from fleet.domain.history import CheckRecord, Gauge, GaugeHistory, PhaseRuns, SwitchReadings
from fleet.units import years_between_days


@dataclass(frozen=True, slots=True)
class Change:
    """A level that was left at one visit and found at the next, with nothing done between.

    ``amount`` is found minus left: percent of expected tips for drift, natural logarithm of
    ohm for the switch. ``variance`` is the measurement variance of the amount, same unit squared.
    """

    years: float
    amount: float
    variance: float
    visit_ref: str


@dataclass(frozen=True, slots=True)
class MeasuredPhase:
    """A phase as it was measured, kept for sentences and evidence."""

    visit_ref: str
    visited_on: date
    runs: PhaseRuns
    error: PhaseError


@dataclass(frozen=True, slots=True)
class GaugeState:
    """Where one gauge stands after its last record.

    Drift: ``level_percent`` is the error at which the gauge was last known to run, corrected for
    the start state of the buckets (None: nobody measured since something was changed), with its
    ``level_variance`` (percent squared) and day; ``drift`` the changes seen over untouched spells.
    Blockage: ``blockages`` seen in ``blockage_years`` of exposure at this site; years spent known
    to be blocked do not count, nor does one found before anybody had watched. So for the switch.
    Switch: ``switch_ohm`` the last closed resistance at the gauge's terminals, ``switch_growth``
    the changes of its logarithm, ``switch_deaths`` in ``switch_years``.
    """

    gauge: Gauge
    last_service_on: date | None = None
    last_service_ref: str | None = None
    last_visit_on: date | None = None
    last_visit_ref: str | None = None
    attempts_since_service: int = 0
    services: int = 0
    level_percent: float | None = None
    level_variance: float = 0.0
    level_on: date | None = None
    drift: tuple[Change, ...] = ()
    last_as_found: MeasuredPhase | None = None
    last_as_left: MeasuredPhase | None = None
    blockages: int = 0
    blockage_years: float = 0.0
    blockage_refs: tuple[str, ...] = ()
    left_blocked: bool = False
    site_seen_on: date | None = None
    switch_ohm: float | None = None
    switch_ohm_on: date | None = None
    switch_ohm_ref: str | None = None
    switch_growth: tuple[Change, ...] = ()
    switch_deaths: int = 0
    switch_years: float = 0.0
    switch_death_refs: tuple[str, ...] = ()
    switch_left_dead: bool = False
    switch_seen_on: date | None = None
    left_disconnected: bool = False
    disconnected_ref: str | None = None

    @property
    def serviced_or_installed_on(self) -> date:
        """Give the day from which the age of the gauge's service counts."""
        return self.last_service_on or self.gauge.installed_on

    @property
    def never_verified(self) -> bool:
        """Tell whether no test of this gauge since its installation is on record."""
        return self.last_as_found is None and self.last_as_left is None


LOG_OHM_VARIANCE = 0.05**2
"""Variance of the logarithm of one closed-resistance reading: 5 % of reading covers a field
meter and its leads. From memory of meter data sheets, not a published limit; enters only the
weight of a reading."""

LEAST_OHM = 0.02
"""Readings below this many ohm are taken as this: the last digit of a field meter (common
practice, no published source)."""


def derive_state(history: GaugeHistory) -> GaugeState:
    """Derive a gauge's state from its whole history.

    Parameters
    ----------
    history : GaugeHistory
        Records in order of date.

    Returns
    -------
    GaugeState
        With no records: a gauge that was installed and never seen again.
    """
    return reduce(advance, history.records, GaugeState(gauge=history.gauge))


def advance(state: GaugeState, record: CheckRecord) -> GaugeState:
    """Give the state after one more record.

    Parameters
    ----------
    state : GaugeState
        Before the record.
    record : CheckRecord
        Not earlier than the records already in the state.

    Returns
    -------
    GaugeState
        A new state; the old one is left as it was.
    """
    if record.outcome is VisitOutcome.NOT_DONE or not record.checked:
        return _note_attempt(state, record) if _is_here(state, record) else state
    if record.same_site:
        state = _advance_blockage(state, record)
    if record.same_instrument:
        state = _advance_drift(state, record)
        state = _advance_switch(state, record)
    if record.same_site and record.same_instrument and _is_here(state, record):
        state = _advance_service(state, record)
    return state


def _is_here(state: GaugeState, record: CheckRecord) -> bool:
    return record.same_site and record.visited_on >= state.gauge.installed_on


def _note_attempt(state: GaugeState, record: CheckRecord) -> GaugeState:
    return replace(
        state,
        attempts_since_service=state.attempts_since_service + 1,
        last_visit_on=record.visited_on,
        last_visit_ref=record.visit_ref,
    )


def _advance_service(state: GaugeState, record: CheckRecord) -> GaugeState:
    state = replace(
        state,
        last_visit_on=record.visited_on,
        last_visit_ref=record.visit_ref,
    )
    if record.tells_connection:
        state = replace(
            state,
            left_disconnected=record.left_disconnected,
            disconnected_ref=record.visit_ref if record.left_disconnected else None,
        )
    if not record.serviced:
        return state
    return replace(
        state,
        last_service_on=record.visited_on,
        last_service_ref=record.visit_ref,
        attempts_since_service=0,
        services=state.services + 1,
    )


def _advance_blockage(state: GaugeState, record: CheckRecord) -> GaugeState:
    years = 0.0 if state.left_blocked else _exposure(state, record, state.site_seen_on)
    found = record.blocked_found and years > 0
    return replace(
        state,
        blockages=state.blockages + int(found),
        blockage_years=state.blockage_years + years,
        blockage_refs=(*state.blockage_refs, record.visit_ref) if found else state.blockage_refs,
        left_blocked=record.blocked_left if _is_here(state, record) else False,
        site_seen_on=record.visited_on,
    )


def _advance_drift(state: GaugeState, record: CheckRecord) -> GaugeState:
    tip_ml = state.gauge.tip_ml
    found = phase_error(record.as_found, tip_ml) if record.as_found else None
    left = phase_error(record.as_left, tip_ml) if record.as_left else None
    here = _is_here(state, record)
    if found is not None:
        if state.level_percent is not None and state.level_on is not None:
            years = _years_since(state.level_on, record.visited_on)
            if years > 0 and not record.blocked_found:
                change = Change(
                    years,
                    found.level_percent - state.level_percent,
                    found.variance + state.level_variance,
                    record.visit_ref,
                )
                state = replace(state, drift=(*state.drift, change))
        if record.as_found is not None and here:
            seen = MeasuredPhase(record.visit_ref, record.visited_on, record.as_found, found)
            state = replace(state, last_as_found=seen)
    if left is not None and record.as_left is not None and here:
        seen = MeasuredPhase(record.visit_ref, record.visited_on, record.as_left, left)
        state = replace(state, last_as_left=seen)
    touched = record.cleaned or record.adjusted
    level = left or (None if touched or record.blocked_found else found)
    if level is None and not touched:
        return state
    return replace(
        state,
        level_percent=None if level is None else level.level_percent,
        level_variance=0.0 if level is None else level.variance,
        level_on=None if level is None else record.visited_on,
    )


def _advance_switch(state: GaugeState, record: CheckRecord) -> GaugeState:
    readings = [r for r in (record.switch_found, record.switch_left) if r is not None]
    if not readings:
        return state
    first, last = readings[0], readings[-1]
    exposure = 0.0 if state.switch_left_dead else _exposure(state, record, state.switch_seen_on)
    died = first.dead and exposure > 0
    growth = state.switch_growth
    if first.closed_ohm is not None and state.switch_ohm is not None and not first.dead:
        years = _years_since(state.switch_ohm_on, record.visited_on)
        if years > 0:
            amount = log_ohm(first.closed_ohm) - log_ohm(state.switch_ohm)
            change = Change(years, amount, 2 * LOG_OHM_VARIANCE, record.visit_ref)
            growth = (*growth, change)
    return replace(
        _note_ohm(state, record, last),
        switch_growth=growth,
        switch_deaths=state.switch_deaths + int(died),
        switch_death_refs=(
            (*state.switch_death_refs, record.visit_ref) if died else state.switch_death_refs
        ),
        switch_years=state.switch_years + exposure,
        switch_left_dead=last.dead,
        switch_seen_on=record.visited_on,
    )


def _note_ohm(state: GaugeState, record: CheckRecord, last: SwitchReadings) -> GaugeState:
    if last.dead or last.closed_ohm is None:
        return state
    return replace(
        state,
        switch_ohm=last.closed_ohm,
        switch_ohm_on=record.visited_on,
        switch_ohm_ref=record.visit_ref,
    )


def log_ohm(ohm: float) -> float:
    """Give the natural logarithm of a closed resistance in ohm, floored at the meter's digit."""
    return log(max(ohm, LEAST_OHM))


def _exposure(state: GaugeState, record: CheckRecord, seen_on: date | None) -> float:
    """Count the years watched up to a record; before the first, from the installation on."""
    if seen_on is None and _is_here(state, record):
        seen_on = state.gauge.installed_on
    return _years_since(seen_on, record.visited_on)


def _years_since(then: date | None, now: date) -> float:
    return 0.0 if then is None else years_between_days((now - then).days)

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
from typing import Any

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
    here = record.same_site and record.visited_on >= state.gauge.installed_on
    if record.outcome is VisitOutcome.NOT_DONE or not record.checked:
        return replace(state, **_attempt(state, record)) if here else state
    changed: _Changed = {}
    if record.same_site:
        changed |= _blockage(state, record, here=here)
    if record.same_instrument:
        changed |= _drift(state, record, here=here) | _switch(state, record, here=here)
    if here and record.same_instrument:
        changed |= _service(state, record)
    return replace(state, **changed) if changed else state


_Changed = dict[str, Any]
"""Fields of the state with their new values; each cause changes its own, so that one record
replaces the state once."""


def _attempt(state: GaugeState, record: CheckRecord) -> _Changed:
    return {
        "attempts_since_service": state.attempts_since_service + 1,
        "last_visit_on": record.visited_on,
        "last_visit_ref": record.visit_ref,
    }


def _service(state: GaugeState, record: CheckRecord) -> _Changed:
    changed: _Changed = {
        "last_visit_on": record.visited_on,
        "last_visit_ref": record.visit_ref,
    }
    if record.tells_connection:
        changed["left_disconnected"] = record.left_disconnected
        changed["disconnected_ref"] = record.visit_ref if record.left_disconnected else None
    if record.serviced:
        changed["last_service_on"] = record.visited_on
        changed["last_service_ref"] = record.visit_ref
        changed["attempts_since_service"] = 0
        changed["services"] = state.services + 1
    return changed


def _blockage(state: GaugeState, record: CheckRecord, *, here: bool) -> _Changed:
    seen_on = state.site_seen_on or (state.gauge.installed_on if here else None)
    years = 0.0 if state.left_blocked else _years_since(seen_on, record.visited_on)
    still = record.blocked_left or (state.left_blocked and not record.serviced)
    changed: _Changed = {
        "blockage_years": state.blockage_years + years,
        "left_blocked": here and still,
        "site_seen_on": record.visited_on,
    }
    if record.blocked_found and years > 0:
        changed["blockages"] = state.blockages + 1
        changed["blockage_refs"] = (*state.blockage_refs, record.visit_ref)
    return changed


def _drift(state: GaugeState, record: CheckRecord, *, here: bool) -> _Changed:
    changed: _Changed = {}
    found = _measured(record, record.as_found, state)
    left = _measured(record, record.as_left, state)
    if found is not None and state.level_percent is not None and not record.blocked_found:
        years = _years_since(state.level_on, record.visited_on)
        if years > 0:
            amount = found.error.level_percent - state.level_percent
            variance = found.error.variance + state.level_variance
            change = Change(years, amount, variance, record.visit_ref)
            changed["drift"] = (*state.drift, change)
    if here and found is not None:
        changed["last_as_found"] = found
    if here and left is not None:
        changed["last_as_left"] = left
    touched = record.cleaned or record.adjusted
    level = left or (None if touched or record.blocked_found else found)
    if level is not None or touched:
        changed["level_percent"] = None if level is None else level.error.level_percent
        changed["level_variance"] = 0.0 if level is None else level.error.variance
        changed["level_on"] = None if level is None else record.visited_on
    return changed


def _measured(
    record: CheckRecord, runs: PhaseRuns | None, state: GaugeState
) -> MeasuredPhase | None:
    if runs is None:
        return None
    error = phase_error(runs, state.gauge.tip_ml)
    return MeasuredPhase(record.visit_ref, record.visited_on, runs, error)


def _switch(state: GaugeState, record: CheckRecord, *, here: bool) -> _Changed:
    readings = [r for r in (record.switch_found, record.switch_left) if r is not None]
    if not readings:
        return {}
    first, last = readings[0], readings[-1]
    seen_on = state.switch_seen_on or (state.gauge.installed_on if here else None)
    years = 0.0 if state.switch_left_dead else _years_since(seen_on, record.visited_on)
    changed: _Changed = {
        "switch_years": state.switch_years + years,
        "switch_left_dead": last.dead,
        "switch_seen_on": record.visited_on,
    }
    if first.dead and years > 0:
        changed["switch_deaths"] = state.switch_deaths + 1
        changed["switch_death_refs"] = (*state.switch_death_refs, record.visit_ref)
    return changed | _growth(state, record, first) | _resistance(state, record, readings)


def _growth(state: GaugeState, record: CheckRecord, first: SwitchReadings) -> _Changed:
    if first.dead or first.closed_ohm is None or state.switch_ohm is None:
        return {}
    years = _years_since(state.switch_ohm_on, record.visited_on)
    if years <= 0:
        return {}
    amount = log_ohm(first.closed_ohm) - log_ohm(state.switch_ohm)
    change = Change(years, amount, 2 * LOG_OHM_VARIANCE, record.visit_ref)
    return {"switch_growth": (*state.switch_growth, change)}


def _resistance(state: GaugeState, record: CheckRecord, readings: list[SwitchReadings]) -> _Changed:
    last = readings[-1]
    mended = (state.switch_left_dead or readings[0].dead) and not last.dead
    if last.dead or (last.closed_ohm is None and not mended):
        return {}
    read = last.closed_ohm is not None
    return {
        "switch_ohm": last.closed_ohm,
        "switch_ohm_on": record.visited_on if read else None,
        "switch_ohm_ref": record.visit_ref if read else None,
    }


def log_ohm(ohm: float) -> float:
    """Give the natural logarithm of a closed resistance in ohm, floored at the meter's digit."""
    return log(max(ohm, LEAST_OHM))


def _years_since(then: date | None, now: date) -> float:
    return 0.0 if then is None else years_between_days((now - then).days)

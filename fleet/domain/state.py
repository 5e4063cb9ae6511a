"""Everything that the ranking needs of a gauge's history: one state, derived by one function.

The state holds no policy and no fitted parameter, so it changes only when a record of the gauge
changes; it can be kept up visit by visit (`advance`) or derived afresh (`derive_state`), with
the same result.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date
from math import log
from types import SimpleNamespace
from typing import Any, cast

from fleet.domain.check import PhaseError, phase_error
from fleet.domain.code import VisitOutcome, VisitPurpose
from fleet.domain.history import CheckRecord, Gauge, GaugeHistory, PhaseRuns, SwitchReadings
from fleet.domain.repeat import repeat_variance
from fleet.domain.watch import Sign, Watch, ended, struck_refs, years_watched
from fleet.units import years_between_days


@dataclass(frozen=True, slots=True)
class Change:
    """A level that was left at one visit and found at the next, with nothing done between.

    ``amount`` is found minus left: percent of expected tips for drift, natural logarithm of
    ohm for the switch. ``variance`` is the measurement variance of the amount, same unit squared;
    ``found_on`` is the day at the end of the ``years``.
    """

    years: float
    amount: float
    variance: float
    visit_ref: str
    found_on: date


@dataclass(frozen=True, slots=True)
class MeasuredPhase:
    """A phase as it was measured, kept for sentences and evidence.

    ``variance`` is of the level, percent squared, with what disagreeing runs add.
    """

    visit_ref: str
    visited_on: date
    runs: PhaseRuns
    error: PhaseError
    variance: float


@dataclass(frozen=True, slots=True)
class GaugeState:
    """Where one gauge stands after its last record.

    Drift: ``level_percent`` is the error at which the gauge was last known to run, corrected for
    the start state of the buckets (None: nobody measured since something was changed), with its
    ``level_variance`` (percent squared) and day; ``drift`` the changes seen over untouched spells.
    Blockage: ``blockage_watches`` of this site, from its first record on, for an installation may
    be years older and its early failures lost; ``way_clean_on`` the day from which dirt counts.
    What the first record finds blocked is a watch without length. Years spent known to be blocked
    do not count. So for the switch, with ``switch_watches``.
    Switch: ``switch_ohm`` the last closed resistance at the gauge's terminals, ``switch_growth``
    the changes of its logarithm, ``switch_new_on`` the day from which the switch's age counts.
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
    blockage_watches: tuple[Watch, ...] = ()
    left_blocked: bool = False
    site_seen_on: date | None = None
    way_clean_on: date | None = None
    switch_ohm: float | None = None
    switch_ohm_on: date | None = None
    switch_ohm_ref: str | None = None
    switch_growth: tuple[Change, ...] = ()
    switch_watches: tuple[Watch, ...] = ()
    switch_left_dead: bool = False
    switch_seen_on: date | None = None
    switch_new_on: date | None = None
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

    @property
    def blockage_refs(self) -> tuple[str, ...]:
        """Give the visits that found a blockage, of the time watched."""
        return struck_refs(self.blockage_watches)

    @property
    def blockage_years(self) -> float:
        """Give the years over which this site was watched for blockage."""
        return years_watched(self.blockage_watches)

    @property
    def switch_death_refs(self) -> tuple[str, ...]:
        """Give the visits that found the switch failing, of the time watched."""
        return struck_refs(self.switch_watches)

    @property
    def switch_years(self) -> float:
        """Give the years over which the switch was watched."""
        return years_watched(self.switch_watches)


LOG_OHM_VARIANCE = 0.05**2
"""Variance of the logarithm of one closed-resistance reading: 5 % of reading covers a field
meter and its leads. From memory of meter data sheets, not a published limit; enters only the
weight of a reading."""

RENEWED_SHARE = 0.5
"""A switch left with less than this share of the resistance found is taken for a new one: a choice
of this program, no published source."""

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
    draft = SimpleNamespace(**_BLANK, gauge=history.gauge)  # changed in place: a quick fold
    for record in history.records:
        vars(draft).update(_changes(cast("GaugeState", draft), record))
    return GaugeState(**vars(draft))


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
    changed = _changes(state, record)
    return replace(state, **changed) if changed else state


def _changes(state: GaugeState, record: CheckRecord) -> _Changed:
    here = record.same_site and record.visited_on >= state.gauge.installed_on
    if record.outcome is VisitOutcome.NOT_DONE or not record.checked:
        return _attempt(state, record) if here else {}
    changed: _Changed = {}
    if record.same_site:
        changed |= _blockage(state, record, here=here)
    if record.same_instrument:
        changed |= _drift(state, record, here=here) | _switch(state, record)
    if here and record.same_instrument:
        changed |= _service(state, record)
    return changed


_Changed = dict[str, Any]
"""Fields of the state with their new values; each cause changes its own, so that one record
replaces the state once."""

_BLANK = {field.name: field.default for field in fields(GaugeState) if field.name != "gauge"}


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
    still = record.blocked_left or (state.left_blocked and not record.serviced)
    cleared = record.cleaned or (record.blocked_found and not record.blocked_left)
    changed: _Changed = {"left_blocked": here and still, "site_seen_on": record.visited_on}
    if cleared or state.way_clean_on is None:
        changed["way_clean_on"] = record.visited_on
    if not state.left_blocked:
        begun = Sign.BEGUN if record.partly_found else Sign.WELL
        sign = Sign.STRUCK if record.blocked_found else begun
        watches = _watches(state.way_clean_on, state.site_seen_on, sign, record)
        changed["blockage_watches"] = (*state.blockage_watches, *watches)
    return changed


def _watches(
    new_on: date | None, well_on: date | None, sign: Sign, record: CheckRecord
) -> tuple[Watch, ...]:
    """Give the watch that a look ends; what the first look finds struck has no length."""
    day = record.visited_on
    called = record.purpose is VisitPurpose.REPAIR
    if well_on is not None and well_on < day:
        return ended(Watch(new_on or well_on, well_on, day, sign, record.visit_ref, called))
    if well_on is None and sign is Sign.STRUCK:
        return (Watch(day, day, day, sign, record.visit_ref, called),)
    return ()


def _drift(state: GaugeState, record: CheckRecord, *, here: bool) -> _Changed:
    changed: _Changed = {}
    found = _measured(record, record.as_found, state)
    left = _measured(record, record.as_left, state)
    if here and found is not None:
        changed["last_as_found"] = found
    if here and left is not None:
        changed["last_as_left"] = left
    tells = found if _tips_tell_drift(record) else None
    if tells is not None:
        changed |= _change(state, record, tells)
    touched = record.cleaned or record.adjusted
    level = (None if _dead(record.switch_left) else left) or (None if touched else tells)
    if level is not None or touched:
        changed["level_percent"] = None if level is None else level.error.level_percent
        changed["level_variance"] = 0.0 if level is None else level.variance
        changed["level_on"] = None if level is None else record.visited_on
    return changed


def _change(state: GaugeState, record: CheckRecord, found: MeasuredPhase) -> _Changed:
    years = _years_since(state.level_on, record.visited_on)
    if state.level_percent is None or years <= 0:
        return {}
    amount = found.error.level_percent - state.level_percent
    variance = found.variance + state.level_variance
    change = Change(years, amount, variance, record.visit_ref, record.visited_on)
    return {"drift": (*state.drift, change)}


def _tips_tell_drift(record: CheckRecord) -> bool:
    """Tell whether tips as found tell of drift, and not of a blockage or a failing switch."""
    return not record.blocked_found and not _dead(record.switch_found)


def _dead(readings: SwitchReadings | None) -> bool:
    return readings is not None and readings.dead


def _measured(
    record: CheckRecord, runs: PhaseRuns | None, state: GaugeState
) -> MeasuredPhase | None:
    if runs is None:
        return None
    tip_ml = state.gauge.tip_ml
    error, scatter = phase_error(runs, tip_ml), repeat_variance(runs, tip_ml)
    return MeasuredPhase(record.visit_ref, record.visited_on, runs, error, error.variance + scatter)


def _switch(state: GaugeState, record: CheckRecord) -> _Changed:
    readings = [r for r in (record.switch_found, record.switch_left) if r and r.tells_closure]
    if not readings:
        return {}
    first, last = readings[0], readings[-1]
    changed: _Changed = {"switch_left_dead": last.dead, "switch_seen_on": record.visited_on}
    if _renewed(state, first, last) or state.switch_new_on is None:
        changed["switch_new_on"] = record.visited_on
    if not state.switch_left_dead:
        sign = Sign.STRUCK if first.dead else Sign.WELL
        watches = _watches(state.switch_new_on, state.switch_seen_on, sign, record)
        changed["switch_watches"] = (*state.switch_watches, *watches)
    return changed | _growth(state, record, first) | _resistance(state, record, readings)


def _renewed(state: GaugeState, first: SwitchReadings, last: SwitchReadings) -> bool:
    """Tell whether the switch was mended, or left with much less resistance than found."""
    if last.dead:
        return False
    if first.dead or state.switch_left_dead:
        return True
    if first.closed_ohm is None or last.closed_ohm is None:
        return False
    return last.closed_ohm < RENEWED_SHARE * first.closed_ohm


def _growth(state: GaugeState, record: CheckRecord, first: SwitchReadings) -> _Changed:
    if first.dead or first.closed_ohm is None or state.switch_ohm is None:
        return {}
    years = _years_since(state.switch_ohm_on, record.visited_on)
    if years <= 0:
        return {}
    amount = log_ohm(first.closed_ohm) - log_ohm(state.switch_ohm)
    change = Change(years, amount, 2 * LOG_OHM_VARIANCE, record.visit_ref, record.visited_on)
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

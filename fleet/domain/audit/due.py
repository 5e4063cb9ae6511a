"""Gauges past their due day, and gauges that nobody ever tested."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence, Scoped
from fleet.domain.audit.kept import LastService
from fleet.domain.audit.row import GaugePlace, place_of
from fleet.domain.state import GaugeState, derive_state


@dataclass(frozen=True, slots=True)
class DueTerms:
    """When the next service is, or was, due.

    ``counted_from`` is the last service, or the installation where there was none. The gauge is
    in date on the due day itself and overdue from the day after (``days_overdue`` 1).
    """

    counted_from: date
    interval_days: int
    due_on: date
    days_overdue: int


@dataclass(frozen=True, slots=True)
class OverdueRow:
    """A gauge past its due day."""

    place: GaugePlace
    due: DueTerms
    last_service_ref: str | None
    last_service_by: str
    failed_attempts: int
    policy_basis: str
    sentence: str


@dataclass(frozen=True, slots=True)
class NeverVerifiedRow:
    """A gauge of which no test is on record since it was installed."""

    place: GaugePlace
    installed_on: date
    days_installed: int
    due: DueTerms
    checks: int
    last_visit_ref: str | None
    last_visit_on: date | None
    failed_attempts: int
    policy_basis: str
    sentence: str


def due_terms(evidence: Evidence, gauge: Scoped, counted_from: date, *, as_of: date) -> DueTerms:
    """Give when a gauge is due under the policy in force on the day asked about."""
    interval = evidence.policy(gauge, as_of).service_interval_days
    due_on = counted_from + timedelta(days=interval)
    return DueTerms(counted_from, interval, due_on, max(0, (as_of - due_on).days))


def past_due(evidence: Evidence, as_of: date) -> list[tuple[LastService, DueTerms]]:
    """Give the gauges past their due day with their terms, in the order of the services."""
    return [
        (last, due_terms(evidence, last, last.counted_from, as_of=as_of))
        for last in evidence.services
        if (as_of - last.counted_from).days > evidence.policy(last, as_of).service_interval_days
    ]


def overdue(evidence: Evidence, ask: Ask) -> list[OverdueRow]:
    """List the gauges past their due day, the longest overdue first.

    Parameters
    ----------
    evidence : Evidence
        ``services``, and what is told of those past their due day.
    ask : Ask
        Only ``as_of`` is looked at.

    Returns
    -------
    list of OverdueRow
        In order of days overdue (most first), site and position.
    """
    rows = [
        _overdue_row(evidence, last, due, as_of=ask.as_of)
        for last, due in past_due(evidence, ask.as_of)
    ]
    return sorted(
        rows, key=lambda row: (-row.due.days_overdue, row.place.site_code, row.place.position)
    )


def _overdue_row(
    evidence: Evidence, last: LastService, due: DueTerms, *, as_of: date
) -> OverdueRow:
    told = evidence.told[last.installation_id]
    return OverdueRow(
        place=GaugePlace(
            site_code=last.site_code,
            site_name=told.site_name,
            depot_code=last.depot_code,
            position=told.position,
            serial=told.serial,
            type_code=last.type_code,
        ),
        due=due,
        last_service_ref=told.visit_ref,
        last_service_by=told.by,
        failed_attempts=told.failed_attempts,
        policy_basis=evidence.policy(last, as_of).basis,
        sentence=_overdue_words(told.visit_ref, due, as_of) + _attempt_words(told.failed_attempts),
    )


def _overdue_words(visit_ref: str | None, due: DueTerms, as_of: date) -> str:
    start = f"Last serviced on {due.counted_from} (visit {visit_ref})"
    if visit_ref is None:
        start = f"Never serviced since its installation on {due.counted_from}"
    return (
        f"{start}: {_days(due.interval_days)} of interval ended on {due.due_on}, "
        f"{_days(due.days_overdue)} before {as_of}."
    )


def never_verified(evidence: Evidence, ask: Ask) -> list[NeverVerifiedRow]:
    """List the gauges of which no test run is on record since their installation.

    Parameters
    ----------
    evidence : Evidence
        Gauges that stand there on the day count.
    ask : Ask
        Only ``as_of`` is looked at.

    Returns
    -------
    list of NeverVerifiedRow
        In order of site and position.
    """
    return [
        _never_row(evidence, audited, state, ask.as_of)
        for audited in evidence.standing()
        for state in (derive_state(audited.history),)
        if state.never_verified
    ]


def _never_row(
    evidence: Evidence, audited: AuditedGauge, state: GaugeState, as_of: date
) -> NeverVerifiedRow:
    since = audited.gauge.installed_on
    days = (as_of - since).days
    checks = len(audited.checks())
    words = (
        f"Installed on {since}, {_days(days)} ago; no test run as found or as left is on record "
        f"since then, in {checks} check{'' if checks == 1 else 's'}."
    )
    return NeverVerifiedRow(
        place=place_of(audited),
        installed_on=since,
        days_installed=days,
        due=due_terms(evidence, state.gauge, state.serviced_or_installed_on, as_of=as_of),
        checks=checks,
        last_visit_ref=state.last_visit_ref,
        last_visit_on=state.last_visit_on,
        failed_attempts=state.attempts_since_service,
        policy_basis=evidence.policy(state.gauge, as_of).basis,
        sentence=words + _attempt_words(state.attempts_since_service),
    )


def _attempt_words(attempts: int) -> str:
    if attempts == 0:
        return ""
    return f" {attempts} attempt{'' if attempts == 1 else 's'} since then failed."


def _days(days: int) -> str:
    return f"{days} day{'' if days == 1 else 's'}"

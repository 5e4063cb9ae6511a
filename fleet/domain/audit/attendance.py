"""Gauges left off their logger, and visits that failed: what was left undone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import (
    Ask,
    AuditedCheck,
    AuditedGauge,
    Evidence,
    asked_checks,
    is_check,
)
from fleet.domain.audit.made_good import MadeGood, first_record
from fleet.domain.audit.row import GaugePlace, VisitSeen, place_of, row_order, visit_of
from fleet.domain.code import VisitOutcome
from fleet.domain.history import CheckRecord


@dataclass(frozen=True, slots=True)
class DisconnectedRow:
    """A check that does not prove that the gauge was put back on its logger.

    ``restoration`` is what the record says: ``not_proven`` or ``not_stated``.
    """

    place: GaugePlace
    visit: VisitSeen
    isolated: bool
    tested: bool
    restoration: str
    days_open: int
    made_good: MadeGood
    sentence: str


@dataclass(frozen=True, slots=True)
class AttemptRow:
    """A visit that did not do what it was for, seen from one gauge."""

    place: GaugePlace
    visit: VisitSeen
    purpose: str
    not_done_reason: str | None
    reached: bool
    days_open: int
    made_good: MadeGood
    sentence: str


def left_disconnected(evidence: Evidence, ask: Ask) -> list[DisconnectedRow]:
    """List the gauges whose reconnection is not proven.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` only what no later check proves to be mended; with it every such check
        from that day on.

    Returns
    -------
    list of DisconnectedRow
        In order of site, position and day.
    """
    checks = asked_checks(evidence, ask, lambda _, record: record.left_disconnected)
    rows = [_disconnected_row(check, ask.as_of) for check in checks]
    return [row for row in rows if ask.since is not None or row.made_good.made_good_on is None]


def _disconnected_row(check: AuditedCheck, as_of: date) -> DisconnectedRow:
    record = check.record
    made_good = first_record(
        check.audited, check.later, lambda later: later.restoration_proven is True
    )
    stated = record.restoration_proven is not None
    says = "says that it was not proven" if stated else "does not say"
    words = f"Visit {record.visit_ref} {says} that tips reach the logger again."
    return DisconnectedRow(
        place=place_of(check.audited),
        visit=visit_of(record),
        isolated=record.isolated,
        tested=record.as_found is not None or record.as_left is not None,
        restoration="not_proven" if stated else "not_stated",
        days_open=((made_good.made_good_on or as_of) - record.visited_on).days,
        made_good=made_good,
        sentence=f"{words} {made_good.words}",
    )


def attempts(evidence: Evidence, ask: Ask) -> list[AttemptRow]:
    """List the visits that failed for a gauge.

    Parameters
    ----------
    evidence : Evidence
        Gauges of one site are looked at together: a visit partly done reached some of them.
    ask : Ask
        Without ``since`` only attempts that no service on the same day or later made good, at
        gauges that stand there; with it every failed attempt from that day on.

    Returns
    -------
    list of AttemptRow
        In order of site, position, day and visit.
    """
    rows = [
        row
        for site in _by_site(evidence.gauges)
        for audited in site
        if audited.stands or ask.since is not None
        for record in _failed_visits(audited, site, ask.since)
        for row in (_attempt_row(audited, record, ask.as_of),)
        if ask.since is not None or row.made_good.made_good_on is None
    ]
    return sorted(rows, key=lambda row: row_order(row.place, row.visit))


def _by_site(gauges: Iterable[AuditedGauge]) -> list[list[AuditedGauge]]:
    sites: dict[str, list[AuditedGauge]] = defaultdict(list)
    for audited in gauges:
        sites[audited.gauge.site_code].append(audited)
    return list(sites.values())


def _failed_visits(
    audited: AuditedGauge, site: list[AuditedGauge], since: date | None
) -> list[CheckRecord]:
    """Give the visits of a site, not done or in part, in which the gauge was not serviced."""
    serviced = {record.visit_ref for record in audited.checks() if record.serviced}
    visits = {
        record.visit_ref: record
        for other in (*(one for one in site if one is not audited), audited)
        for record in other.history.records
        if record.same_site and record.outcome is not VisitOutcome.DONE
    }
    first = max(audited.gauge.installed_on, since or date.min)
    last = audited.removed_on or date.max
    return [
        record
        for ref, record in visits.items()
        if first <= record.visited_on <= last and ref not in serviced
    ]


def _attempt_row(audited: AuditedGauge, record: CheckRecord, as_of: date) -> AttemptRow:
    made_good = first_record(
        audited,
        audited.checks(),
        lambda later: later.serviced and later.visited_on >= record.visited_on,
    )
    reached = is_check(record) and record.serial == audited.gauge.serial
    reason = None if record.not_done_reason is None else record.not_done_reason.value
    why = "no reason given" if reason is None else reason.replace("_", " ")
    what = "reached but not serviced" if reached else "not reached"
    return AttemptRow(
        place=place_of(audited),
        visit=visit_of(record),
        purpose=record.purpose.value,
        not_done_reason=reason,
        reached=reached,
        days_open=((made_good.made_good_on or as_of) - record.visited_on).days,
        made_good=made_good,
        sentence=(f"On {record.visited_on} the gauge was {what} ({why}). {made_good.words}"),
    )

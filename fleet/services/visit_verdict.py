"""What the policy says of recorded visits: as found, as left, the switch, each with its reason."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from fleet.domain.check import judge
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord, Gauge, SwitchReadings
from fleet.domain.policy import Policy, PolicyBook
from fleet.domain.switch import judge_switch
from fleet.store.queries.check import kept_checks
from fleet.store.queries.gauge import installed_gauges
from fleet.store.queries.policy import policy_book


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One thing to be told of a visit: its outcome, a verdict, a follow-up."""

    visit_ref: str
    visited_on: date
    site_code: str
    serial: str
    subject: str
    result: str
    reason: str


def visit_verdicts(session: Session, visit_refs: Collection[str]) -> list[VisitLine]:
    """Judge every check of some visits.

    Parameters
    ----------
    session : Session
        Only read from; also before its transaction is committed.
    visit_refs : collection of str
        Current versions are judged.

    Returns
    -------
    list of VisitLine
        In order of day and arrival: a line for the visit itself, then for each gauge as found,
        as left, switch as found, switch as left, by the policy in force on the day of the
        visit. Not measured is a verdict of its own, never a pass.
    """
    book = policy_book(session)
    lines: list[VisitLine] = []
    told: set[str] = set()
    for check in kept_checks(session, as_of=date.max, visit_refs=visit_refs):
        record = check.record
        if record.visit_ref not in told:
            told.add(record.visit_ref)
            lines.append(_outcome(record))
        if record.checked:
            lines += _check_lines(record, _gauge_of(session, record), book)
    return lines


def _outcome(record: CheckRecord) -> VisitLine:
    reason = str(record.not_done_reason or "")
    return _line(record, "", "visit", (str(record.outcome), reason))


def _gauge_of(session: Session, record: CheckRecord) -> Gauge | None:
    """Find the gauge as it stood there, also one that was taken away on that day."""
    day = record.visited_on
    there = installed_gauges(session, as_of=day, since=day, site_codes=[record.site_code])
    return next((i.gauge for i in there if i.gauge.serial == record.serial), None)


def _check_lines(record: CheckRecord, gauge: Gauge | None, book: PolicyBook) -> Iterable[VisitLine]:
    if gauge is None:
        reason = f"No installation says that it stood at {record.site_code} on that day."
        yield _line(record, record.serial, "check", ("not_judged", reason))
        return
    policy = book.in_force(
        type_code=gauge.type_code, site_code=gauge.site_code, on=record.visited_on
    )
    yield from _phase_lines(record, gauge, policy)
    for phase, readings in (
        (Phase.AS_FOUND, record.switch_found),
        (Phase.AS_LEFT, record.switch_left),
    ):
        judged = judge_switch(readings, policy=policy, phase=phase)
        reason = f"{judged.reason}{_unjudged(readings)}"
        yield _line(record, record.serial, f"switch_{phase}", (judged.verdict, reason))
    if record.left_disconnected:
        reason = "Nothing proves that it was put back on its logger."
        yield _line(record, record.serial, "reconnection", ("not_proven", reason))


def _unjudged(readings: SwitchReadings | None) -> str:
    """Say that a closed reading could not be judged, so that a pass does not seem to hold it."""
    if readings is None or readings.measured_at is None or readings.no_closure:
        return ""
    if readings.closed_ohm is not None:
        return ""
    return (
        " The closed resistance was read at the logger; the cable's loop resistance is not on "
        "record, so it is not judged."
    )


def _phase_lines(record: CheckRecord, gauge: Gauge, policy: Policy) -> Iterable[VisitLine]:
    for phase, runs in ((Phase.AS_FOUND, record.as_found), (Phase.AS_LEFT, record.as_left)):
        judged = judge(
            runs, gauge.tip_ml, policy=policy, phase=phase, test_volume_ml=gauge.test_volume_ml
        )
        yield _line(record, record.serial, phase, (judged.verdict, judged.reason))


def _line(record: CheckRecord, serial: str, subject: str, told: tuple[str, str]) -> VisitLine:
    return VisitLine(
        visit_ref=record.visit_ref,
        visited_on=record.visited_on,
        site_code=record.site_code,
        serial=serial,
        subject=str(subject),
        result=str(told[0]),
        reason=told[1],
    )

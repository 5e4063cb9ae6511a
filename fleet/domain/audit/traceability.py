"""Test equipment without a certificate on the day, and people without the skill on the day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import (
    Ask,
    AuditedCheck,
    Evidence,
    asked_checks,
)
from fleet.domain.audit.kept import (
    CertificateSpan,
    DeviceUse,
    SkillSpan,
)
from fleet.domain.audit.row import GaugePlace, VisitSeen, place_of, row_order, visit_of


@dataclass(frozen=True, slots=True)
class DeviceRow:
    """Test equipment that no certificate covered on the day it was used.

    ``certificate_number`` and ``certificate_until`` are of the newest one that began before;
    ``next_certificate_from`` is when a later one began. All are missing where there is none, and
    where no equipment is named.
    """

    place: GaugePlace
    visit: VisitSeen
    device_code: str | None
    device_kind: str | None
    device_serial: str | None
    runs: int
    readings: int
    certificate_number: str | None
    certificate_until: date | None
    days_out_of_date: int | None
    next_certificate_from: date | None
    sentence: str


@dataclass(frozen=True, slots=True)
class UnqualifiedRow:
    """A visit to a site that asks for a skill, by people of whom none held it that day."""

    place: GaugePlace
    visit: VisitSeen
    required_skill: str
    held_until: date | None
    sentence: str


def device_out_of_date(evidence: Evidence, ask: Ask) -> list[DeviceRow]:
    """List the test equipment that was used without a certificate in force on that day.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` the latest check of each gauge that stands there in which equipment
        was used.

    Returns
    -------
    list of DeviceRow
        One a check and device; test runs that name no device make a row too. In order of site,
        position, day and device.
    """
    uses: dict[tuple[str, str], list[DeviceUse]] = defaultdict(list)
    for use in evidence.device_uses:
        uses[use.visit_ref, use.serial].append(use)
    spans: dict[str, list[CertificateSpan]] = defaultdict(list)
    for span in sorted(evidence.certificates, key=lambda span: (span.valid_from, span.valid_until)):
        spans[span.device_code].append(span)
    checks = asked_checks(
        evidence, ask, lambda _, record: (record.visit_ref, record.serial) in uses
    )
    rows = [
        _device_row(check, use, spans.get(use.device_code or "", ()))
        for check in checks
        for use in uses[check.record.visit_ref, check.record.serial]
        if not _in_date(use, spans, check.record.visited_on)
    ]
    return sorted(rows, key=lambda row: (row_order(row.place, row.visit), row.device_code or ""))


def _in_date(use: DeviceUse, spans: dict[str, list[CertificateSpan]], day: date) -> bool:
    if use.device_code is None:
        return use.runs == 0
    return any(span.valid_from <= day <= span.valid_until for span in spans[use.device_code])


def _device_row(check: AuditedCheck, use: DeviceUse, spans: Sequence[CertificateSpan]) -> DeviceRow:
    day = check.record.visited_on
    before = [span for span in spans if span.valid_until < day]
    last = max(before, key=lambda span: span.valid_until) if before else None
    following = [span.valid_from for span in spans if span.valid_from > day]
    named = use.device_code is not None
    return DeviceRow(
        place=place_of(check.audited),
        visit=visit_of(check.record),
        device_code=use.device_code,
        device_kind=use.kind if named else None,
        device_serial=use.device_serial if named else None,
        runs=use.runs,
        readings=use.readings,
        certificate_number=None if last is None else last.certificate_number,
        certificate_until=None if last is None else last.valid_until,
        days_out_of_date=None if last is None else (day - last.valid_until).days,
        next_certificate_from=min(following) if following else None,
        sentence=_device_words(use, last, day),
    )


def _device_words(use: DeviceUse, last: CertificateSpan | None, day: date) -> str:
    if use.device_code is None:
        return (
            f"Runs on {day} without any test equipment named ({use.runs}): nothing shows that "
            "it was in date."
        )
    used = f"{use.device_code} was used on {day} (runs {use.runs}, switch readings {use.readings})"
    if last is None:
        return f"{used} with no certificate on record that had begun by then."
    late = (day - last.valid_until).days
    return (
        f"{used}, {late} day{'' if late == 1 else 's'} after its certificate "
        f"{last.certificate_number} ended on {last.valid_until}."
    )


def unqualified(evidence: Evidence, ask: Ask) -> list[UnqualifiedRow]:
    """List the checks at sites that ask for a skill which nobody there held on the day.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` the latest check of each gauge that stands there.

    Returns
    -------
    list of UnqualifiedRow
        In order of site, position and day. ``held_until`` is when a skill of somebody there
        last ended, missing where none of them had held it before.
    """
    checks = asked_checks(evidence, ask, lambda audited, _: audited.required_skill is not None)
    return [
        _unqualified_row(evidence.skills, check)
        for check in checks
        if not any(
            span.valid_from <= check.record.visited_on <= (span.valid_until or date.max)
            for span in _crew_spans(evidence.skills, check)
        )
    ]


def _crew_spans(skills: Sequence[SkillSpan], check: AuditedCheck) -> list[SkillSpan]:
    return [
        span
        for span in skills
        if span.skill == check.audited.required_skill
        and span.technician_code in check.record.technicians
    ]


def _unqualified_row(skills: Sequence[SkillSpan], check: AuditedCheck) -> UnqualifiedRow:
    record, skill = check.record, check.audited.required_skill or ""
    ended = [
        span.valid_until
        for span in _crew_spans(skills, check)
        if span.valid_until is not None and span.valid_until < record.visited_on
    ]
    held_until = max(ended) if ended else None
    crew = " ".join(record.technicians)
    words = f"The site asks for {skill!r}; on {record.visited_on} nobody there held it ({crew})"
    if not crew:
        words = f"The site asks for {skill!r}; the visit of {record.visited_on} names nobody"
    words += "." if held_until is None else f"; it was last held until {held_until}."
    return UnqualifiedRow(place_of(check.audited), visit_of(record), skill, held_until, words)

"""Test equipment that runs out, and what a bad device leaves to be checked again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.domain.audit.evidence import Ask, Evidence
from fleet.domain.audit.kept import CertificateSpan, DeviceKept

AHEAD_DAYS = 60
"""How far ahead certificates are looked at unless told otherwise: a choice of this program."""

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class CertificateRow:
    """A device whose certificate ends, ended, or never was.

    ``in_date_until`` is the last day without a gap from the day asked about; missing where it is
    out of date already. ``days_left`` is negative by the days since it ended. ``used`` counts the
    checks of the last 365 days in which it was used.
    """

    device_code: str
    kind: str
    description: str
    serial: str
    certificate_number: str | None
    in_date_until: date | None
    ended_on: date | None
    days_left: int | None
    used: int
    last_used_on: date | None
    last_visit_ref: str | None
    sentence: str


def certificates_due(evidence: Evidence, ask: Ask) -> list[CertificateRow]:
    """List the devices that are out of date, or will be within some days.

    Parameters
    ----------
    evidence : Evidence
        With the register of devices.
    ask : Ask
        ``days`` is how far ahead is looked (default 60), ``codes`` names devices; none is all.

    Returns
    -------
    list of CertificateRow
        Out of date first, then by the day on which the certificate ends, then by device.
    """
    ahead = AHEAD_DAYS if ask.days is None else ask.days
    spans: dict[str, list[CertificateSpan]] = defaultdict(list)
    for span in evidence.certificates:
        spans[span.device_code].append(span)
    used = _uses(evidence)
    rows = [
        _row(device, spans[device.device_code], used[device.device_code], as_of=ask.as_of)
        for device in evidence.devices
        if not ask.codes or device.device_code in ask.codes
    ]
    last = ask.as_of + timedelta(days=ahead)
    due = [row for row in rows if row.in_date_until is None or row.in_date_until <= last]
    return sorted(due, key=lambda row: (row.in_date_until or date.min, row.device_code))


def covered_until(spans: Iterable[CertificateSpan], day: date) -> CertificateSpan | None:
    """Give the certificate with which an unbroken chain that holds on a day ends, or None."""
    end, last = day - _DAY, None
    for span in sorted(spans, key=lambda span: (span.valid_from, span.valid_until)):
        if span.valid_from <= end + _DAY and span.valid_until > end:
            end, last = span.valid_until, span
    return last


def _uses(evidence: Evidence) -> dict[str, list[tuple[date, str]]]:
    days = {
        record.visit_ref: record.visited_on
        for audited in evidence.gauges
        for record in audited.history.records
    }
    used: dict[str, list[tuple[date, str]]] = defaultdict(list)
    for use in evidence.device_uses:
        if use.device_code is not None and use.visit_ref in days:
            used[use.device_code].append((days[use.visit_ref], use.visit_ref))
    return used


def _row(
    device: DeviceKept,
    spans: Sequence[CertificateSpan],
    used: Sequence[tuple[date, str]],
    *,
    as_of: date,
) -> CertificateRow:
    chain = covered_until(spans, as_of)
    ended = [span for span in spans if span.valid_until < as_of]
    shown = chain or (max(ended, key=lambda span: span.valid_until) if ended else None)
    until = None if chain is None else chain.valid_until
    ended_on = shown.valid_until if shown is not None and chain is None else None
    last_used_on, last_ref = max(used) if used else (None, None)
    return CertificateRow(
        device_code=device.device_code,
        kind=device.kind.value,
        description=device.description,
        serial=device.serial,
        certificate_number=None if shown is None else shown.certificate_number,
        in_date_until=until,
        ended_on=ended_on,
        days_left=None if shown is None else (shown.valid_until - as_of).days,
        used=sum(day > as_of - timedelta(days=365) for day, _ in used),
        last_used_on=last_used_on,
        last_visit_ref=last_ref,
        sentence=_words(device.device_code, shown, until, as_of),
    )


def _words(code: str, shown: CertificateSpan | None, until: date | None, as_of: date) -> str:
    if shown is None:
        return f"{code} has no certificate on record that had begun by {as_of}."
    days = abs((shown.valid_until - as_of).days)
    count = f"{days} day{'' if days == 1 else 's'}"
    if until is None:
        return (
            f"{code} is out of date: certificate {shown.certificate_number} ended on "
            f"{shown.valid_until}, {count} before {as_of}. Not to be used until it is renewed."
        )
    return f"{code} is in date until {until}, {count} from {as_of} ({shown.certificate_number})."

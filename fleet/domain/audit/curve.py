"""How many gauges were in date, day by day."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.domain.audit.evidence import AuditedGauge, Evidence


@dataclass(frozen=True, slots=True)
class InDatePoint:
    """A day: how many gauges stood there, and how many of them were in date."""

    day: date
    in_date: int
    standing: int


def in_date_curve(evidence: Evidence, days: Iterable[date]) -> list[InDatePoint]:
    """Count the gauges in date on each of some days.

    Parameters
    ----------
    evidence : Evidence
    days : iterable of date
        None after the day asked about.

    Returns
    -------
    list of InDatePoint
        In the order of the days. A gauge is in date until its due day, that day included, by the
        policy in force on the day looked at.
    """
    services = [(audited, _services(audited)) for audited in evidence.gauges]
    return [_point(evidence, services, day) for day in days]


def _services(audited: AuditedGauge) -> list[date]:
    return [record.visited_on for record in audited.checks() if record.serviced]


def _point(
    evidence: Evidence, services: Sequence[tuple[AuditedGauge, list[date]]], day: date
) -> InDatePoint:
    standing = in_date = 0
    for audited, serviced in services:
        gauge = audited.gauge
        if not gauge.installed_on <= day < (audited.removed_on or date.max):
            continue
        at = bisect_right(serviced, day)
        last = serviced[at - 1] if at else gauge.installed_on
        interval = evidence.policy(gauge, day).service_interval_days
        standing += 1
        in_date += day <= last + timedelta(days=interval)
    return InDatePoint(day, in_date, standing)

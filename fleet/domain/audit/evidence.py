"""What an audit looks at, what is asked of it, and which checks the question is about."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

from fleet.domain.audit.kept import (
    CertificateSpan,
    CheckTimes,
    DeviceKept,
    DeviceUse,
    InstrumentKept,
    KeptAmendment,
    LastService,
    NeighbourAlarm,
    ServiceTold,
    SkillSpan,
)
from fleet.domain.code import Phase, VisitOutcome
from fleet.domain.history import CheckRecord, Gauge, GaugeHistory
from fleet.domain.policy import Policy, PolicyBook

BOTH_PHASES = (Phase.AS_FOUND, Phase.AS_LEFT)


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked.

    Nothing after ``as_of`` is seen. Without ``since`` the question is about where each gauge
    stands on that day; with it, about everything from that day on. ``least`` is how many make a
    pattern, for the questions that look for one; None is the question's own number. ``codes``
    are the serials, or the devices, that are asked about; none is all. ``days`` is how far ahead
    is looked, or how long an instrument may stand in the field; None is the question's own.
    ``off_by_percent`` is what a device is now known to pour beyond its certificate.
    """

    as_of: date
    since: date | None = None
    phases: tuple[Phase, ...] = BOTH_PHASES
    least: int | None = None
    codes: tuple[str, ...] = ()
    days: int | None = None
    off_by_percent: float | None = None

    def __post_init__(self) -> None:
        if self.since is not None and self.since > self.as_of:
            raise ValueError(f"since {self.since} is after as of {self.as_of}")


@dataclass(frozen=True, slots=True)
class AuditedGauge:
    """A gauge with its history and what its site asks of a visitor.

    ``removed_on`` is None while the gauge stands there on the day asked about.
    """

    history: GaugeHistory
    site_name: str
    required_skill: str | None = None
    removed_on: date | None = None
    time_zone: str = "UTC"

    @property
    def gauge(self) -> Gauge:
        """Give the gauge itself."""
        return self.history.gauge

    @property
    def stands(self) -> bool:
        """Tell whether the gauge is installed on the day asked about."""
        return self.removed_on is None

    def checks(self) -> tuple[CheckRecord, ...]:
        """Give the checks of this instrument at this place, from installation to removal."""
        return tuple(
            record
            for record in self.history.records
            if record.same_site
            and record.same_instrument
            and is_check(record)
            and self.gauge.installed_on <= record.visited_on <= (self.removed_on or date.max)
        )


class Scoped(Protocol):
    """What a policy may be narrowed to: a gauge of a type at a site."""

    @property
    def type_code(self) -> str:
        """Give the code of the type."""

    @property
    def site_code(self) -> str:
        """Give the code of the site."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the rules may look at, with nothing later than the day asked about.

    ``gauges`` are those whose histories a question looks at. ``services`` has every gauge that
    stands there, ``told`` by installation what is said of them, and ``installed`` counts them.
    ``times`` has every check by visit and serial; ``counted_days`` the days, rising, on which a
    site's position counted rain that bears no flag. They and what
    follows ``skills`` are there for the questions that use them.
    """

    gauges: tuple[AuditedGauge, ...]
    policies: PolicyBook
    services: tuple[LastService, ...] = ()
    told: Mapping[int, ServiceTold] = field(default_factory=dict)
    installed: int = 0
    device_uses: tuple[DeviceUse, ...] = ()
    certificates: tuple[CertificateSpan, ...] = ()
    skills: tuple[SkillSpan, ...] = ()
    devices: tuple[DeviceKept, ...] = ()
    instruments: tuple[InstrumentKept, ...] = ()
    times: Mapping[tuple[str, str], CheckTimes] = field(default_factory=dict)
    counted_days: Mapping[tuple[str, str], tuple[date, ...]] = field(default_factory=dict)
    alarms: tuple[NeighbourAlarm, ...] = ()
    amendments: tuple[KeptAmendment, ...] = ()

    def policy(self, gauge: Scoped, on: date) -> Policy:
        """Give the policy in force for a gauge on a day."""
        return self.policies.in_force(type_code=gauge.type_code, site_code=gauge.site_code, on=on)

    def standing(self) -> Iterator[AuditedGauge]:
        """Give the gauges that are installed on the day asked about."""
        return (audited for audited in self.gauges if audited.stands)


@dataclass(frozen=True, slots=True)
class AuditedCheck:
    """One check of a gauge, and the checks of the same gauge that came after it."""

    audited: AuditedGauge
    record: CheckRecord
    later: tuple[CheckRecord, ...] = ()

    @property
    def gauge(self) -> Gauge:
        """Give the gauge that was checked."""
        return self.audited.gauge

    @property
    def place_and_day(self) -> tuple[str, str, date, str]:
        """Give what rows are put in order by."""
        gauge = self.gauge
        return gauge.site_code, gauge.position, self.record.visited_on, self.record.visit_ref


Counts = Callable[[AuditedGauge, CheckRecord], bool]


def is_check(record: CheckRecord) -> bool:
    """Tell whether the record is a gauge that was reached, not an attempt that failed."""
    return record.checked and record.outcome is not VisitOutcome.NOT_DONE


def asked_checks(evidence: Evidence, ask: Ask, counts: Counts) -> list[AuditedCheck]:
    """Give the checks that a question is about.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
    counts : callable
        Whether a check has what the question is about. A later check without it does not stand
        in the way of an earlier one with it: what nobody measured lifts nothing.

    Returns
    -------
    list of AuditedCheck
        Without ``since`` the latest check that counts of each gauge that stands there; with it
        each check that counts from that day on, also of gauges since removed. In order of site,
        position, day and visit.
    """
    found: dict[tuple[str, str], AuditedCheck] = {}
    for audited in sorted(evidence.gauges, key=lambda audited: audited.gauge.installed_on):
        if audited.stands or ask.since is not None:
            for check in _of_gauge(audited, ask, counts):
                found[check.record.visit_ref, check.record.serial] = check
    return sorted(found.values(), key=lambda check: check.place_and_day)


def _of_gauge(audited: AuditedGauge, ask: Ask, counts: Counts) -> list[AuditedCheck]:
    checks = audited.checks()
    listed = [
        AuditedCheck(audited, record, checks[number + 1 :])
        for number, record in enumerate(checks)
        if counts(audited, record)
    ]
    if ask.since is None:
        return listed[-1:]
    return [check for check in listed if check.record.visited_on >= ask.since]

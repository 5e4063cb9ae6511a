"""What the records keep beside the checks: equipment, certificates, skills, instruments, times."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fleet.domain.code import DeviceKind, InstrumentStatus, Phase


@dataclass(frozen=True, slots=True)
class DeviceUse:
    """Test equipment used on one gauge in one visit; ``device_code`` is None where none is named.

    ``runs`` and ``readings`` count the test runs and the switch resistances it was used for,
    ``run_phases`` and ``reading_phases`` tell in which phases.
    """

    visit_ref: str
    serial: str
    device_code: str | None
    kind: str
    device_serial: str
    runs: int
    readings: int
    run_phases: frozenset[Phase] = frozenset()
    reading_phases: frozenset[Phase] = frozenset()


@dataclass(frozen=True, slots=True)
class DeviceKept:
    """A piece of test equipment of the register."""

    device_code: str
    kind: DeviceKind
    description: str
    serial: str


@dataclass(frozen=True, slots=True)
class CertificateSpan:
    """A certificate and the days on which it holds, both ends included."""

    device_code: str
    certificate_number: str
    valid_from: date
    valid_until: date


@dataclass(frozen=True, slots=True)
class InstrumentKept:
    """An instrument of the register; ``status`` is what is known of it, without a day."""

    serial: str
    type_code: str
    status: InstrumentStatus
    note: str | None = None


@dataclass(frozen=True, slots=True)
class CheckTimes:
    """When a visit was, and when the gauge was off its logger in it; instants are aware.

    ``utc_offset`` is what the local clock of the visit was ahead of UTC.
    """

    arrived_at: datetime
    departed_at: datetime
    utc_offset: timedelta
    isolated_at: datetime | None = None
    restored_at: datetime | None = None

    @property
    def begins_at(self) -> datetime:
        """Give when the gauge was taken off its logger, or else when somebody came."""
        return self.isolated_at or self.arrived_at

    @property
    def ends_at(self) -> datetime:
        """Give when the gauge was put back on its logger, or else when they left."""
        return self.restored_at or self.departed_at


@dataclass(frozen=True, slots=True)
class NeighbourAlarm:
    """What the neighbours' rain says of a gauge: an alarm, the causes it may have, and since when.

    ``earliest_on`` is the first day on which it may have begun; ``ended_on`` is None while it
    stands. ``causes`` are words such as ``drift``.
    """

    site_code: str
    position: str
    alarm: str
    causes: frozenset[str]
    since_on: date
    earliest_on: date
    ended_on: date | None = None


@dataclass(frozen=True, slots=True)
class LastService:
    """A gauge that stands there and the day of its last service; None where there was none.

    A service cleaned, adjusted or tested the gauge as left, at this place since it was installed.
    """

    installation_id: int
    site_code: str
    type_code: str
    depot_code: str
    installed_on: date
    last_service_on: date | None = None

    @property
    def counted_from(self) -> date:
        """Give the day from which the next service is counted."""
        return self.last_service_on or self.installed_on


@dataclass(frozen=True, slots=True)
class ServiceTold:
    """What is told of a gauge and its last service beside the day.

    ``by`` names the technicians, separated by a space; ``failed_attempts`` came after it.
    """

    site_name: str
    position: str
    serial: str
    visit_ref: str | None
    by: str
    failed_attempts: int


@dataclass(frozen=True, slots=True)
class SkillSpan:
    """A skill of a technician and the days on which it holds; None has no end."""

    technician_code: str
    skill: str
    valid_from: date
    valid_until: date | None


@dataclass(frozen=True, slots=True)
class KeptAmendment:
    """One changed field of one superseded row, as its ledger entry tells it."""

    entry_id: int
    at: datetime
    actor: str
    action: str
    reason: str
    record: str
    key: str
    field: str
    old: str | None
    new: str | None

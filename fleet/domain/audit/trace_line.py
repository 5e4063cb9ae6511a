"""What the records behind an answer are told as: one line for each thing that was written down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class TraceHead:
    """Whose check, when, by whom, and which ledger entry wrote it down."""

    site_code: str
    serial: str | None
    visit_ref: str
    visited_on: date
    arrived_at: datetime
    technicians: str
    ledger_entry: int
    recorded_at: datetime
    recorded_by: str


@dataclass(frozen=True, slots=True)
class TraceDevice:
    """The equipment and the certificate that held on the day, or else the last before it.

    ``in_date`` is yes or no; all are missing where no equipment is named.
    """

    device_code: str | None = None
    device_serial: str | None = None
    certificate_number: str | None = None
    certificate_from: date | None = None
    certificate_until: date | None = None
    in_date: str | None = None


@dataclass(frozen=True, slots=True)
class TraceLine:
    """One thing that was written down: a visit, check, run, reading or finding.

    ``value`` are tips of a run, ohm or tips of a reading; ``volume_ml`` is of a run.
    """

    head: TraceHead
    line: str
    phase: str | None
    number: int | None
    volume_ml: float | None
    value: float | None
    detail: str
    device: TraceDevice

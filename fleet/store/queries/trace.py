"""The records behind an answer: every run, reading and finding of a check."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.audit.trace_line import TraceDevice, TraceHead, TraceLine
from fleet.store.models.instrument import Certificate, Device, DeviceVersion, Instrument
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.people import Technician
from fleet.store.models.site import Site
from fleet.store.models.visit import (
    Finding,
    GaugeCheck,
    SwitchReading,
    TipRun,
    Visit,
    VisitTechnician,
    VisitVersion,
)
from fleet.store.queries.known import known

VISITS_A_QUERY = 500


def trace_lines(
    session: Session,
    checks: Collection[tuple[str, str | None]],
    *,
    known_on: datetime | None = None,
) -> list[TraceLine]:
    """Give everything that was written down of some checks.

    Parameters
    ----------
    session : Session
        Only read from.
    checks : collection of (str, str or None)
        Visit reference and serial; no serial is every gauge of the visit.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    list of TraceLine
        In order of visit day, visit and serial; within a check the check itself, its runs,
        readings and findings. What a visit says of the site is there too.
    """
    wanted: dict[str, set[str | None]] = defaultdict(set)
    for ref, serial in checks:
        wanted[ref].add(serial)
    refs = sorted(wanted)
    equipment = _Equipment(session, known_on)
    lines = [
        line
        for start in range(0, len(refs), VISITS_A_QUERY)
        for line in _Part(session, refs[start : start + VISITS_A_QUERY], known_on).lines(equipment)
        if {line.head.serial, None} & wanted[line.head.visit_ref] or line.head.serial is None
    ]
    return sorted(lines, key=_order)


_LINES = ("visit", "check", "run", "reading", "finding")


def _order(line: TraceLine) -> tuple[Any, ...]:
    head = line.head
    place = _LINES.index(line.line)
    return (
        head.visited_on,
        head.visit_ref,
        head.serial or "",
        place,
        line.phase or "",
        line.number or 0,
    )


class _Equipment:
    """Devices and their certificates, as they were known."""

    def __init__(self, session: Session, known_on: datetime | None) -> None:
        devices = session.execute(
            select(Device.id, Device.code, DeviceVersion.serial)
            .join(DeviceVersion, DeviceVersion.device_id == Device.id)
            .where(known(DeviceVersion, known_on))
            .order_by(Device.id)
        )
        self._devices = {row.id: (row.code, row.serial) for row in devices}
        self._papers: dict[int, list[Certificate]] = defaultdict(list)
        papers = session.execute(
            select(Certificate)
            .where(known(Certificate, known_on))
            .order_by(Certificate.device_id, Certificate.valid_until, Certificate.id)
        )
        for paper in papers.scalars():
            self._papers[paper.device_id].append(paper)

    def on(self, device_id: int | None, day: date) -> TraceDevice:
        """Give a device with the certificate of a day."""
        if device_id is None or device_id not in self._devices:
            return TraceDevice()
        code, serial = self._devices[device_id]
        begun = [paper for paper in self._papers[device_id] if paper.valid_from <= day]
        if not begun:
            return TraceDevice(code, serial, in_date="no")
        paper = begun[-1]
        held = "yes" if paper.valid_until >= day else "no"
        span = (paper.valid_from, paper.valid_until)
        return TraceDevice(code, serial, paper.certificate_number, *span, held)


class _Part:
    """Some visits with all that belongs to them."""

    def __init__(self, session: Session, refs: Sequence[str], known_on: datetime | None) -> None:
        self._session = session
        self._heads = self._read_heads(refs, known_on)
        self._crews = self._read_crews()

    def lines(self, equipment: _Equipment) -> Iterator[TraceLine]:
        """Give the lines of every visit."""
        checks = self._read_checks()
        for version_id, row in self._heads.items():
            if version_id not in checks:
                yield self._line(row, None, "visit", _visit_words(row))
        for version_id, found in checks.items():
            for check in found:
                yield self._line(self._heads[version_id], check.code, "check", _check_words(check))
        by_check = {check.id: (v, check.code) for v, found in checks.items() for check in found}
        yield from self._measured(by_check, equipment)
        yield from self._findings()

    def _read_heads(self, refs: Sequence[str], known_on: datetime | None) -> dict[int, Any]:
        rows = self._session.execute(
            select(
                VisitVersion.id,
                Visit.code,
                Site.code.label("site_code"),
                VisitVersion.visited_on,
                VisitVersion.arrived_at,
                VisitVersion.outcome,
                VisitVersion.not_done_reason,
                VisitVersion.note,
                VisitVersion.entry_id,
                LedgerEntry.at,
                LedgerEntry.actor,
            )
            .join(Visit, Visit.id == VisitVersion.visit_id)
            .join(Site, Site.id == VisitVersion.site_id)
            .join(LedgerEntry, LedgerEntry.id == VisitVersion.entry_id)
            .where(known(VisitVersion, known_on), Visit.code.in_(refs))
            .order_by(VisitVersion.id)
        )
        return {row.id: row for row in rows}

    def _read_crews(self) -> dict[int, list[str]]:
        rows = self._session.execute(
            select(VisitTechnician.visit_version_id, Technician.code)
            .join(Technician, Technician.id == VisitTechnician.technician_id)
            .where(VisitTechnician.visit_version_id.in_(self._heads))
            .order_by(VisitTechnician.id)
        )
        crews: dict[int, list[str]] = defaultdict(list)
        for version_id, code in rows:
            crews[version_id].append(code)
        return crews

    def _read_checks(self) -> dict[int, list[Any]]:
        rows = self._session.execute(
            select(*GaugeCheck.__table__.c, Instrument.code)
            .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
            .where(GaugeCheck.visit_version_id.in_(self._heads))
            .order_by(GaugeCheck.id)
        )
        checks: dict[int, list[Any]] = defaultdict(list)
        for row in rows:
            checks[row.visit_version_id].append(row)
        return checks

    def _measured(
        self, by_check: dict[int, tuple[int, str]], equipment: _Equipment
    ) -> Iterator[TraceLine]:
        kinds: tuple[tuple[str, Any, Any], ...] = (
            ("run", TipRun, _run_words),
            ("reading", SwitchReading, _reading_words),
        )
        for name, model, words in kinds:
            rows = self._session.execute(
                select(model).where(model.gauge_check_id.in_(by_check)).order_by(model.id)
            ).scalars()
            for row in rows:
                version_id, serial = by_check[row.gauge_check_id]
                head = self._heads[version_id]
                device = equipment.on(row.device_id, head.visited_on)
                yield self._line(head, serial, name, words(row), row=row, device=device)

    def _findings(self) -> Iterator[TraceLine]:
        rows = self._session.execute(
            select(*Finding.__table__.c, Instrument.code)
            .outerjoin(Instrument, Instrument.id == Finding.instrument_id)
            .where(Finding.visit_version_id.in_(self._heads))
            .order_by(Finding.id)
        )
        for row in rows:
            head = self._heads[row.visit_version_id]
            words = f"{row.component}: found {row.condition_found}, {row.action}, left "
            words = f"{words}{row.condition_left}".replace("_", " ") + _noted(row.note)
            line = self._line(head, row.code, "finding", words)
            yield TraceLine(
                line.head, "finding", None, row.finding_number, None, None, words, TraceDevice()
            )

    def _line(
        self,
        head: Any,
        serial: str | None,
        name: str,
        detail: str,
        *,
        row: Any = None,
        device: TraceDevice | None = None,
    ) -> TraceLine:
        tips = getattr(row, "tips", None)
        value = tips if tips is not None else getattr(row, "value", None)
        return TraceLine(
            head=TraceHead(
                site_code=head.site_code,
                serial=serial,
                visit_ref=head.code,
                visited_on=head.visited_on,
                arrived_at=head.arrived_at,
                technicians=" ".join(self._crews.get(head.id, ())),
                ledger_entry=head.entry_id,
                recorded_at=head.at,
                recorded_by=head.actor,
            ),
            line=name,
            phase=None if row is None else row.phase.value,
            number=getattr(row, "run_number", None),
            volume_ml=getattr(row, "volume_ml", None),
            value=None if value is None else float(value),
            detail=detail,
            device=device or TraceDevice(),
        )


def _noted(note: str | None) -> str:
    return f" ({note})" if note else ""


def _visit_words(row: Any) -> str:
    why = "" if row.not_done_reason is None else f", {row.not_done_reason}"
    return f"{row.outcome}{why}".replace("_", " ") + _noted(row.note)


def _check_words(row: Any) -> str:
    proven = {True: "reconnection proven", False: "reconnection not proven"}
    parts = [
        "cleaned" if row.cleaned else "not cleaned",
        "adjusted" if row.adjusted else "not adjusted",
        proven.get(row.restoration_proven, "reconnection not stated"),
    ]
    return ", ".join(parts) + (f", parts: {row.parts}" if row.parts else "")


def _run_words(row: Any) -> str:
    time = "" if row.duration_s is None else f", {row.duration_s:g} s"
    return f"tips counted, buckets {row.start_state} at the start{time}"


def _reading_words(row: Any) -> str:
    over = ", over range" if row.over_range else ""
    return f"{row.kind} at {row.measured_at}{over}".replace("_", " ")

"""Test equipment: what it was used on, and between which days its certificates hold."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from fleet.domain.audit.kept import (
    CertificateSpan,
    DeviceKept,
    DeviceUse,
)
from fleet.domain.code import Phase, SwitchReadingKind
from fleet.store.models.instrument import Certificate, Device, DeviceVersion, Instrument
from fleet.store.models.visit import GaugeCheck, SwitchReading, TipRun, Visit, VisitVersion
from fleet.store.queries.known import known

_Use = tuple[str, str, str | None]


def device_uses(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> list[DeviceUse]:
    """Give what test equipment was used on each gauge in each visit.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Last local day of arrival that is seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    list of DeviceUse
        One a visit, instrument and device, in that order; runs and readings that name no device
        are counted under None. Manual tips need no equipment and are not counted.
    """
    seen = known(VisitVersion, known_on) & (VisitVersion.visited_on <= as_of)
    resistance = SwitchReading.kind != SwitchReadingKind.MANUAL_TIPS
    runs = _counts(session, TipRun, seen)
    readings = _counts(session, SwitchReading, seen & resistance)
    named = {device.device_code: device for device in devices(session, known_on=known_on)}
    return [
        _one_use(use, named.get(use[2] or ""), runs.get(use, {}), readings.get(use, {}))
        for use in sorted(runs | readings, key=lambda use: (*use[:2], use[2] or ""))
    ]


def _one_use(
    use: _Use, device: DeviceKept | None, runs: dict[Phase, int], readings: dict[Phase, int]
) -> DeviceUse:
    visit_ref, serial, code = use
    return DeviceUse(
        visit_ref=visit_ref,
        serial=serial,
        device_code=code,
        kind="" if device is None else device.kind.value,
        device_serial="" if device is None else device.serial,
        runs=sum(runs.values()),
        readings=sum(readings.values()),
        run_phases=frozenset(runs),
        reading_phases=frozenset(readings),
    )


def certificate_spans(
    session: Session, *, known_on: datetime | None = None
) -> list[CertificateSpan]:
    """Give every certificate, in order of device, first day and number."""
    rows = session.execute(
        select(
            Device.code,
            Certificate.certificate_number,
            Certificate.valid_from,
            Certificate.valid_until,
        )
        .join(Device, Device.id == Certificate.device_id)
        .where(known(Certificate, known_on))
        .order_by(Device.code, Certificate.valid_from, Certificate.certificate_number)
    )
    return [CertificateSpan(*row) for row in rows]


def devices(session: Session, *, known_on: datetime | None = None) -> list[DeviceKept]:
    """Give every device of the register, in order of code."""
    rows = session.execute(
        select(Device.code, DeviceVersion.kind, DeviceVersion.description, DeviceVersion.serial)
        .join(DeviceVersion, DeviceVersion.device_id == Device.id)
        .where(known(DeviceVersion, known_on))
        .order_by(Device.code)
    )
    return [DeviceKept(*row) for row in rows]


def _counts(
    session: Session, model: type[TipRun] | type[SwitchReading], where: ColumnElement[bool]
) -> dict[_Use, dict[Phase, int]]:
    rows: Any = session.execute(
        select(Visit.code, Instrument.code, Device.code, model.phase, func.count())
        .select_from(model)
        .join(GaugeCheck, GaugeCheck.id == model.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .outerjoin(Device, Device.id == model.device_id)
        .where(where)
        .group_by(Visit.code, Instrument.code, Device.code, model.phase)
    )
    counts: dict[_Use, dict[Phase, int]] = defaultdict(dict)
    for visit_ref, serial, device, phase, count in rows:
        counts[visit_ref, serial, device][phase] = count
    return counts

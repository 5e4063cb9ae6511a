"""Test equipment: what it was used on, and between which days its certificates hold."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from fleet.domain.audit.evidence import CertificateSpan, DeviceUse
from fleet.domain.code import SwitchReadingKind
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
    named = _devices(session, known_on)
    return [
        DeviceUse(
            visit_ref=visit_ref,
            serial=serial,
            device_code=code,
            kind=named[code][0] if code in named else "",
            device_serial=named[code][1] if code in named else "",
            runs=runs[visit_ref, serial, code],
            readings=readings[visit_ref, serial, code],
        )
        for visit_ref, serial, code in sorted(
            runs | readings, key=lambda use: (*use[:2], use[2] or "")
        )
    ]


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


def _counts(
    session: Session, model: type[TipRun] | type[SwitchReading], where: ColumnElement[bool]
) -> Counter[_Use]:
    rows: Any = session.execute(
        select(Visit.code, Instrument.code, Device.code, func.count())
        .select_from(model)
        .join(GaugeCheck, GaugeCheck.id == model.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .outerjoin(Device, Device.id == model.device_id)
        .where(where)
        .group_by(Visit.code, Instrument.code, Device.code)
    )
    return Counter({(visit, serial, device): count for visit, serial, device, count in rows})


def _devices(session: Session, known_on: datetime | None) -> dict[str | None, tuple[str, str]]:
    rows = session.execute(
        select(Device.code, DeviceVersion.kind, DeviceVersion.serial)
        .join(DeviceVersion, DeviceVersion.device_id == Device.id)
        .where(known(DeviceVersion, known_on))
        .order_by(Device.code)
    )
    return {code: (kind.value, serial) for code, kind, serial in rows}

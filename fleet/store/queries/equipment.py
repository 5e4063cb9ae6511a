"""Test equipment with what its newest certificate says."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fleet.domain.form_sheet import FormDevice
from fleet.store.models.instrument import Certificate, Device, DeviceVersion
from fleet.store.models.people import Technician
from fleet.store.models.visit import (
    GaugeCheck,
    SwitchReading,
    TipRun,
    VisitTechnician,
    VisitVersion,
)
from fleet.store.queries.known import known


def device_holders(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> dict[str, dict[str, date]]:
    """Give who used each device, and on which day last.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Visits after this day are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    dict
        Device code to technician code to the day of the last visit with it.
    """
    found: dict[str, dict[str, date]] = {}
    for model in (TipRun, SwitchReading):
        rows = session.execute(
            select(Device.code, Technician.code, func.max(VisitVersion.visited_on))
            .select_from(model)
            .join(Device, Device.id == model.device_id)
            .join(GaugeCheck, GaugeCheck.id == model.gauge_check_id)
            .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
            .join(VisitTechnician, VisitTechnician.visit_version_id == VisitVersion.id)
            .join(Technician, Technician.id == VisitTechnician.technician_id)
            .where(known(VisitVersion, known_on), VisitVersion.visited_on <= as_of)
            .group_by(Device.code, Technician.code)
            .order_by(Device.code, Technician.code)
        )
        for device, technician, day in rows:
            users = found.setdefault(device, {})
            users[technician] = max(day, users.get(technician, day))
    return found


def certified_devices(
    session: Session, *, on: date, known_on: datetime | None = None
) -> list[FormDevice]:
    """Give every device with the certificate that began last on or before a day.

    Parameters
    ----------
    session : Session
        Only read from.
    on : date
        Certificates that begin later are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    list of FormDevice
        In order of code; without volume and validity where there is no certificate yet.
    """
    newest = {
        row.device_id: row
        for row in session.execute(
            select(Certificate)
            .where(known(Certificate, known_on), Certificate.valid_from <= on)
            .order_by(Certificate.valid_from, Certificate.id)
        ).scalars()
    }
    rows = session.execute(
        select(Device.code, DeviceVersion)
        .join(DeviceVersion, DeviceVersion.device_id == Device.id)
        .where(known(DeviceVersion, known_on))
        .order_by(Device.code)
    )
    return [
        FormDevice(
            code=code,
            kind=device.kind,
            description=device.description,
            volume_ml=newest[device.device_id].volume_ml if device.device_id in newest else None,
            valid_until=newest[device.device_id].valid_until
            if device.device_id in newest
            else None,
        )
        for code, device in rows
    ]

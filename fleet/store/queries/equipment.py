"""Test equipment with what its newest certificate says."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.form_sheet import FormDevice
from fleet.store.models.instrument import Certificate, Device, DeviceVersion
from fleet.store.queries.known import known


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

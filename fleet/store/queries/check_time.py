"""When each visit was, and when each gauge was off its logger in it."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.audit.kept import CheckTimes
from fleet.store.models.instrument import Instrument
from fleet.store.models.visit import GaugeCheck, Visit, VisitVersion
from fleet.store.queries.known import known


def check_times(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> dict[tuple[str, str], CheckTimes]:
    """Give the times of every check up to a day.

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
    dict
        By visit reference and serial.
    """
    rows = session.execute(
        select(
            Visit.code,
            Instrument.code,
            VisitVersion.arrived_at,
            VisitVersion.departed_at,
            VisitVersion.utc_offset_minutes,
            GaugeCheck.isolated_at,
            GaugeCheck.restored_at,
        )
        .join(VisitVersion, VisitVersion.visit_id == Visit.id)
        .join(GaugeCheck, GaugeCheck.visit_version_id == VisitVersion.id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .where(known(VisitVersion, known_on), VisitVersion.visited_on <= as_of)
        .order_by(Visit.code, Instrument.code)
    )
    return {
        (ref, serial): CheckTimes(arrived, departed, timedelta(minutes=offset), isolated, restored)
        for ref, serial, arrived, departed, offset, isolated, restored in rows
    }

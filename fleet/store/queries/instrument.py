"""The register of instruments, wherever they are."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.audit.kept import InstrumentKept
from fleet.store.models.instrument import GaugeType, Instrument, InstrumentVersion
from fleet.store.queries.known import known


def instruments(session: Session, *, known_on: datetime | None = None) -> list[InstrumentKept]:
    """Give every instrument with its type and what the register says of it, by serial."""
    rows = session.execute(
        select(Instrument.code, GaugeType.code, InstrumentVersion.status, InstrumentVersion.note)
        .join(InstrumentVersion, InstrumentVersion.instrument_id == Instrument.id)
        .join(GaugeType, GaugeType.id == InstrumentVersion.gauge_type_id)
        .where(known(InstrumentVersion, known_on))
        .order_by(Instrument.code)
    )
    return [InstrumentKept(*row) for row in rows]

"""Words on each instrument's type and area that a card prints."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fleet.store.models.instrument import GaugeTypeVersion, Instrument, InstrumentVersion
from fleet.store.queries.known import known


@dataclass(frozen=True, slots=True)
class TypeWords:
    """Description of a type, and the basis of the area that holds for the instrument."""

    description: str
    area_basis: str


def type_words(session: Session, *, known_on: datetime | None = None) -> dict[str, TypeWords]:
    """Give the words for every instrument by serial."""
    rows = session.execute(
        select(
            Instrument.code,
            GaugeTypeVersion.description,
            func.coalesce(InstrumentVersion.area_basis, GaugeTypeVersion.area_basis),
        )
        .join(
            InstrumentVersion,
            (InstrumentVersion.instrument_id == Instrument.id) & known(InstrumentVersion, known_on),
        )
        .join(
            GaugeTypeVersion,
            (GaugeTypeVersion.gauge_type_id == InstrumentVersion.gauge_type_id)
            & known(GaugeTypeVersion, known_on),
        )
        .order_by(Instrument.code)
    )
    return {serial: TypeWords(description, basis) for serial, description, basis in rows}

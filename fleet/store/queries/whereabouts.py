"""Where each instrument stood on each day."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.store.models.instrument import Installation
from fleet.store.queries.known import Conditions, known


@dataclass(frozen=True, slots=True)
class Place:
    """A position on a site, and the resistance of the loop from there to the logger."""

    site_id: int
    position: str
    loop_ohm: float | None


class Whereabouts:
    """The place of each instrument on each day; on the day of removal it still stood there.

    Parameters
    ----------
    session : Session
        Only read from.
    known_on : datetime or None
        As the records were known then; None is now.
    which : conditions
        Which installations are read; none is all.
    """

    def __init__(self, session: Session, known_on: datetime | None, which: Conditions) -> None:
        rows = session.execute(
            select(
                Installation.instrument_id,
                Installation.installed_on,
                Installation.removed_on,
                Installation.site_id,
                Installation.position,
                Installation.loop_ohm,
            )
            .where(known(Installation, known_on), *which)
            .order_by(Installation.instrument_id, Installation.installed_on)
        )
        self._spans: dict[int, list[tuple[date, date, Place]]] = defaultdict(list)
        for row in rows:
            place = Place(row.site_id, row.position, row.loop_ohm)
            span = (row.installed_on, row.removed_on or date.max, place)
            self._spans[row.instrument_id].append(span)

    def of(self, instrument_id: int | None, day: date) -> Place | None:
        """Give the place of an instrument on a day, the newer one on a day of moving."""
        if instrument_id is None:
            return None
        found = [p for start, end, p in self._spans.get(instrument_id, ()) if start <= day <= end]
        return found[-1] if found else None

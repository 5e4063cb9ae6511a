"""What checks say of a gauge's connection to its logger, without what was measured."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date

from sqlalchemy import exists, or_, select
from sqlalchemy.orm import Session

from fleet.domain.history import proof_missing
from fleet.store.models.instrument import Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitVersion
from fleet.store.queries.known import known

_ROWS_A_FETCH = 5000


@dataclass(frozen=True, slots=True)
class ConnectionWord:
    """What one check says; ``off`` and ``proven`` as `proof_missing` takes them."""

    instrument_id: int
    serial: str
    site_code: str
    visit_ref: str
    visited_on: date
    off: bool
    proven: bool | None

    @property
    def lost(self) -> bool:
        """Tell whether nothing proves that the gauge was put back on its logger."""
        return proof_missing(off=self.off, proven=self.proven)

    @property
    def tells(self) -> bool:
        """Tell whether the check says anything at all of the connection."""
        return self.lost or self.proven is True


def connection_words(
    session: Session, *, instrument_ids: Collection[int] | None = None
) -> Iterator[ConnectionWord]:
    """Give what every check of the current records says of the connection.

    Parameters
    ----------
    session : Session
        Only read from; rows are streamed.
    instrument_ids : collection of int, optional
        Only these instruments; None is every one.

    Yields
    ------
    ConnectionWord
        In order of day, arrival and id.
    """
    tested = exists().where(TipRun.gauge_check_id == GaugeCheck.id)
    of_these = () if instrument_ids is None else (GaugeCheck.instrument_id.in_(instrument_ids),)
    rows = session.execute(
        select(
            GaugeCheck.instrument_id,
            Instrument.code,
            Site.code,
            Visit.code,
            VisitVersion.visited_on,
            or_(GaugeCheck.isolated_at.is_not(None), tested),
            GaugeCheck.restoration_proven,
        )
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Site, Site.id == VisitVersion.site_id)
        .join(Instrument, Instrument.id == GaugeCheck.instrument_id)
        .where(known(VisitVersion, None), *of_these)
        .order_by(VisitVersion.visited_on, VisitVersion.arrived_at, VisitVersion.id, GaugeCheck.id),
        execution_options={"yield_per": _ROWS_A_FETCH},
    )
    for row in rows:
        yield ConnectionWord(*row)

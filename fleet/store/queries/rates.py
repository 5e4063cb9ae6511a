"""The rates that were learned, by the day and the moment asked about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.state import LearnedRates


@dataclass(frozen=True, slots=True)
class KeptRates:
    """Rates as they are on record: their row, the day whose records taught them, the text."""

    rates_id: int
    as_of: date
    text: str


def rates_in_force(
    session: Session, *, as_of: date | None = None, known_on: datetime | None = None
) -> KeptRates | None:
    """Give the rates under which the network is ranked.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date, optional
        Rates learned from records after this day are not seen; None sees all.
    known_on : datetime, optional
        Rates recorded after this instant are not seen; None sees all.

    Returns
    -------
    KeptRates or None
        Those learned last; None where none were learned.
    """
    query = select(LearnedRates.id, LearnedRates.as_of, LearnedRates.rates)
    if as_of is not None:
        query = query.where(LearnedRates.as_of <= as_of)
    if known_on is not None:
        query = query.join(LedgerEntry, LedgerEntry.id == LearnedRates.entry_id)
        query = query.where(LedgerEntry.at <= known_on)
    row = session.execute(query.order_by(LearnedRates.id.desc()).limit(1)).first()
    return None if row is None else KeptRates(row.id, row.as_of, row.rates)

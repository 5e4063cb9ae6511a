"""Entries of the ledger and what each changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from fleet.store.models.all import METADATA
from fleet.store.models.ledger import LedgerChange, LedgerEntry


@dataclass(frozen=True, slots=True)
class KeptEntry:
    """One entry with the number of rows that it added and superseded."""

    entry_id: int
    at: datetime
    actor: str
    action: str
    reason: str
    added: int
    superseded: int
    hash: str


@dataclass(frozen=True, slots=True)
class KeptChange:
    """One change of an entry; ``fields`` is JSON ``{"field": [old, new]}`` or None."""

    number: int
    kind: str
    table: str
    row_count: int
    row_key: str | None
    fields: str | None


def ledger_entries(
    session: Session, *, since: datetime | None = None, entry_id: int | None = None
) -> list[KeptEntry]:
    """Give the entries in order, from an instant on or one alone; None is no filter."""
    counts = {
        kind: func.sum(case((LedgerChange.kind == kind, LedgerChange.row_count), else_=0))
        for kind in ("added", "superseded")
    }
    query = (
        select(LedgerEntry, counts["added"], counts["superseded"])
        .join(LedgerChange, LedgerChange.entry_id == LedgerEntry.id)
        .group_by(LedgerEntry.id)
        .order_by(LedgerEntry.id)
    )
    if since is not None:
        query = query.where(LedgerEntry.at >= since)
    if entry_id is not None:
        query = query.where(LedgerEntry.id == entry_id)
    return [
        KeptEntry(e.id, e.at, e.actor, e.action, e.reason, added, superseded, e.hash)
        for e, added, superseded in session.execute(query)
    ]


def entry_changes(session: Session, entry_id: int) -> list[KeptChange]:
    """Give the changes of an entry in their order."""
    rows = session.execute(
        select(
            LedgerChange.number,
            LedgerChange.kind,
            LedgerChange.table_name,
            LedgerChange.row_count,
            LedgerChange.row_key,
            LedgerChange.fields,
        )
        .where(LedgerChange.entry_id == entry_id)
        .order_by(LedgerChange.number)
    )
    return [KeptChange(*row) for row in rows]


def last_entry(session: Session) -> tuple[int, str] | None:
    """Give number and hash of the newest entry, None while there is none."""
    row = session.execute(
        select(LedgerEntry.id, LedgerEntry.hash).order_by(LedgerEntry.id.desc()).limit(1)
    ).first()
    return None if row is None else (row[0], row[1])


def hashes_of(session: Session, numbers: Iterable[int]) -> dict[int, str]:
    """Give the hashes of some entries by number, of those that are there."""
    rows = session.execute(
        select(LedgerEntry.id, LedgerEntry.hash).where(LedgerEntry.id.in_(sorted(numbers)))
    )
    return {number: found for number, found in rows}


def rows_up_to(session: Session, entry_id: int) -> dict[str, int]:
    """Count the rows that entries up to one wrote, by table, of tables that have any."""
    counts: dict[str, int] = {}
    for name, table in sorted(METADATA.tables.items()):
        if "entry_id" in table.c:
            query = select(func.count()).select_from(table).where(table.c.entry_id <= entry_id)
            counts[name] = session.execute(query).scalar_one()
    return {name: count for name, count in counts.items() if count}


def number_of_hash(session: Session, entry_hash: str) -> int | None:
    """Give the number of the entry with a hash, None where there is none."""
    return session.execute(
        select(LedgerEntry.id).where(LedgerEntry.hash == entry_hash)
    ).scalar_one_or_none()

"""Entries of the ledger and what each changed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from fleet.domain.audit.kept import KeptAmendment
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


def number_of_hash(session: Session, entry_hash: str) -> int | None:
    """Give the number of the entry with a hash, None where there is none."""
    return session.execute(
        select(LedgerEntry.id).where(LedgerEntry.hash == entry_hash)
    ).scalar_one_or_none()


def head_entry(
    session: Session, *, known_on: datetime | None = None
) -> tuple[int, datetime, str] | None:
    """Give number, instant and hash of the newest entry at an instant; None is now."""
    query = select(LedgerEntry.id, LedgerEntry.at, LedgerEntry.hash)
    if known_on is not None:
        query = query.where(LedgerEntry.at <= known_on)
    row = session.execute(query.order_by(LedgerEntry.id.desc()).limit(1)).first()
    return None if row is None else (row.id, row.at, row.hash)


def amended_fields(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> list[KeptAmendment]:
    """Give every field that was changed by superseding a row.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Last day, in UTC, of the changes that are seen.
    known_on : datetime, optional
        Changes made after this instant are not seen; None is now.

    Returns
    -------
    list of KeptAmendment
        In order of entry, change and field.
    """
    end = datetime.combine(as_of, time.max, tzinfo=UTC)
    rows = session.execute(
        select(LedgerEntry, LedgerChange)
        .join(LedgerChange, LedgerChange.entry_id == LedgerEntry.id)
        .where(
            LedgerChange.kind == "superseded",
            LedgerEntry.at <= (end if known_on is None else min(end, known_on)),
        )
        .order_by(LedgerEntry.id, LedgerChange.number)
    )
    return [
        KeptAmendment(
            entry_id=entry.id,
            at=entry.at,
            actor=entry.actor,
            action=entry.action,
            reason=entry.reason,
            record=change.table_name.removesuffix("_version"),
            key=change.row_key or "",
            field=name,
            old=_word(old),
            new=_word(new),
        )
        for entry, change in rows
        for name, (old, new) in sorted(json.loads(change.fields or "{}").items())
    ]


def _word(value: object) -> str | None:
    """Write a value of a change; nothing is None."""
    if value is None or value == []:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)

"""Hold the records against their ledger: every hash, every row, every closing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Table, and_, func, or_, select
from sqlalchemy.orm import Session

from fleet.store.base import table_of
from fleet.store.digest import GENESIS, canonical_value, entry_hash
from fleet.store.journal import digest_of, entry_head
from fleet.store.models.all import METADATA
from fleet.store.models.ledger import LedgerChange, LedgerEntry

_ENTRIES_A_PAGE = 500
_ROWS_A_FETCH = 2000
_CHANGE_NAMES = (
    "number",
    "kind",
    "table_name",
    "row_count",
    "row_id",
    "row_key",
    "digest",
    "fields",
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that does not fit; ``table`` is the table that is wrong, or the ledger's own.

    ``entry_id`` is None where no single entry can be named, as with a guard that is gone.
    """

    entry_id: int | None
    table: str
    text: str

    def __str__(self) -> str:
        entry = "" if self.entry_id is None else f"entry {self.entry_id}, "
        return f"{entry}{self.table}: {self.text}"

    @property
    def order(self) -> float:
        """Give a key that sorts by entry, what has none last."""
        return math.inf if self.entry_id is None else self.entry_id


def verify_ledger(session: Session) -> list[Fault]:
    """Recompute the whole ledger from the rows that are there.

    Checked are: the numbers of the entries without a gap, their instants in order, the hash of
    each over its head and changes, the chain of hashes, the digest of the rows that each entry
    added, the closing of each row that it superseded; and that no row or closing stands there of
    which the ledger knows nothing.

    Parameters
    ----------
    session : Session
        Only read from; rows are streamed, so memory does not grow with the records. Nobody may
        be seen writing meanwhile: use one snapshot.

    Returns
    -------
    list of Fault
        The first entry that does not fit first; empty when everything fits.
    """
    faults = [
        *_chain_faults(session),
        *(fault for table in _kept_tables() for fault in _stray_faults(session, table)),
        *_orphan_faults(session),
    ]
    return sorted(faults, key=lambda fault: fault.order)


def _chain_faults(session: Session) -> Iterator[Fault]:
    last: Mapping[str, Any] = {"id": 0, "hash": GENESIS, "at": None}
    for entry, changes in _entries(session):
        number = entry["id"]
        for missing in range(last["id"] + 1, min(number, last["id"] + 2)):
            yield Fault(missing, "ledger_entry", f"missing; the next that is there is {number}")
        if entry["previous_hash"] != last["hash"]:
            yield Fault(number, "ledger_entry", "does not carry the hash of the entry before")
        if last["at"] is not None and entry["at"] <= last["at"]:
            yield Fault(number, "ledger_entry", "is not later than the entry before")
        plain = [{name: change[name] for name in _CHANGE_NAMES} for change in changes]
        if entry["hash"] != entry_hash(entry_head(entry), plain):
            yield Fault(number, "ledger_entry", "entry or its changes differ from its own hash")
        for change in changes:
            yield from _change_faults(session, entry, change)
        last = entry


def _entries(session: Session) -> Iterator[tuple[Mapping[str, Any], Sequence[Mapping[str, Any]]]]:
    last = -1
    while True:
        page = session.execute(
            select(*table_of(LedgerEntry).c)
            .where(LedgerEntry.id > last)
            .order_by(LedgerEntry.id)
            .limit(_ENTRIES_A_PAGE)
        )
        entries = [dict(row) for row in page.mappings()]
        if not entries:
            return
        for entry in entries:
            changes = session.execute(
                select(*table_of(LedgerChange).c)
                .where(LedgerChange.entry_id == entry["id"])
                .order_by(LedgerChange.number)
            )
            yield entry, [dict(row) for row in changes.mappings()]
        last = entries[-1]["id"]


def _change_faults(
    session: Session, entry: Mapping[str, Any], change: Mapping[str, Any]
) -> Iterator[Fault]:
    table = METADATA.tables.get(change["table_name"])
    if table is None or "entry_id" not in table.c:
        yield Fault(entry["id"], change["table_name"], "there is no such table of records")
    elif change["kind"] == "added":
        yield from _added_faults(session, table, entry["id"], change)
    else:
        yield from _closing_faults(session, table, entry, change)


def _added_faults(
    session: Session, table: Table, entry_id: int, change: Mapping[str, Any]
) -> Iterator[Fault]:
    rows = session.execute(
        select(*table.c).where(table.c.entry_id == entry_id).order_by(table.c.id),
        execution_options={"yield_per": _ROWS_A_FETCH},
    )
    digest = digest_of(table)
    names = list(rows.keys())
    try:
        for part in rows.partitions():
            digest.add(dict(zip(names, zip(*part, strict=True), strict=True)))
    except (LookupError, TypeError, ValueError) as error:
        yield Fault(entry_id, table.name, f"a row cannot be read: {error}")
        return
    if digest.text != change["digest"]:
        yield Fault(
            entry_id,
            table.name,
            f"the rows of this entry ({change['row_count']} were written) are not as written",
        )


def _closing_faults(
    session: Session, table: Table, entry: Mapping[str, Any], change: Mapping[str, Any]
) -> Iterator[Fault]:
    row = (
        session.execute(
            select(table.c.known_until, table.c.closing_entry_id).where(
                table.c.id == change["row_id"]
            )
        )
        .mappings()
        .first()
    )
    name = f"row {change['row_id']} ({change['row_key']})"
    if row is None:
        yield Fault(entry["id"], table.name, f"{name} was superseded here and is gone")
    elif row["closing_entry_id"] != entry["id"] or canonical_value(
        row["known_until"]
    ) != canonical_value(entry["at"]):
        yield Fault(entry["id"], table.name, f"{name} does not carry the closing of this entry")


def _stray_faults(session: Session, table: Table) -> Iterator[Fault]:
    """Find rows of which the entry that they name knows nothing."""
    named = table_of(LedgerChange)
    rows = select(table.c.entry_id, func.count().label("count")).group_by(table.c.entry_id)
    found = rows.subquery()
    added = select(named.c.id).where(
        named.c.entry_id == found.c.entry_id,
        named.c.kind == "added",
        named.c.table_name == table.name,
    )
    for entry_id, count in session.execute(
        select(found.c.entry_id, found.c.count).where(~added.exists()).order_by(found.c.entry_id)
    ):
        yield Fault(entry_id, table.name, f"{count} row(s) are not in the ledger")
    if "closing_entry_id" in table.c:
        yield from _stray_closing_faults(session, table)


def _stray_closing_faults(session: Session, table: Table) -> Iterator[Fault]:
    """Find closings of which the entry that they name knows nothing."""
    named = table_of(LedgerChange)
    says_so = and_(
        named.c.kind == "superseded",
        named.c.table_name == table.name,
        named.c.entry_id == table.c.closing_entry_id,
        named.c.row_id == table.c.id,
    )
    half = table.c.known_until.is_(None) != table.c.closing_entry_id.is_(None)
    unsaid = and_(table.c.closing_entry_id.is_not(None), named.c.id.is_(None))
    rows = session.execute(
        select(table.c.id, table.c.entry_id, table.c.closing_entry_id)
        .outerjoin(named, says_so)
        .where(or_(half, unsaid))
        .order_by(table.c.id)
    )
    for row_id, entry_id, closing_id in rows:
        text = f"row {row_id} was closed and the ledger does not say so"
        yield Fault(closing_id or entry_id, table.name, text)


def _orphan_faults(session: Session) -> Iterator[Fault]:
    orphans = session.execute(
        select(LedgerChange.entry_id, func.count())
        .where(~select(LedgerEntry.id).where(LedgerEntry.id == LedgerChange.entry_id).exists())
        .group_by(LedgerChange.entry_id)
        .order_by(LedgerChange.entry_id)
    )
    for entry_id, count in orphans:
        text = f"the entry is missing; {count} change(s) of it are there"
        yield Fault(entry_id, "ledger_entry", text)


def _kept_tables() -> list[Table]:
    own = {"ledger_entry", "ledger_change"}
    return [t for t in METADATA.sorted_tables if "entry_id" in t.c and t.name not in own]

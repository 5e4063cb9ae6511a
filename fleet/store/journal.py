"""The only way to write: one transaction, one ledger entry, nothing overwritten."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from sqlalchemy import Table, func, insert, select, text, update
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import ConflictError
from fleet.store.base import MUTABLE_COLUMNS, Base, Versioned, table_of
from fleet.store.bulk import insert_columns
from fleet.store.digest import (
    GENESIS,
    RowsDigest,
    canonical_text,
    canonical_value,
    entry_hash,
)
from fleet.store.models.ledger import LedgerChange, LedgerEntry
from fleet.store.session import WRITES

_TICK = timedelta(microseconds=1)
_LEDGER_LOCK = 7_105_263
"""Key of the advisory lock that makes PostgreSQL write one entry at a time; any fixed number."""

_ROWS_A_BATCH = 5000


@dataclass(frozen=True, slots=True)
class Wish:
    """Who wants to write, under which word, and why; `dry_run` takes everything back at the end."""

    actor: str
    action: str
    reason: str
    dry_run: bool = False


@dataclass(frozen=True, slots=True)
class Amendment:
    """One superseded row in words: table, key, and each changed field with old and new value."""

    table: str
    key: str
    fields: Mapping[str, tuple[object, object]]


@dataclass(slots=True)
class Work:
    """A transaction in progress; every row goes through `add` or `supersede`."""

    session: Session
    entry_id: int
    at: datetime
    amendments: list[Amendment] = field(default_factory=list)
    added: dict[str, int] = field(default_factory=dict)
    _digests: dict[str, RowsDigest] = field(default_factory=dict)
    _first_id: dict[str, int] = field(default_factory=dict)
    _next_id: dict[str, int] = field(default_factory=dict)
    _closed: list[dict[str, object]] = field(default_factory=list)

    def add(self, model: type[Base], rows: Sequence[Mapping[str, object]]) -> list[int]:
        """Insert rows of one table and give their new ids, in order.

        Parameters
        ----------
        model : type[Base]
            A table whose rows are kept.
        rows : sequence of mapping
            Column names to values, without id, entry and known instants.
        """
        names = [column.name for column in table_of(model).columns]
        unknown = set().union(*rows) - set(names)
        if unknown:
            raise ValueError(f"{model.__name__} has no column {', '.join(sorted(unknown))}")
        given = {name: [row.get(name) for row in rows] for name in names}
        return list(self.add_columns(model, given, count=len(rows)))

    def add_columns(
        self, model: type[Base], given: Mapping[str, Sequence[object]], *, count: int
    ) -> range:
        """Insert many rows of one table, column by column, and give their new ids.

        Parameters
        ----------
        model : type[Base]
            A table whose rows are kept.
        given : mapping
            Column names to ``count`` values each; a column that is not named is NULL, and what
            is given for id, entry and known instants is passed over.
        count : int
            How many rows.
        """
        if not count:
            return range(0)
        table = table_of(model)
        first = self._reserve(table, count)
        stamp: dict[str, object] = {"entry_id": self.entry_id}
        if issubclass(model, Versioned):
            stamp["known_from"] = self.at
        digest = self._digests.setdefault(table.name, digest_of(table))
        for start in range(0, count, _ROWS_A_BATCH):
            end = min(start + _ROWS_A_BATCH, count)
            columns: dict[str, Sequence[object]] = {
                column.name: given[column.name][start:end]
                if column.name in given and column.name not in stamp
                else [stamp.get(column.name)] * (end - start)
                for column in table.columns
            }
            columns["id"] = range(first + start, first + end)
            insert_columns(self.session, table, columns)
            digest.add(columns)
        self.added[table.name] = self.added.get(table.name, 0) + count
        return range(first, first + count)

    def supersede(
        self,
        model: type[Versioned],
        row_id: int,
        *,
        key: str,
        fields: Mapping[str, tuple[object, object]],
    ) -> None:
        """Close a current row; the caller adds the row that follows it, if any.

        Parameters
        ----------
        model : type[Versioned]
            A versioned table.
        row_id : int
            The current row.
        key : str
            How a person names the row.
        fields : mapping
            Each changed field with its old and new value.

        Raises
        ------
        ConflictError
            Somebody else superseded the row first.
        """
        table = table_of(model)
        done = self.session.execute(
            update(table)
            .where(table.c.id == row_id, table.c.known_until.is_(None))
            .values(known_until=self.at, closing_entry_id=self.entry_id)
        )
        if done.rowcount != 1:  # type: ignore[attr-defined]  # an UPDATE gives a cursor result
            raise ConflictError(f"{table.name} {key} was changed by somebody else; try again.")
        words = {
            name: [canonical_value(old), canonical_value(new)]
            for name, (old, new) in fields.items()
        }
        self._closed.append(
            {
                "kind": "superseded",
                "table_name": table.name,
                "row_count": 1,
                "row_id": row_id,
                "row_key": key,
                "digest": None,
                "fields": canonical_text(words),
            }
        )
        self.amendments.append(Amendment(table.name, key, dict(fields)))

    def first_id(self, model: type[Base]) -> int | None:
        """Give the id of the first row added to a table; None when none was. Later ones follow."""
        return self._first_id.get(table_of(model).name)

    @property
    def changed(self) -> bool:
        """Tell whether anything was added or superseded."""
        return bool(self._digests or self._closed)

    @property
    def tables(self) -> frozenset[str]:
        """Name the tables in which rows were added or superseded."""
        return frozenset(self._digests).union(str(line["table_name"]) for line in self._closed)

    def _reserve(self, table: Table, count: int) -> int:
        if table.name not in self._next_id:
            self._next_id[table.name] = _largest_id(self.session, table) + 1
            self._first_id[table.name] = self._next_id[table.name]
        first = self._next_id[table.name]
        self._next_id[table.name] = first + count
        return first

    def _changes(self) -> list[dict[str, object]]:
        added: list[dict[str, object]] = [
            {
                "kind": "added",
                "table_name": name,
                "row_count": digest.rows,
                "row_id": None,
                "row_key": None,
                "digest": digest.text,
                "fields": None,
            }
            for name, digest in sorted(self._digests.items())
        ]
        changes = [*self._closed, *added]
        return [{"number": number, **change} for number, change in enumerate(changes, start=1)]


@contextmanager
def writing(sessions: sessionmaker[Session], wish: Wish, clock: Clock) -> Iterator[Work]:
    """Open the one transaction of a change and close it with its ledger entry.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    wish : Wish
        Who, what and why.
    clock : Clock
        Gives the instant of the entry; an entry is never earlier than the one before.

    Yields
    ------
    Work
        To add and supersede through. When nothing was changed no entry is written; on an
        exception, and on a dry run, everything is taken back.

    Raises
    ------
    ConflictError
        Somebody else goes on writing for longer than `BUSY_TIMEOUT_MS`.
    """
    with sessions() as session:
        _begin_writing(session)
        last = session.execute(
            select(LedgerEntry.id, LedgerEntry.at, LedgerEntry.hash)
            .order_by(LedgerEntry.id.desc())
            .limit(1)
        ).first()
        now = clock()
        at = now if last is None else max(now, last.at + _TICK)
        work = Work(session, 1 if last is None else last.id + 1, at)
        yield work
        if wish.dry_run or not work.changed:
            session.rollback()
            return
        _write_entry(work, wish, GENESIS if last is None else last.hash)
        session.commit()


@contextmanager
def rehearsing(sessions: sessionmaker[Session]) -> Iterator[Work]:
    """Give work whose every change is taken back at the end, to see what it would be.

    No lock is taken unless something is changed, so that a reader may rehearse.
    """
    with sessions() as session:
        last = session.execute(select(func.max(LedgerEntry.id), func.max(LedgerEntry.at))).one()
        try:
            at = datetime.now(UTC) if last[1] is None else last[1] + _TICK
            yield Work(session, 1 + (last[0] or 0), at)
        finally:
            session.rollback()


@contextmanager
def deriving(sessions: sessionmaker[Session]) -> Iterator[Session]:
    """Open a transaction that writes only what follows from the records: there is no entry.

    Nobody else writes while it lasts; on an exception everything is taken back.

    Raises
    ------
    ConflictError
        As for `writing`.
    """
    with sessions() as session:
        _begin_writing(session)
        yield session
        session.commit()


def _begin_writing(session: Session) -> None:
    """Begin a transaction beside which nobody else writes."""
    try:
        session.connection(execution_options={WRITES: True})
    except OperationalError as error:
        raise ConflictError(
            "Somebody else is writing, or the database may not be written to; nothing was changed. "
            f"Try again. ({error.orig})"
        ) from error
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LEDGER_LOCK})


def digest_of(table: Table) -> RowsDigest:
    """Give the digest over rows of a table, without the columns that superseding changes."""
    covered = [column for column in table.columns if column.name not in MUTABLE_COLUMNS]
    floats = [column.name for column in covered if column.type.python_type is float]
    return RowsDigest([column.name for column in covered], floats)


def entry_head(entry: Mapping[str, object]) -> dict[str, object]:
    """Give the part of an entry that its hash covers besides the changes."""
    names = ("id", "at", "actor", "action", "reason", "previous_hash")
    return {name: canonical_value(entry[name]) for name in names}


def _write_entry(work: Work, wish: Wish, previous_hash: str) -> None:
    entry: dict[str, object] = {
        "id": work.entry_id,
        "at": work.at,
        "actor": wish.actor,
        "action": wish.action,
        "reason": wish.reason,
        "previous_hash": previous_hash,
    }
    changes = work._changes()
    entry["hash"] = entry_hash(entry_head(entry), changes)
    work.session.execute(insert(LedgerEntry), [entry])
    first = _largest_id(work.session, table_of(LedgerChange)) + 1
    rows = [
        {"id": row_id, "entry_id": work.entry_id, **change}
        for row_id, change in enumerate(changes, start=first)
    ]
    work.session.execute(insert(LedgerChange), rows)


def _largest_id(session: Session, table: Table) -> int:
    largest: int = session.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one()
    return largest

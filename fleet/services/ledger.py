"""Read the ledger: who changed what, when and why."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING, Any

from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import NotFoundError
from fleet.store.queries.ledger import (
    KeptChange,
    KeptEntry,
    entry_changes,
    last_entry,
    ledger_entries,
)

if TYPE_CHECKING:
    import pandas as pd

ENTRY_COLUMNS = {
    "entry_id": "int64",
    "at": "str",
    "actor": "str",
    "action": "str",
    "reason": "str",
    "rows_added": "int64",
    "rows_superseded": "int64",
    "hash": "str",
}
CHANGE_COLUMNS = {
    "number": "int64",
    "kind": "str",
    "table": "str",
    "rows": "int64",
    "key": "str",
    "field": "str",
    "old": "str",
    "new": "str",
}


def ledger_frame(sessions: sessionmaker[Session], *, since: date | None = None) -> pd.DataFrame:
    """Give the entries of the ledger, oldest first.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    since : date, optional
        First day in UTC; None is from the beginning.

    Returns
    -------
    DataFrame
        One row an entry with the columns of `ENTRY_COLUMNS`; ``at`` is an ISO instant in UTC.
    """
    start = None if since is None else datetime.combine(since, time.min, tzinfo=UTC)
    with sessions() as session:
        entries = ledger_entries(session, since=start)
    return _frame(
        (
            (
                e.entry_id,
                e.at.isoformat(),
                e.actor,
                e.action,
                e.reason,
                e.added,
                e.superseded,
                e.hash,
            )
            for e in entries
        ),
        ENTRY_COLUMNS,
    )


def read_entry(sessions: sessionmaker[Session], entry_id: int) -> tuple[KeptEntry, pd.DataFrame]:
    """Give one entry and its changes, a row a changed field with its old and new value.

    Raises
    ------
    NotFoundError
        There is no such entry; names the last one.
    """
    with sessions() as session:
        found = ledger_entries(session, entry_id=entry_id)
        if not found:
            last = last_entry(session)
            newest = "the ledger is empty" if last is None else f"the last one is {last[0]}"
            raise NotFoundError(f"There is no ledger entry {entry_id}; {newest}.")
        changes = entry_changes(session, entry_id)
    rows = (row for change in changes for row in _change_rows(change))
    return found[0], _frame(rows, CHANGE_COLUMNS)


def _change_rows(change: KeptChange) -> Iterator[tuple[Any, ...]]:
    head = (change.number, change.kind, change.table, change.row_count, change.row_key or "")
    if change.fields is None:
        yield (*head, "", "", "")
        return
    for name, (old, new) in json.loads(change.fields).items():
        yield (*head, name, _word(old), _word(new))


def _word(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return " ".join(str(item) for item in value) if isinstance(value, list) else str(value)


def _frame(rows: Iterator[tuple[Any, ...]], columns: dict[str, str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns)).astype(columns)

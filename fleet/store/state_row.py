"""Rows of kept states: put in, taken out, replaced. They are derived and in no ledger entry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import delete
from sqlalchemy.orm import Session

from fleet.store.base import table_of
from fleet.store.bulk import insert_columns
from fleet.store.models.state import KeptState

_IDS_AT_ONCE = 1000


def put_states(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Put in rows of `gauge_state`, each with every column; none may be there yet."""
    table = table_of(KeptState)
    names = [column.name for column in table.columns]
    if rows:
        insert_columns(session, table, {name: [row[name] for row in rows] for name in names})


def drop_states(session: Session, installation_ids: Sequence[int]) -> None:
    """Take out the rows of some gauges, where they are there."""
    for start in range(0, len(installation_ids), _IDS_AT_ONCE):
        named = installation_ids[start : start + _IDS_AT_ONCE]
        session.execute(delete(table_of(KeptState)).where(KeptState.installation_id.in_(named)))


def drop_every_state(session: Session) -> None:
    """Take out all rows."""
    session.execute(delete(table_of(KeptState)))

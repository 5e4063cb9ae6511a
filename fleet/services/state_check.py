"""Kept states against those that the records make, and making all of them anew."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import ConflictError
from fleet.services.gauge_state import Told, derived_rows, read_rates, rebuild_states
from fleet.store.base import table_of
from fleet.store.journal import deriving
from fleet.store.models.state import KeptState
from fleet.store.queries.gauge import gauges_named
from fleet.store.queries.rates import rates_in_force
from fleet.store.queries.touched import standing_installations


def rebuild(sessions: sessionmaker[Session], *, told: Told | None = None) -> int:
    """Derive the state of every gauge anew, in one transaction and in bounded memory.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    told : callable, optional
        Is told how many gauges are done, and of how many.

    Returns
    -------
    int
        How many states are kept now; 0 where no rates were learned.

    Raises
    ------
    ConflictError
        Somebody else is writing.
    """
    with deriving(sessions) as session:
        return rebuild_states(session, told=told)


def state_faults(session: Session) -> Iterator[str]:
    """Give a sentence for each kept state that is not what the records make.

    Parameters
    ----------
    session : Session
        Only read from; gauges are compared share by share.

    Yields
    ------
    str
        Which gauge, and which columns differ; that a state is missing, or stands for no gauge; or
        that the rates cannot be read.
    """
    try:
        rates = read_rates(rates_in_force(session))
    except ConflictError as error:
        rates = None
        yield str(error)
    standing = [] if rates is None else standing_installations(session)
    if rates is not None:
        for rows in derived_rows(session, rates, standing):
            yield from _differing(session, rows)
    table = table_of(KeptState)
    kept = session.execute(select(func.count()).select_from(table)).scalar_one()
    if kept > len(standing):
        yield f"{kept} are kept, but {len(standing)} gauges should have one"


def _differing(session: Session, rows: list[dict[str, Any]]) -> Iterator[str]:
    table = table_of(KeptState)
    named = [row["installation_id"] for row in rows]
    found = session.execute(select(*table.columns).where(table.c.installation_id.in_(named)))
    kept = {row["installation_id"]: dict(row) for row in found.mappings()}
    words = {
        row["installation_id"]: _words(row, kept.get(row["installation_id"]))
        for row in rows
        if kept.get(row["installation_id"]) != row
    }
    for gauge in gauges_named(session, list(words)) if words else ():
        who = gauge.gauge
        told = words[who.installation_id]
        yield f"site {who.site_code}, position {who.position}, serial {who.serial}: {told}"


def _words(derived: dict[str, Any], kept: dict[str, Any] | None) -> str:
    if kept is None:
        return "no state is kept"
    names = [name for name, value in derived.items() if kept[name] != value]
    return f"the records give another {', '.join(names)}"

"""Kept states: one row a gauge, derived from its history under the rates that were learned.

Rewritten in the transaction that touched the history, so that a ranking need not derive a hundred
thousand histories to find the few that changed. A network without learned rates keeps none.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import date
from math import isnan
from typing import Any

from sqlalchemy.orm import Session

from fleet.domain.history import GaugeHistory
from fleet.domain.state import derive_state
from fleet.errors import ConflictError
from fleet.stats.fleet_model import FleetModel
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.model_text import read_model
from fleet.store.base import table_of
from fleet.store.journal import Work
from fleet.store.models.state import KeptState
from fleet.store.queries.history import history_shares
from fleet.store.queries.rates import KeptRates, rates_in_force
from fleet.store.queries.touched import (
    standing_installations,
    superseded_installations,
    touched_installations,
)
from fleet.store.state_row import drop_every_state, drop_states, put_states

Told = Callable[[int, int], None]
"""Is told how many gauges are done, and of how many."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Learned rates, ready for use: their row, the day of the records behind them, the model."""

    rates_id: int
    as_of: date
    model: FleetModel


def renew_states(work: Work) -> None:
    """Derive anew the states that the rows written so far touched; the others stay.

    Under rates that cannot be read no state is of use, and none is kept: a visit can be recorded
    all the same.
    """
    rates = readable_rates(rates_in_force(work.session))
    if rates is None:
        drop_every_state(work.session)
        return
    if "learned_rates" in work.tables:
        rebuild_states(work.session)
        return
    if "installation" in work.tables:
        drop_states(work.session, superseded_installations(work.session, work.entry_id))
    touched = touched_installations(work.session, work.entry_id, work.tables)
    drop_states(work.session, touched)
    _derive(work.session, rates, touched)


def rebuild_states(session: Session, *, told: Told | None = None) -> int:
    """Derive the state of every gauge anew; nothing is kept where no rates were learned.

    Parameters
    ----------
    session : Session
        In a writing transaction; the caller commits.
    told : callable, optional
        Is told of the progress, share by share.

    Returns
    -------
    int
        How many states are kept now.
    """
    drop_every_state(session)
    rates = read_rates(rates_in_force(session))
    every = standing_installations(session) if rates is not None else []
    if rates is not None:
        _derive(session, rates, every, told=told)
    return len(every)


def derived_rows(
    session: Session, rates: Rates, installation_ids: Sequence[int]
) -> Iterator[list[dict[str, Any]]]:
    """Give the rows that the records make of gauges, share by share."""
    for share in history_shares(session, installation_ids, as_of=date.max):
        yield _rows(share, rates)


def read_rates(kept: KeptRates | None) -> Rates | None:
    """Read the model of kept rates; None for none.

    Raises
    ------
    ConflictError
        The text is no model of a format that is known; told is what to do.
    """
    if kept is None:
        return None
    try:
        return Rates(kept.rates_id, kept.as_of, read_model(kept.text))
    except ConflictError as error:
        learn = f"fleet gauge learn --as-of {kept.as_of}"
        raise ConflictError(f"{error} Learn them again: {learn}") from error


def readable_rates(kept: KeptRates | None) -> Rates | None:
    """Read the model of kept rates; None for none and for a text that cannot be read."""
    try:
        return read_rates(kept)
    except ConflictError:
        return None


def _derive(
    session: Session, rates: Rates, installation_ids: Sequence[int], *, told: Told | None = None
) -> None:
    done = 0
    with _uncollected():
        for rows in derived_rows(session, rates, installation_ids):
            put_states(session, rows)
            done += len(rows)
            if told is not None:
                told(done, len(installation_ids))


@contextmanager
def _uncollected() -> Iterator[None]:
    """Pause the search for cycles: a share is a million objects and holds none, all gone after it.

    It saves a fifth of the time.
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


_KEPT = frozenset(column.name for column in table_of(KeptState).columns)
_KEPT_COLUMNS = tuple(field.name for field in fields(GaugeColumns) if field.name in _KEPT)
"""The columns that a row holds as they are; what may be missing is nan there and NULL here."""


def _rows(histories: Sequence[GaugeHistory], rates: Rates) -> list[dict[str, Any]]:
    columns = columns_of([derive_state(history) for history in histories], rates.model)
    lists = {name: getattr(columns, name).tolist() for name in _KEPT_COLUMNS}
    for name in ("level_percent", "switch_ohm"):
        lists[name] = [None if isnan(value) else value for value in lists[name]]
    lists["rates_id"] = [rates.rates_id] * len(histories)
    lists["last_record_day"] = [_last_day(history) for history in histories]
    return [dict(zip(lists, values, strict=True)) for values in zip(*lists.values(), strict=True)]


def _last_day(history: GaugeHistory) -> int:
    """Give the day of the newest record; records are in order of day."""
    return history.records[-1].visited_on.toordinal() if history.records else 0

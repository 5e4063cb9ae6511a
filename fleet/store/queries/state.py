"""Kept states, read straight into arrays."""

from __future__ import annotations

import math
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Boolean, Integer, func, select
from sqlalchemy.orm import Session

from fleet.store.base import table_of
from fleet.store.models.state import KeptState


def kept_states(
    session: Session, *, rates_id: int, known_until_day: int
) -> dict[str, NDArray[Any]]:
    """Give the kept states that hold as of a day, without an object for each.

    Parameters
    ----------
    session : Session
        Only read from.
    rates_id : int
        Rows derived under other rates are passed over.
    known_until_day : int
        Ordinal of the day; rows that know of a later one are passed over.

    Returns
    -------
    dict of str to ndarray, shape (n,)
        The columns of `gauge_state` by name, in order of ``installation_id``; a missing number is
        nan.
    """
    table = table_of(KeptState)
    columns = list(table.columns)
    query = (
        select(*(func.coalesce(c, math.inf) if c.nullable else c for c in columns))
        .where(table.c.rates_id == rates_id, table.c.last_record_day <= known_until_day)
        .order_by(table.c.installation_id)
    )
    cursor: Any = session.connection().execute(query).cursor  # plain numbers need no processing
    flat = np.fromiter(chain.from_iterable(cursor), np.float64)
    cells = flat.reshape(-1, len(columns)).T
    return {
        column.name: _typed(column.type, np.where(np.isinf(values), np.nan, values))
        for column, values in zip(columns, cells, strict=True)
    }


def _typed(kind: Any, values: NDArray[np.float64]) -> NDArray[Any]:
    """Give whole numbers and signs their own type; all are far below 2^53."""
    if isinstance(kind, Boolean):
        return values.astype(np.bool_)
    return values.astype(np.int64) if isinstance(kind, Integer) else values

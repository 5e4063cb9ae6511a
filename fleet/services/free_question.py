"""Free questions of an auditor: one SELECT on plain views, and what the views are."""

from __future__ import annotations

import warnings

import pandas as pd

from fleet.errors import FleetWarning, NotFoundError
from fleet.settings import Settings
from fleet.store.free_query import Limits, free_query
from fleet.store.migrate import require_head
from fleet.store.session import make_engine
from fleet.store.view import VIEWS

VIEW_COLUMNS = ("view", "row", "column", "meaning")


def ask_freely(settings: Settings, sql: str, limits: Limits) -> pd.DataFrame:
    """Put one SELECT to the records.

    Parameters
    ----------
    settings : Settings
        Which database; at head, only read from.
    sql : str
        One SELECT, on the views that `view_frame` lists or on the tables themselves.
    limits : Limits
        Of time and rows.

    Returns
    -------
    DataFrame
        As the statement gives it, values as the database has them: on SQLite days and instants
        are texts and yes/no is 1/0. Columns of the same name are numbered from the second on.

    Raises
    ------
    QuestionError
        It is no single SELECT, would change something, is wrong, or takes too long.
    SchemaVersionError
        The database is missing or older.

    Warns
    -----
    FleetWarning
        There are more rows than the limit.
    """
    engine = make_engine(settings.database_url)
    try:
        require_head(engine)
        found = free_query(engine, sql, limits)
    finally:
        engine.dispose()
    if found.more:
        warnings.warn(
            f"Only the first {limits.rows} rows are shown; there are more. "
            "Ask for less, or for more rows with --rows.",
            FleetWarning,
            stacklevel=2,
        )
    return pd.DataFrame(list(found.rows), columns=_told_apart(found.columns), dtype=object)


def _told_apart(names: tuple[str, ...]) -> list[str]:
    seen: dict[str, int] = {}
    told = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        told.append(name if seen[name] == 1 else f"{name}_{seen[name]}")
    return told


def view_frame(name: str | None = None) -> pd.DataFrame:
    """List the views with their columns and what they mean.

    Raises
    ------
    NotFoundError
        There is no view of that name.
    """
    shown = [view for view in VIEWS if name in (None, view.name)]
    if not shown:
        raise NotFoundError(f"There is no view {name!r}. List them with: fleet database views")
    rows = [
        (view.name, view.row, column, meaning)
        for view in shown
        for column, meaning in view.columns.items()
    ]
    return pd.DataFrame(rows, columns=list(VIEW_COLUMNS), dtype="str")

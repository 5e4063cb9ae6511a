"""Daily totals laid out as one row a position and one column a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fleet.store.models.site import Site
from fleet.store.models.visit import DailyTotal
from fleet.store.queries.known import known

AT_ONCE = 50_000
"""Rows fetched at a time, to bound the memory."""


@dataclass(frozen=True, slots=True, eq=False)
class DailyRain:
    """Totals in mm, shape (positions, days), NaN where there is none, and what flags they bear.

    ``keys`` names site and position of each row, in order; ``first_day`` is the day of the first
    column. ``flag``, of the same shape, is 0 where a total bears none, else 1 + the place of the
    flag in ``flags``.
    """

    keys: tuple[tuple[str, str], ...]
    first_day: date
    total_mm: NDArray[np.float32]
    flag: NDArray[np.uint8]
    flags: tuple[str, ...]

    def flagged(self, *names: str) -> NDArray[np.bool_]:
        """Tell which totals bear one of some flags; with no name, which bear any."""
        if not names:
            return self.flag > 0
        wanted = [1 + place for place, flag in enumerate(self.flags) if flag in names]
        return np.isin(self.flag, wanted)


def daily_rain(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    since: date = date.min,
) -> DailyRain:
    """Give the daily totals of every position up to a day.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Last day that is seen, and last column.
    known_on : datetime, optional
        As the records were known then; None is now.
    since : date, optional
        First day that is seen.

    Returns
    -------
    DailyRain
        Rows in order of site and position. 5 bytes a cell; without any total no rows and no
        columns.
    """
    extents = session.execute(_extents(since, as_of, known_on)).all()
    keys = tuple((row.code, row.position) for row in extents)
    rows = {(row.site_id, row.position): number for number, row in enumerate(extents)}
    first_day = min((row.first for row in extents), default=as_of)
    shape = (len(keys), (as_of - first_day).days + 1 if keys else 0)
    total = np.full(shape, np.nan, dtype=np.float32)
    flag = np.zeros(shape, dtype=np.uint8)
    codes: dict[str, int] = {"": 0}
    query = _totals(since, as_of, known_on).execution_options(yield_per=AT_ONCE)
    for part in session.connection().execute(query).partitions():
        sites, positions, days, totals, words = zip(*part, strict=True)
        row = np.array([rows[key] for key in zip(sites, positions, strict=True)])
        column = np.array([day.toordinal() for day in days]) - first_day.toordinal()
        total[row, column] = np.array(totals, dtype=np.float32)
        flag[row, column] = [
            0 if word is None else codes.setdefault(word, len(codes)) for word in words
        ]
    flags = tuple(name for name in codes if name)
    return DailyRain(keys, first_day, total, flag, flags)


def _extents(since: date, as_of: date, known_on: datetime | None) -> Any:  # a Select of 4 columns
    return (
        select(
            Site.code,
            DailyTotal.site_id,
            DailyTotal.position,
            func.min(DailyTotal.day).label("first"),
        )
        .join(Site, Site.id == DailyTotal.site_id)
        .where(known(DailyTotal, known_on), DailyTotal.day.between(since, as_of))
        .group_by(Site.code, DailyTotal.site_id, DailyTotal.position)
        .order_by(Site.code, DailyTotal.position)
    )


def _totals(since: date, as_of: date, known_on: datetime | None) -> Any:  # a Select of 5 columns
    """Ask for every total in any order: each is put in its place, and sorting millions is slow."""
    return select(
        DailyTotal.site_id,
        DailyTotal.position,
        DailyTotal.day,
        DailyTotal.total_mm,
        DailyTotal.flag,
    ).where(known(DailyTotal, known_on), DailyTotal.day.between(since, as_of))


def counted_days(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> dict[tuple[str, str], tuple[date, ...]]:
    """Give the days on which each position counted rain that bears no flag.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Last day that is seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    dict
        By site code and position; the days of each rise.
    """
    rows = session.execute(
        select(Site.code, DailyTotal.position, DailyTotal.day)
        .join(Site, Site.id == DailyTotal.site_id)
        .where(
            known(DailyTotal, known_on),
            DailyTotal.day <= as_of,
            DailyTotal.total_mm > 0,
            DailyTotal.flag.is_(None),
        )
        .order_by(Site.code, DailyTotal.position, DailyTotal.day)
    )
    return {
        key: tuple(day for *_, day in group) for key, group in groupby(rows, key=itemgetter(0, 1))
    }

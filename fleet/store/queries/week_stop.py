"""The sites that the rounds of a week have as stops, of all depots."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from fleet.store.models.people import Depot, Technician
from fleet.store.models.round import Round, RoundCrew, RoundDay, RoundStop, RoundVersion
from fleet.store.models.site import Site
from fleet.store.queries.round import versions_in_the_field

NAMED_AT_ONCE = 500
"""Rows that one query names."""


@dataclass(frozen=True, slots=True)
class WeekStop:
    """A site in a depot's round of the week."""

    depot_code: str
    round_ref: str
    number: int
    day: date
    crew: tuple[str, ...]


def week_stops(
    session: Session, first_day: date, *, site_codes: Collection[str] | None = None
) -> dict[str, list[WeekStop]]:
    """Give the stops of the newest and of the driven version of every round of a week.

    Parameters
    ----------
    session : Session
        Only read from.
    first_day : date
        Any day of the ISO week.
    site_codes : collection of str, optional
        Only these sites; None is all.

    Returns
    -------
    dict
        By site code; the stops of a site in order of depot, the driven version last.
    """
    year, week, _ = first_day.isocalendar()
    prefix = f"{year}-W{week:02d}-"
    driven = versions_in_the_field(session, prefix=prefix)
    query = (
        select(Site.code, Depot.code, Round.code, RoundVersion, RoundDay.day, RoundDay.id)
        .join(RoundStop, RoundStop.site_id == Site.id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .join(RoundVersion, RoundVersion.id == RoundDay.round_version_id)
        .join(Round, Round.id == RoundVersion.round_id)
        .join(Depot, Depot.id == RoundVersion.depot_id)
        .where(Round.code.startswith(prefix, autoescape=True))
        .where(or_(RoundVersion.known_until.is_(None), Round.code.in_(driven)))
        .order_by(Depot.code, RoundVersion.number.desc(), RoundDay.day, RoundDay.id)
    )
    if site_codes is not None:
        query = query.where(Site.code.in_(site_codes))
    rows = [
        row
        for row in session.execute(query)
        if row.RoundVersion.known_until is None or row.RoundVersion.number == driven[row[2]]
    ]
    crews = _crews(session, {day_id for *_, day_id in rows})
    found: dict[str, list[WeekStop]] = defaultdict(list)
    for site, depot, ref, version, day, day_id in rows:
        found[site].append(WeekStop(depot, ref, version.number, day, tuple(crews[day_id])))
    return dict(found)


def _crews(session: Session, day_ids: Collection[int]) -> dict[int, list[str]]:
    """Give who goes on each of these days, in the order kept."""
    crews: dict[int, list[str]] = defaultdict(list)
    named = sorted(day_ids)
    for start in range(0, len(named), NAMED_AT_ONCE):
        rows = session.execute(
            select(RoundCrew.round_day_id, Technician.code)
            .join(Technician, Technician.id == RoundCrew.technician_id)
            .where(RoundCrew.round_day_id.in_(named[start : start + NAMED_AT_ONCE]))
            .order_by(RoundCrew.id)
        )
        for day_id, code in rows:
            crews[day_id].append(code)
    return crews

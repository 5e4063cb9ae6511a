"""Who can drive when: technicians of a depot with shifts, absences, closures and skills."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from fleet.errors import NotFoundError
from fleet.store.models.people import (
    Absence,
    Closure,
    Depot,
    DepotVersion,
    Skill,
    Technician,
    TechnicianVersion,
)
from fleet.store.queries.known import known, named


@dataclass(frozen=True, slots=True)
class KeptDepot:
    """A depot as it is known."""

    code: str
    name: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str
    holiday_region: str | None


@dataclass(frozen=True, slots=True)
class KeptTechnician:
    """A technician with the shift in minutes after local midnight."""

    code: str
    name: str
    active_from: date
    active_until: date | None
    shift_start: int
    shift_end: int
    weekdays: tuple[str, ...]
    max_driving_minutes: int
    break_minutes: int


def depots(
    session: Session, *, code: str | None = None, known_on: datetime | None = None
) -> list[KeptDepot]:
    """Give every depot, or the one of a code, in order of code."""
    query = (
        select(Depot.code, DepotVersion)
        .join(DepotVersion, DepotVersion.depot_id == Depot.id)
        .where(known(DepotVersion, known_on))
        .order_by(Depot.code)
    )
    rows = session.execute(query if code is None else query.where(Depot.code == code))
    return [
        KeptDepot(code, d.name, d.latitude_deg, d.longitude_deg, d.time_zone, d.holiday_region)
        for code, d in rows
    ]


def depot(session: Session, code: str, *, known_on: datetime | None = None) -> KeptDepot:
    """Give one depot.

    Raises
    ------
    NotFoundError
        With the codes that exist.
    """
    for kept in depots(session, code=code, known_on=known_on):
        return kept
    names = ", ".join(kept.code for kept in depots(session, known_on=known_on)) or "none are loaded"
    raise NotFoundError(f"There is no depot {code!r}. Depots: {names}.")


def technicians(
    session: Session, depot_code: str, *, known_on: datetime | None = None
) -> list[KeptTechnician]:
    """Give the technicians of a depot in order of code, whether active or not."""
    rows = session.execute(
        select(Technician.code, TechnicianVersion)
        .join(TechnicianVersion, TechnicianVersion.technician_id == Technician.id)
        .join(Depot, Depot.id == TechnicianVersion.depot_id)
        .where(known(TechnicianVersion, known_on), Depot.code == depot_code)
        .order_by(Technician.code)
    )
    return [
        KeptTechnician(
            code=code,
            name=t.name,
            active_from=t.active_from,
            active_until=t.active_until,
            shift_start=t.shift_start,
            shift_end=t.shift_end,
            weekdays=tuple(t.weekdays.split()),
            max_driving_minutes=t.max_driving_minutes,
            break_minutes=t.break_minutes,
        )
        for code, t in rows
    ]


def closure_days(
    session: Session, depot_code: str, first: date, last: date, *, known_on: datetime | None = None
) -> dict[date, str]:
    """Give the days between two days on which a depot does not go out, with their names."""
    rows = session.execute(
        select(Closure.day, Closure.name)
        .join(Depot, Depot.id == Closure.depot_id)
        .where(known(Closure, known_on), Depot.code == depot_code)
        .where(Closure.day.between(first, last))
        .order_by(Closure.day)
    )
    return {day: name for day, name in rows}


def absences(
    session: Session,
    first: date,
    last: date,
    *,
    technician_codes: Collection[str] | None = None,
    known_on: datetime | None = None,
) -> list[tuple[str, date, date]]:
    """Give technician, first and last day of every absence that touches a span of days."""
    rows = session.execute(
        select(Technician.code, Absence.first_day, Absence.last_day)
        .join(Technician, Technician.id == Absence.technician_id)
        .where(named(technician_codes))
        .where(known(Absence, known_on), Absence.first_day <= last, Absence.last_day >= first)
        .order_by(Technician.code, Absence.first_day)
    )
    return [(code, start, end) for code, start, end in rows]


def skills(
    session: Session,
    first: date,
    last: date,
    *,
    technician_codes: Collection[str] | None = None,
    known_on: datetime | None = None,
) -> list[tuple[str, str, date, date | None]]:
    """Give technician, skill and validity of every skill that is valid within a span of days."""
    rows = session.execute(
        select(Technician.code, Skill.skill, Skill.valid_from, Skill.valid_until)
        .join(Technician, Technician.id == Skill.technician_id)
        .where(named(technician_codes))
        .where(known(Skill, known_on), Skill.valid_from <= last)
        .where(or_(Skill.valid_until.is_(None), Skill.valid_until >= first))
        .order_by(Technician.code, Skill.skill, Skill.valid_from)
    )
    return [(code, skill, start, end) for code, skill, start, end in rows]

"""Which technician can drive on which day of a week, and how long."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol, TypeVar

from sqlalchemy.orm import Session

from fleet.domain.access import WEEKDAYS
from fleet.domain.duty import RestRow, rest_rule
from fleet.domain.plan import Load, Place, TechnicianDay
from fleet.errors import NotFoundError
from fleet.store.queries.crew import (
    KeptDepot,
    KeptTechnician,
    absences,
    closure_days,
    skills,
    technicians,
)
from fleet.store.queries.duty import KeptHome, KeptVehicle, homes, rest_rows, vehicles


def days_between(first: date, last: date) -> list[date]:
    """Give every day of a span, both ends included."""
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def crew_days(
    session: Session, depot: KeptDepot, first: date, last: date
) -> tuple[list[TechnicianDay], list[str]]:
    """Give every day on which somebody of a depot can drive.

    Parameters
    ----------
    session : Session
        Only read from.
    depot : KeptDepot
        Start and end of every day that does not start or end at home; where crews meet.
    first, last : date
        The span, both ends included.

    Returns
    -------
    list of TechnicianDay
        In order of day and technician.
    list of str
        Sentences on who is away and when the depot is closed, for the plan.

    Raises
    ------
    NotFoundError
        There is no calendar of public holidays for the depot's region.
    """
    crew = technicians(session, depot.code)
    closed = _closed_days(session, depot, first, last)
    own = [technician.code for technician in crew]
    away = absences(session, first, last, technician_codes=own)
    facts = _Facts(
        depot=depot,
        skills=skills(session, first, last, technician_codes=own),
        rules=rest_rows(session),
        homes=homes(session, first, last, technician_codes=own),
        vehicles=vehicles(session, first, last, technician_codes=own),
    )
    notes = [f"{day.isoformat()} depot closed: {name}." for day, name in sorted(closed.items())]
    notes += _absence_notes(away)
    if not crew:
        notes.append(f"No technician belongs to depot {depot.code}.")
    days = [
        _technician_day(technician, day, facts)
        for day in days_between(first, last)
        if day not in closed
        for technician in crew
        if _works(technician, day) and not _is_away(away, technician, day)
    ]
    return days, notes


@dataclass(frozen=True, slots=True)
class _Facts:
    """What is known of a depot's people in a span of days."""

    depot: KeptDepot
    skills: list[tuple[str, str, date, date | None]]
    rules: list[RestRow]
    homes: list[KeptHome]
    vehicles: list[KeptVehicle]


def _valid_skills(
    held: list[tuple[str, str, date, date | None]], technician: KeptTechnician, day: date
) -> frozenset[str]:
    return frozenset(
        skill
        for code, skill, start, end in held
        if code == technician.code and start <= day and (end is None or day <= end)
    )


def _is_away(away: list[tuple[str, date, date]], technician: KeptTechnician, day: date) -> bool:
    return any(code == technician.code and start <= day <= end for code, start, end in away)


def _technician_day(technician: KeptTechnician, day: date, facts: _Facts) -> TechnicianDay:
    depot = depot_place(facts.depot)
    start, end = _ends(facts.homes, technician, day, depot)
    rule = rest_rule(
        facts.rules, depot_code=facts.depot.code, technician_code=technician.code, on=day
    )
    return TechnicianDay(
        technician_code=technician.code,
        day=day,
        starts_min=technician.shift_start,
        ends_min=technician.shift_end,
        max_driving_min=technician.max_driving_minutes,
        start=start,
        end=end,
        skills=_valid_skills(facts.skills, technician, day),
        break_min=technician.break_minutes,
        rest_rule=rule,
        capacity=_capacity(facts.vehicles, technician, day),
        meets=depot,
    )


def depot_place(depot: KeptDepot) -> Place:
    """Give a depot as a place to drive from and to."""
    return Place(f"depot:{depot.code}", depot.latitude_deg, depot.longitude_deg)


def _ends(
    kept: list[KeptHome], technician: KeptTechnician, day: date, depot: Place
) -> tuple[Place, Place]:
    home = _on_day(kept, technician, day)
    if home is None:
        return depot, depot
    place = Place(f"home:{technician.code}", home.latitude_deg, home.longitude_deg)
    return (place if home.starts_here else depot), (place if home.ends_here else depot)


def _capacity(kept: list[KeptVehicle], technician: KeptTechnician, day: date) -> Load | None:
    vehicle = _on_day(kept, technician, day)
    if vehicle is None:
        return None
    return Load(water_ml=round(vehicle.water_litres * 1000), spares=vehicle.spare_parts)


class _Dated(Protocol):
    """Something of a technician between two days."""

    @property
    def technician_code(self) -> str: ...
    @property
    def valid_from(self) -> date: ...
    @property
    def valid_until(self) -> date | None: ...


_AnyDated = TypeVar("_AnyDated", bound=_Dated)


def _on_day(kept: list[_AnyDated], technician: KeptTechnician, day: date) -> _AnyDated | None:
    """Give what counts on a day; of several the one that begins last."""
    counts = [
        one
        for one in kept
        if one.technician_code == technician.code
        and one.valid_from <= day
        and (one.valid_until is None or day <= one.valid_until)
    ]
    return counts[-1] if counts else None


def _works(technician: KeptTechnician, day: date) -> bool:
    return (
        technician.active_from <= day
        and (technician.active_until is None or day <= technician.active_until)
        and WEEKDAYS[day.weekday()] in technician.weekdays
    )


def _closed_days(session: Session, depot: KeptDepot, first: date, last: date) -> dict[date, str]:
    closed = closure_days(session, depot.code, first, last)
    if depot.holiday_region:
        closed = {**_public_holidays(depot.holiday_region, first, last), **closed}
    return closed


def _public_holidays(region: str, first: date, last: date) -> dict[date, str]:
    import holidays

    country, _, part = region.partition("-")
    try:
        calendar = holidays.country_holidays(
            country,
            subdiv=part or None,
            years=range(first.year, last.year + 1),
            language="en_US",  # without one the names change with the machine's locale
        )
    except NotImplementedError as error:  # the library's word for a calendar that it lacks
        raise NotFoundError(
            f"No holiday calendar for {region!r}: give an ISO 3166 code such as PT or PT-20, "
            "or leave holiday_region blank and load closures instead."
        ) from error
    return {day: str(calendar[day]) for day in days_between(first, last) if day in calendar}


def _absence_notes(away: list[tuple[str, date, date]]) -> Iterator[str]:
    for code, start, end in away:
        span = start.isoformat() if start == end else f"{start.isoformat()} to {end.isoformat()}"
        yield f"{code} away {span}."

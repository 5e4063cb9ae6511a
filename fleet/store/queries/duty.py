"""What binds a working day: rest rules, homes and vehicles as they are known."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from fleet.domain.duty import RestRow
from fleet.store.models.duty import Home, RestRuleTerm, Vehicle
from fleet.store.models.people import Technician
from fleet.store.queries.known import known, named


@dataclass(frozen=True, slots=True)
class KeptHome:
    """Where a technician starts or ends the day, between two days."""

    technician_code: str
    valid_from: date
    valid_until: date | None
    latitude_deg: float
    longitude_deg: float
    starts_here: bool
    ends_here: bool


@dataclass(frozen=True, slots=True)
class KeptVehicle:
    """What a technician drives, between two days."""

    technician_code: str
    valid_from: date
    valid_until: date | None
    description: str
    water_litres: float
    spare_parts: int


def rest_rows(session: Session, *, known_on: datetime | None = None) -> list[RestRow]:
    """Give every rest rule in order of scope, code and first day."""
    rows = session.execute(
        select(RestRuleTerm)
        .where(known(RestRuleTerm, known_on))
        .order_by(RestRuleTerm.scope, RestRuleTerm.scope_code, RestRuleTerm.valid_from)
    ).scalars()
    return [
        RestRow(
            scope=row.scope,
            scope_code=row.scope_code,
            valid_from=row.valid_from,
            after_driving_min=row.after_driving_minutes,
            after_duty_min=row.after_duty_minutes,
            break_min=row.break_minutes,
        )
        for row in rows
    ]


def homes(
    session: Session,
    first: date,
    last: date,
    *,
    technician_codes: Collection[str] | None = None,
    known_on: datetime | None = None,
) -> list[KeptHome]:
    """Give the homes that count on some day of a span, in order of technician and first day."""
    rows = session.execute(
        select(Technician.code, Home)
        .join(Technician, Technician.id == Home.technician_id)
        .where(named(technician_codes))
        .where(known(Home, known_on), Home.valid_from <= last)
        .where(or_(Home.valid_until.is_(None), Home.valid_until >= first))
        .order_by(Technician.code, Home.valid_from)
    )
    return [
        KeptHome(
            technician_code=code,
            valid_from=home.valid_from,
            valid_until=home.valid_until,
            latitude_deg=home.latitude_deg,
            longitude_deg=home.longitude_deg,
            starts_here=home.starts_here,
            ends_here=home.ends_here,
        )
        for code, home in rows
    ]


def vehicles(
    session: Session,
    first: date,
    last: date,
    *,
    technician_codes: Collection[str] | None = None,
    known_on: datetime | None = None,
) -> list[KeptVehicle]:
    """Give the vehicles that count on some day of a span, by technician and first day."""
    rows = session.execute(
        select(Technician.code, Vehicle)
        .join(Technician, Technician.id == Vehicle.technician_id)
        .where(named(technician_codes))
        .where(known(Vehicle, known_on), Vehicle.valid_from <= last)
        .where(or_(Vehicle.valid_until.is_(None), Vehicle.valid_until >= first))
        .order_by(Technician.code, Vehicle.valid_from)
    )
    return [
        KeptVehicle(
            technician_code=code,
            valid_from=vehicle.valid_from,
            valid_until=vehicle.valid_until,
            description=vehicle.description,
            water_litres=vehicle.water_litres,
            spare_parts=vehicle.spare_parts,
        )
        for code, vehicle in rows
    ]

"""Where one can sleep away from home, who may, and what a round planned."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from fleet.store.models.night import (
    NightBase,
    NightBaseVersion,
    NightsOut,
    RoundBound,
    RoundNight,
)
from fleet.store.models.people import Technician
from fleet.store.queries.known import known, named


@dataclass(frozen=True, slots=True)
class KeptBase:
    """A place to sleep as it is known; the price of a night is in record-days."""

    code: str
    name: str
    latitude_deg: float
    longitude_deg: float
    capacity: int
    cost_record_days: float
    valid_from: date
    valid_until: date | None
    contact: str


@dataclass(frozen=True, slots=True)
class KeptNight:
    """One technician's planned night, named by its evening."""

    technician_code: str
    evening: date
    base_code: str
    cost_record_days: float


@dataclass(frozen=True, slots=True)
class KeptBound:
    """How far a plan can be from the best there is, in record-days."""

    plan_record_days: float
    best_record_days: float
    proof: str


def night_bases(session: Session, *, known_on: datetime | None = None) -> dict[str, KeptBase]:
    """Give every place to sleep by its code, in order of code."""
    rows = session.execute(
        select(NightBase.code, NightBaseVersion)
        .join(NightBaseVersion, NightBaseVersion.night_base_id == NightBase.id)
        .where(known(NightBaseVersion, known_on))
        .order_by(NightBase.code)
    )
    return {
        code: KeptBase(
            code=code,
            name=base.name,
            latitude_deg=base.latitude_deg,
            longitude_deg=base.longitude_deg,
            capacity=base.capacity,
            cost_record_days=base.night_cost / (base.money_per_record_day or 1.0),
            valid_from=base.valid_from,
            valid_until=base.valid_until,
            contact=base.contact or "",
        )
        for code, base in rows
    }


def nights_out(
    session: Session,
    first: date,
    last: date,
    *,
    technician_codes: Collection[str] | None = None,
    known_on: datetime | None = None,
) -> list[tuple[str, date, date | None, int]]:
    """Give technician, first and last evening and most nights in a row, of a span of evenings."""
    rows = session.execute(
        select(
            Technician.code,
            NightsOut.first_evening,
            NightsOut.last_evening,
            NightsOut.most_nights_in_a_row,
        )
        .join(Technician, Technician.id == NightsOut.technician_id)
        .where(named(technician_codes))
        .where(known(NightsOut, known_on), NightsOut.first_evening <= last)
        .where(or_(NightsOut.last_evening.is_(None), NightsOut.last_evening >= first))
        .order_by(Technician.code, NightsOut.first_evening)
    )
    return [(code, start, end, most) for code, start, end, most in rows]


def round_nights(session: Session, version_id: int) -> tuple[KeptNight, ...]:
    """Give the nights away of one version of a round, in order of evening and technician."""
    rows = session.execute(
        select(RoundNight, Technician.code, NightBase.code)
        .join(Technician, Technician.id == RoundNight.technician_id)
        .join(NightBase, NightBase.id == RoundNight.night_base_id)
        .where(RoundNight.round_version_id == version_id)
        .order_by(RoundNight.evening, Technician.code)
    )
    return tuple(
        KeptNight(technician, night.evening, base, night.cost_record_days)
        for night, technician, base in rows
    )


def round_bound(session: Session, version_id: int) -> KeptBound | None:
    """Give the proven bound of one version of a round, None where none was computed."""
    row = session.execute(
        select(RoundBound).where(RoundBound.round_version_id == version_id)
    ).scalar_one_or_none()
    if row is None:
        return None
    return KeptBound(row.plan_record_days, row.best_record_days, row.proof)

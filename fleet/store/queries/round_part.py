"""The smaller parts of a round's version: breaks, ends of days, costs, offers, notes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.plan import Pause
from fleet.store.models.round import (
    RoundDay,
    RoundDayPlace,
    RoundLeftOut,
    RoundLeftOutOffer,
    RoundNote,
    RoundPause,
    RoundStop,
    RoundStopCost,
    StopAcceptance,
)


@dataclass(frozen=True, slots=True)
class KeptEnds:
    """Where a day starts and ends, where that is not the depot."""

    start_key: str
    start_latitude_deg: float
    start_longitude_deg: float
    end_key: str
    end_latitude_deg: float
    end_longitude_deg: float


@dataclass(frozen=True, slots=True)
class KeptCost:
    """The minutes that a day would save without a stop, and the driving in them."""

    extra_min: int
    extra_driving_min: int


@dataclass(frozen=True, slots=True)
class KeptOffer:
    """The cheapest way in which a left-out site could have been added."""

    day: date
    crew: str
    extra_min: int
    over_min: int | None


def pauses(session: Session, version_id: int) -> dict[int, tuple[Pause, ...]]:
    """Give the breaks of each day by the day's id, in order of time."""
    found: dict[int, tuple[Pause, ...]] = {}
    for row in session.execute(
        select(RoundPause)
        .join(RoundDay, RoundDay.id == RoundPause.round_day_id)
        .where(RoundDay.round_version_id == version_id)
        .order_by(RoundPause.round_day_id, RoundPause.starts_min)
    ).scalars():
        pause = Pause(row.starts_min, row.minutes)
        found[row.round_day_id] = (*found.get(row.round_day_id, ()), pause)
    return found


def day_ends(session: Session, version_id: int) -> dict[int, KeptEnds]:
    """Give the ends of the days that do not start and end at the depot, by the day's id."""
    rows = session.execute(
        select(RoundDayPlace)
        .join(RoundDay, RoundDay.id == RoundDayPlace.round_day_id)
        .where(RoundDay.round_version_id == version_id)
    ).scalars()
    return {
        row.round_day_id: KeptEnds(
            start_key=row.start_key,
            start_latitude_deg=row.start_latitude_deg,
            start_longitude_deg=row.start_longitude_deg,
            end_key=row.end_key,
            end_latitude_deg=row.end_latitude_deg,
            end_longitude_deg=row.end_longitude_deg,
        )
        for row in rows
    }


def stop_costs(session: Session, version_id: int) -> dict[int, KeptCost]:
    """Give what each stop costs, by the stop's id; plans made before costs were kept have none."""
    rows = session.execute(
        select(RoundStopCost)
        .join(RoundStop, RoundStop.id == RoundStopCost.round_stop_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .where(RoundDay.round_version_id == version_id)
    ).scalars()
    return {row.round_stop_id: KeptCost(row.extra_min, row.extra_driving_min) for row in rows}


def acceptances(session: Session, version_id: int) -> dict[int, int]:
    """Give the stops of a version that are accepted, each with the id of its acceptance."""
    rows = session.execute(
        select(StopAcceptance.round_stop_id, StopAcceptance.id)
        .join(RoundStop, RoundStop.id == StopAcceptance.round_stop_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .where(RoundDay.round_version_id == version_id, StopAcceptance.known_until.is_(None))
    )
    return {stop_id: row_id for stop_id, row_id in rows}


def offers(session: Session, version_id: int) -> dict[int, KeptOffer]:
    """Give the cheapest way to add each left-out site, by the id of its row."""
    rows = session.execute(
        select(RoundLeftOutOffer)
        .join(RoundLeftOut, RoundLeftOut.id == RoundLeftOutOffer.round_left_out_id)
        .where(RoundLeftOut.round_version_id == version_id)
    ).scalars()
    return {
        row.round_left_out_id: KeptOffer(row.day, row.crew, row.extra_min, row.over_min)
        for row in rows
    }


def notes(session: Session, version_id: int) -> tuple[str, ...]:
    """Give the planner's sentences on a version, in order."""
    rows = session.execute(
        select(RoundNote.note)
        .where(RoundNote.round_version_id == version_id)
        .order_by(RoundNote.sequence)
    ).scalars()
    return tuple(rows)

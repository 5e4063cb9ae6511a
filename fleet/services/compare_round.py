"""What differs between two versions of a round, stop by stop, in words that a crew reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Set
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.access import clock_text
from fleet.errors import ConflictError
from fleet.services.plan_round import PlannedRound
from fleet.services.round_row import Row, frame_of
from fleet.store.queries.place import sites
from fleet.store.queries.round import (
    KeptRound,
    done_sites,
    round_version,
    versions_in_the_field,
)

SHIFT_MIN = 15
"""A start that shifts by less is told as unchanged (our own choice: people ring for a quarter)."""

COLUMNS = {
    "site_code": "str",
    "site_name": "str",
    "change": "str",
    "from_day": "object",
    "from_crew": "str",
    "from_start": "str",
    "to_day": "object",
    "to_crew": "str",
    "to_start": "str",
    "from_worth_record_days": "float64",
    "to_worth_record_days": "float64",
}


class StopChange(StrEnum):
    """What became of a stop from one version to another; the first that fits is told."""

    OVER = "over"
    """It has its result, or its day was past when the other version was planned."""
    ADDED = "added"
    DROPPED = "dropped"
    OTHER_DAY = "other day"
    OTHER_CREW = "other crew"
    OTHER_TIME = "other time"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a stop sits in a week; ``over`` tells that it has its result."""

    day: date
    crew: tuple[str, ...]
    start_min: int
    worth_record_days: float
    over: bool = False


@dataclass(frozen=True, slots=True)
class Side:
    """One version: its stops by site, the driving of its days, and the first day that it plans."""

    number: int
    first_day: date
    seats: Mapping[str, Seat]
    driving_min: Mapping[tuple[date, tuple[str, ...]], int]

    def worth(self, first_day: date) -> float:
        """Give the worth of the stops from a day on in record-days."""
        return sum(seat.worth_record_days for seat in self.seats.values() if seat.day >= first_day)

    def driving(self, first_day: date) -> int:
        """Give the driving from a day on in minutes."""
        return sum(minutes for (day, _), minutes in self.driving_min.items() if day >= first_day)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two versions held against each other.

    ``frame`` has columns `COLUMNS` in order of the later day, then the earlier one. Sums of worth
    and driving are of the days that both versions plan.
    """

    before_number: int
    after_number: int
    frame: pd.DataFrame
    counts: Mapping[StopChange, int]
    worth_before: float
    worth_after: float
    driving_min_before: int
    driving_min_after: int

    @property
    def changed(self) -> pd.DataFrame:
        """Give the rows of the stops that changed or are over."""
        return self.frame[self.frame["change"] != StopChange.SAME.value].reset_index(drop=True)


def compare_round(
    sessions: sessionmaker[Session],
    round_ref: str,
    *,
    before: int | None = None,
    after: int | None = None,
) -> Comparison:
    """Compare two versions of a round.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    round_ref : str
        Code of the round.
    before, after : int, optional
        Numbers of versions. Without ``after`` the newest; without ``before`` the one in the field,
        or the one before where that is the newest.

    Returns
    -------
    Comparison
        One row for each site that is a stop of either.

    Raises
    ------
    NotFoundError
        No such round or version.
    ConflictError
        There is only one version.
    """
    with sessions() as session:
        newer = round_version(session, round_ref, number=after)
        number = before or _version_before(session, newer)
        older = round_version(session, round_ref, number=number)
        names = {code: site.name for code, site in sites(session).items()}
        done = done_sites(session, round_ref)
    return hold_against(kept_side(older, done), kept_side(newer), names)


def kept_side(kept: KeptRound, done: Set[str] = frozenset()) -> Side:
    """Give a version on record as a side of a comparison; ``done`` are sites done by now."""
    return Side(
        number=kept.number,
        first_day=kept.first_day,
        seats={
            stop.site_code: Seat(
                day=day.day,
                crew=day.crew,
                start_min=stop.start_min,
                worth_record_days=stop.worth_record_days,
                over=stop.result is not None or stop.site_code in done,
            )
            for day in kept.days
            for stop in day.stops
        },
        driving_min={
            (day.day, day.crew): day.back_drive_min + sum(stop.drive_min for stop in day.stops)
            for day in kept.days
        },
    )


def planned_side(planned: PlannedRound) -> Side:
    """Give a plan, kept or not, as a side of a comparison."""
    days = planned.plan.days
    return Side(
        number=planned.number,
        first_day=planned.first_day,
        seats={
            stop.site_code: Seat(
                day=day.day,
                crew=day.technician_codes,
                start_min=stop.start_min,
                worth_record_days=planned.week.work[stop.site_code].worth,
            )
            for day in days
            for stop in day.stops
        },
        driving_min={(day.day, day.technician_codes): day.driving_min for day in days},
    )


def hold_against(older: Side, newer: Side, names: Mapping[str, str]) -> Comparison:
    """Hold two sides against each other; ``names`` are of sites by code."""
    rows = _rows(older, newer, names)
    first = max(older.first_day, newer.first_day)
    return Comparison(
        before_number=older.number,
        after_number=newer.number,
        frame=frame_of(rows, COLUMNS),
        counts=Counter(StopChange(str(row["change"])) for row in rows),
        worth_before=older.worth(first),
        worth_after=newer.worth(first),
        driving_min_before=older.driving(first),
        driving_min_after=newer.driving(first),
    )


def _version_before(session: Session, newer: KeptRound) -> int:
    driven = versions_in_the_field(session).get(newer.round_ref)
    if driven is not None and driven < newer.number:
        return driven
    if newer.number == 1:
        raise ConflictError(
            f"Round {newer.round_ref} has only version 1: there is nothing to compare it with."
        )
    return newer.number - 1


def _rows(older: Side, newer: Side, names: Mapping[str, str]) -> list[Row]:
    old, new = older.seats, newer.seats
    last = {**old, **new}
    codes = sorted(last, key=lambda code: (last[code].day, last[code].crew, last[code].start_min))
    return [
        {
            "site_code": code,
            "site_name": names.get(code, ""),
            "change": _change(old.get(code), new.get(code), newer.first_day).value,
            **_end("from", old.get(code)),
            **_end("to", new.get(code)),
        }
        for code in codes
    ]


def _change(old: Seat | None, new: Seat | None, replanned_from: date) -> StopChange:
    if old is None:
        return StopChange.ADDED
    if new is None:
        return StopChange.OVER if old.over or old.day < replanned_from else StopChange.DROPPED
    if new.day != old.day:
        return StopChange.OTHER_DAY
    if new.crew != old.crew:
        return StopChange.OTHER_CREW
    shifted = abs(new.start_min - old.start_min) >= SHIFT_MIN
    return StopChange.OTHER_TIME if shifted else StopChange.SAME


def _end(which: str, seat: Seat | None) -> Row:
    return {
        f"{which}_day": seat.day if seat else None,
        f"{which}_crew": " ".join(seat.crew) if seat else "",
        f"{which}_start": clock_text(seat.start_min) if seat else "",
        f"{which}_worth_record_days": round(seat.worth_record_days, 2) if seat else None,
    }

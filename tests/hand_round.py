"""A small round put into the records by hand, for tests that need stops and no planner."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.code import RoundStatus
from fleet.store.journal import Wish, Work, writing
from fleet.store.models.people import Depot, Technician
from fleet.store.models.round import (
    Round,
    RoundCrew,
    RoundDay,
    RoundEvent,
    RoundStop,
    RoundVersion,
)
from fleet.store.models.site import Site
from tests.factories import TODAY


def keep_round(sessions: sessionmaker[Session], clock: Clock) -> str:
    """Keep a round of two days: T01 to S02 and S01 on 2025-06-03, T02 to S03 the day after."""
    wish = Wish("tester", "round plan", "")
    with writing(sessions, wish, clock) as work:
        ids = {
            model: {
                code: row_id for code, row_id in work.session.execute(select(model.code, model.id))
            }
            for model in (Depot, Technician, Site)
        }
        (round_id,) = work.add(Round, [{"code": "2025-W23-NORTH"}])
        head = {
            "round_id": round_id,
            "number": 1,
            "depot_id": ids[Depot]["NORTH"],
            "first_day": date(2025, 6, 2),
            "last_day": date(2025, 6, 8),
            "evidence_as_of": TODAY,
            "horizon_days": 365,
            "seed": 1,
            "iterations": 1,
            "drive_price_days_per_h": 0.0,
            "solver": "by hand",
            "travel_source": "by hand",
            "worth_record_days": 0.0,
        }
        (version_id,) = work.add(RoundVersion, [head])
        _add_event(work, version_id)
        for day, crew, stops in (
            (date(2025, 6, 4), "T02", ["S03"]),
            (date(2025, 6, 3), "T01", ["S02", "S01"]),
        ):
            _add_day(work, version_id, ids, day, crew, stops)
    return "2025-W23-NORTH"


def _add_event(work: Work, version_id: int) -> None:
    work.add(RoundEvent, [{"round_version_id": version_id, "status": RoundStatus.PLANNED}])


def _add_day(
    work: Work,
    version_id: int,
    ids: dict[type[Any], dict[str, int]],
    day: date,
    crew: str,
    stops: list[str],
) -> None:
    times = {"leave_min": 450, "back_drive_min": 30, "back_drive_km": 20.0, "back_min": 900}
    row = {"round_version_id": version_id, "day": day, "rest_min": 0, **times}
    (day_id,) = work.add(RoundDay, [row])
    work.add(RoundCrew, [{"round_day_id": day_id, "technician_id": ids[Technician][crew]}])
    for number, code in enumerate(stops, start=1):
        start = 480 + 60 * number
        stop = {
            "round_day_id": day_id,
            "sequence": number,
            "site_id": ids[Site][code],
            "drive_min": 30,
            "drive_km": 20.0,
            "arrive_min": start,
            "start_min": start,
            "depart_min": start + 50,
            "worth_record_days": 1.0,
            "must_visit": False,
        }
        work.add(RoundStop, [stop])

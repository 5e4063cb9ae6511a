"""Rounds as tables: the list, the stops of one, and what was left out."""

from __future__ import annotations

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.access import clock_text
from fleet.services.plan_round import PlannedRound
from fleet.store.queries.crew import depot
from fleet.store.queries.place import sites
from fleet.store.queries.round import (
    KeptRound,
    round_version,
    rounds,
    versions_in_the_field,
)

ROUND_COLUMNS = {
    "round_ref": "str",
    "version": "int64",
    "status": "str",
    "version_in_the_field": "Int64",
    "depot_code": "str",
    "first_day": "object",
    "last_day": "object",
    "evidence_as_of": "object",
    "worth_record_days": "float64",
}
STOP_COLUMNS = {
    "day": "object",
    "crew": "str",
    "stop": "int64",
    "site_code": "str",
    "site_name": "str",
    "serials": "str",
    "drive_min": "int64",
    "drive_km": "float64",
    "arrive": "str",
    "start": "str",
    "depart": "str",
    "worth_record_days": "float64",
    "must_visit": "bool",
    "result": "str",
    "reason": "str",
    "visit_ref": "str",
}
RESULT_COLUMNS = frozenset({"result", "reason", "visit_ref"})
LEFT_OUT_COLUMNS = {
    "site_code": "str",
    "site_name": "str",
    "worth_record_days": "float64",
    "must_visit": "bool",
    "reason": "str",
    "detail": "str",
}


def list_rounds(sessions: sessionmaker[Session], *, depot_code: str | None = None) -> pd.DataFrame:
    """Give the newest version of every round, newest week first.

    Returns
    -------
    DataFrame
        Columns `ROUND_COLUMNS`; ``version_in_the_field`` is the one that was issued last and is
        not closed, missing where there is none.

    Raises
    ------
    NotFoundError
        No such depot.
    """
    with sessions() as session:
        if depot_code is not None:
            depot(session, depot_code)
        driven = versions_in_the_field(session)
        rows: list[dict[str, object]] = [
            {
                "round_ref": kept.round_ref,
                "version": kept.number,
                "status": str(kept.status),
                "version_in_the_field": driven.get(kept.round_ref),
                "depot_code": kept.depot_code,
                "first_day": kept.first_day,
                "last_day": kept.last_day,
                "evidence_as_of": kept.evidence_as_of,
                "worth_record_days": round(kept.worth_record_days, 2),
            }
            for kept in rounds(session, depot_code=depot_code)
        ]
    return _frame(rows, ROUND_COLUMNS)


def version_in_the_field(sessions: sessionmaker[Session], round_ref: str) -> int | None:
    """Give the version of a round that is being driven, None where none is."""
    with sessions() as session:
        return versions_in_the_field(session).get(round_ref)


def show_round(
    sessions: sessionmaker[Session], round_ref: str, *, number: int | None = None
) -> tuple[KeptRound, pd.DataFrame, pd.DataFrame]:
    """Give one round with its stops and what was left out.

    Returns
    -------
    tuple
        The round; stops with columns `STOP_COLUMNS` in driving order; left-out sites with
        columns `LEFT_OUT_COLUMNS`, must-visit first, then greatest worth.

    Raises
    ------
    NotFoundError
        No such round or version.
    """
    with sessions() as session:
        kept = round_version(session, round_ref, number=number)
        names = {code: site.name for code, site in sites(session).items()}
    stops = [
        {
            "day": day.day,
            "crew": " ".join(day.crew),
            "stop": stop.sequence,
            "site_code": stop.site_code,
            "site_name": names.get(stop.site_code, ""),
            "serials": " ".join(gauge.serial for gauge in stop.gauges),
            "drive_min": stop.drive_min,
            "drive_km": round(stop.drive_km, 1),
            "arrive": clock_text(stop.arrive_min),
            "start": clock_text(stop.start_min),
            "depart": clock_text(stop.depart_min),
            "worth_record_days": round(stop.worth_record_days, 2),
            "must_visit": stop.must_visit,
            "result": str(stop.result.outcome) if stop.result else "",
            "reason": str(stop.result.reason or "") if stop.result else "",
            "visit_ref": (stop.result.visit_ref or "") if stop.result else "",
        }
        for day in kept.days
        for stop in day.stops
    ]
    left_out = [
        {
            "site_code": left.site_code,
            "site_name": names.get(left.site_code, ""),
            "worth_record_days": round(left.worth_record_days, 2),
            "must_visit": left.must_visit,
            "reason": str(left.reason),
            "detail": left.detail,
        }
        for left in kept.left_out
    ]
    return kept, _frame(stops, STOP_COLUMNS), _frame(left_out, LEFT_OUT_COLUMNS)


def planned_frames(planned: PlannedRound) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give a plan that may not be kept, as the stops and the left-out sites of `show_round`."""
    work = planned.week.work
    stops: list[dict[str, object]] = [
        {
            "day": day.day,
            "crew": " ".join(day.technician_codes),
            "stop": number,
            "site_code": stop.site_code,
            "site_name": work[stop.site_code].site.name,
            "serials": " ".join(g.state.gauge.serial for g in work[stop.site_code].gauges),
            "drive_min": stop.drive_min,
            "drive_km": round(stop.drive_km, 1),
            "arrive": clock_text(stop.arrive_min),
            "start": clock_text(stop.start_min),
            "depart": clock_text(stop.depart_min),
            "worth_record_days": round(work[stop.site_code].worth, 2),
            "must_visit": stop.site_code in planned.week.must_visit,
        }
        for day in planned.plan.days
        for number, stop in enumerate(day.stops, start=1)
    ]
    left_out: list[dict[str, object]] = [
        {
            "site_code": left.site_code,
            "site_name": work[left.site_code].site.name,
            "worth_record_days": round(work[left.site_code].worth, 2),
            "must_visit": left.must_visit,
            "reason": str(left.reason),
            "detail": left.detail,
        }
        for left in planned.plan.left_out
    ]
    planned_columns = {k: v for k, v in STOP_COLUMNS.items() if k not in RESULT_COLUMNS}
    return _frame(stops, planned_columns), _frame(left_out, LEFT_OUT_COLUMNS)


def _frame(rows: list[dict[str, object]], columns: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(columns)).astype(columns)

"""Rounds as tables: the list, the stops of one, and what was left out."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.services.plan_round import PlannedRound
from fleet.services.round_row import (
    LEFT_OUT_COLUMNS,
    RESULT_COLUMNS,
    STOP_COLUMNS,
    frame_of,
    kept_left_out_rows,
    kept_stop_rows,
    planned_left_out_rows,
    planned_stop_rows,
)
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
    return frame_of(rows, ROUND_COLUMNS)


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
    stops, left_out = kept_stop_rows(kept, names), kept_left_out_rows(kept, names)
    return kept, frame_of(stops, STOP_COLUMNS), frame_of(left_out, LEFT_OUT_COLUMNS)


def rounds_frame(made: Sequence[PlannedRound]) -> pd.DataFrame:
    """Give the stops of several plans with ``round_ref`` before the columns of one."""
    frames = [planned_frames(planned)[0] for planned in made]
    for planned, frame in zip(made, frames, strict=True):
        frame.insert(0, "round_ref", planned.round_ref)
    empty = frame_of([], {"round_ref": "str", **STOP_COLUMNS}).drop(columns=list(RESULT_COLUMNS))
    return pd.concat(frames, ignore_index=True) if frames else empty


def planned_frames(planned: PlannedRound) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give a plan that may not be kept, as the stops and the left-out sites of `show_round`."""
    columns = {k: v for k, v in STOP_COLUMNS.items() if k not in RESULT_COLUMNS}
    return (
        frame_of(planned_stop_rows(planned), columns),
        frame_of(planned_left_out_rows(planned), LEFT_OUT_COLUMNS),
    )

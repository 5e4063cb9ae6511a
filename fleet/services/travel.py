"""Where driving times come from: one choice a depot, whichever the source."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from pathlib import Path

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock, utc_now
from fleet.domain.plan import Place
from fleet.errors import InputError, NotFoundError
from fleet.ingest.contract import Column, Kind, TableContract
from fleet.ingest.csv_file import read_csv
from fleet.ingest.draft import read_draft
from fleet.ingest.file_log import FileLog
from fleet.ingest.link import check_keys
from fleet.ingest.route_service import RouteService
from fleet.planning.distance import great_circle_travel
from fleet.planning.drives import Drives, Leg, known_travel, matrix_drives
from fleet.services.learn_travel import depot_drives, learned_pace
from fleet.services.road_travel import extract_drives, file_day
from fleet.services.round_problem import TravelSource
from fleet.services.service_travel import service_drives
from fleet.services.travel_setting import (
    TravelKind,
    TravelSetting,
    named_depots,
    read_travel_setting,
)
from fleet.settings import Settings
from fleet.store.queries.crew import depots

MATRIX = TableContract(
    name="drives",
    meaning="Drives between places, each way given separately.",
    columns=(
        Column(name="from_key", kind=Kind.TEXT, meaning="a site code, or depot:CODE"),
        Column(name="to_key", kind=Kind.TEXT, meaning="a site code, or depot:CODE"),
        Column(name="minutes", kind=Kind.NUMBER, meaning="driving time", low=0, high=10_000),
        Column(name="km", kind=Kind.NUMBER, meaning="distance by road", low=0, high=100_000),
    ),
    key=("from_key", "to_key"),
)


@dataclass(frozen=True, slots=True)
class TravelChoice:
    """How drives are timed: what was named, and where what was computed is kept.

    ``named`` is a source or a file of settings, as `read_travel_setting` takes it.
    """

    named: str
    cache: Path
    clock: Clock = utc_now


def travel_choice(named: str | None, settings: Settings) -> TravelChoice:
    """Settle how drives are timed: option first, then the settings."""
    return TravelChoice(named or settings.travel, settings.cache)


def travel_source(
    choice: TravelChoice,
    depot_code: str,
    *,
    sessions: sessionmaker[Session],
    as_of: date,
    known_on: datetime | None = None,
) -> TravelSource:
    """Choose the source of a depot's driving times.

    Parameters
    ----------
    choice : TravelChoice
        What was named.
    depot_code : str
        Whose drives.
    sessions : sessionmaker
        Of the records; read only where something is learned or checked.
    as_of : date
        Last day whose visits are learned from.
    known_on : datetime, optional
        Learned from the records as they were known then; None is now.

    Returns
    -------
    callable
        Gives the drives between places; a gap falls back to the great circle and is told.

    Raises
    ------
    InputError
        With every problem of a file.
    NotFoundError
        The settings name a depot that is not there.
    """
    return travel_sources(choice, sessions=sessions, as_of=as_of, known_on=known_on)(depot_code)


def travel_sources(
    choice: TravelChoice,
    *,
    sessions: sessionmaker[Session],
    as_of: date,
    known_on: datetime | None = None,
) -> Callable[[str], TravelSource]:
    """Choose the sources of all depots; as `travel_source`, but files are read once.

    Returns
    -------
    callable
        From the code of a depot to its source.
    """
    _check_depots(choice, sessions)
    read_travel_setting(choice.named, "")  # what is wrong with it is wrong for every depot
    legs_of = cache(read_legs)

    def source_of(depot_code: str) -> TravelSource:
        setting = read_travel_setting(choice.named, depot_code)
        pace = setting.pace
        if setting.kind is TravelKind.LEARNED:
            with sessions() as session:
                found = depot_drives(session, depot_code, as_of=as_of, known_on=known_on)
            pace = learned_pace(found, pace)
        if setting.kind in (TravelKind.GREAT_CIRCLE, TravelKind.LEARNED):
            return lambda places: great_circle_travel(places, pace)
        matrix = setting.kind is TravelKind.MATRIX
        legs = legs_of(Path(setting.source)) if matrix else []
        return lambda places: known_travel(places, _drives(places, setting, choice, legs), pace)

    return source_of


def read_legs(path: Path) -> list[Leg]:
    """Read the legs of a matrix file.

    Parameters
    ----------
    path : Path
        CSV in UTF-8 with the columns of `MATRIX`.

    Raises
    ------
    InputError
        With every problem: header, cells, ranges, a pair that comes twice.
    """
    log = FileLog(path.name)
    rows = read_csv(path, MATRIX, log)
    draft = read_draft(MATRIX, rows, log, today=date.max)  # no column holds a day
    check_keys(draft)
    if log.problems:
        raise InputError(log.problems)
    return [Leg(**row.values) for row in draft.rows]


def _drives(
    places: Sequence[Place], setting: TravelSetting, choice: TravelChoice, legs: Sequence[Leg]
) -> Drives:
    if setting.kind is TravelKind.ROADS:
        return extract_drives(places, setting, choice.cache)
    if setting.kind is TravelKind.SERVICE:
        service = RouteService(setting.source)
        today = choice.clock().date()
        return service_drives(places, service, choice.cache, today=today, walk_kmh=setting.walk_kmh)
    path = Path(setting.source)
    dated = setting.dated or file_day(path)
    return matrix_drives(places, legs, source=f"Matrix {path.name} of {dated}")


def _check_depots(choice: TravelChoice, sessions: sessionmaker[Session]) -> None:
    named = named_depots(choice.named)
    if not named:
        return
    with sessions() as session:
        known = [depot.code for depot in depots(session)]
    strange = sorted(named.difference(known))
    if strange:
        raise NotFoundError(
            f"{Path(choice.named).name} has settings for {', '.join(strange)}, which is no depot. "
            f"Depots: {', '.join(known) or 'none are loaded'}."
        )

"""A depot's setting of drives beside what its own records say of them, as a table."""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.plan import Place
from fleet.services.learn_travel import DepotDrives, depot_drives, learned_pace
from fleet.services.round_problem import TravelSource
from fleet.services.travel import TravelChoice, travel_source
from fleet.services.travel_setting import TravelKind, TravelSetting, read_travel_setting
from fleet.store.queries.crew import KeptDepot, depots
from fleet.store.queries.crew import depot as kept_depot

TRAVEL_COLUMNS = {
    "depot_code": "str",
    "source": "str",
    "legs": "int64",
    "days": "int64",
    "set_aside": "int64",
    "recorded_over_source": "float64",
    "road_over_straight": "float64",
    "learned_circuity": "float64",
    "circuity_low": "float64",
    "circuity_high": "float64",
    "learned_speed_kmh": "float64",
    "learned_start_min": "float64",
    "note": "str",
}
KNOWS_KM = frozenset({TravelKind.MATRIX, TravelKind.ROADS, TravelKind.SERVICE})


def travel_table(
    sessions: sessionmaker[Session],
    choice: TravelChoice,
    *,
    depot_code: str | None,
    as_of: date,
    known_on: datetime | None = None,
) -> pd.DataFrame:
    """Hold each depot's source of driving times against its recorded drives.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    choice : TravelChoice
        The source in use.
    depot_code : str or None
        One depot; None is every depot.
    as_of : date
        Last day whose visits are seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    DataFrame
        Columns `TRAVEL_COLUMNS`, a row a depot in order of code. ``recorded_over_source`` is the
        median of recorded over planned time: 1.1 says that drives take a tenth longer than the
        source has it. ``road_over_straight`` is the source's own circuity, missing where it
        knows no roads. What is learned is at the speed of the setting, or, where the source
        knows the km by road, circuity and speed each; missing with fewer than 30 drives.

    Raises
    ------
    NotFoundError
        No such depot.
    InputError, FleetError
        From the source.
    """
    with sessions() as session:
        chosen = [kept_depot(session, depot_code)] if depot_code else depots(session)
        found = [
            (depot, depot_drives(session, depot.code, as_of=as_of, known_on=known_on))
            for depot in chosen
        ]
    sources = [
        travel_source(choice, depot.code, sessions=sessions, as_of=as_of, known_on=known_on)
        for depot in chosen
    ]
    rows = [
        _row(depot, drives, read_travel_setting(choice.named, depot.code), source)
        for (depot, drives), source in zip(found, sources, strict=True)
    ]
    return pd.DataFrame(rows, columns=[*TRAVEL_COLUMNS]).astype(TRAVEL_COLUMNS)


def _row(
    depot: KeptDepot, found: DepotDrives, setting: TravelSetting, source: TravelSource
) -> dict[str, object]:
    start = Place(f"depot:{depot.code}", depot.latitude_deg, depot.longitude_deg)
    travel = source((start, *found.places))
    by_road = found.circuity(travel) if setting.kind in KNOWS_KM else None
    return {
        "depot_code": depot.code,
        "source": travel.source,
        "legs": len(found.drives),
        "days": found.days,
        "set_aside": found.set_aside,
        "recorded_over_source": _round(found.over(travel)),
        "road_over_straight": _round(by_road),
        **_learned(found, setting.pace.speed_kmh, by_road),
        "note": learned_pace(found, setting.pace).basis,
    }


def _learned(found: DepotDrives, speed_kmh: float, by_road: float | None) -> dict[str, object]:
    if not found.enough:
        return {}
    fit = found.fit()
    speed = speed_kmh if by_road is None else by_road * 60.0 / fit.min_per_km
    return {
        "learned_circuity": _round(fit.min_per_km * speed / 60.0),
        "circuity_low": _round(fit.low * speed / 60.0),
        "circuity_high": _round(fit.high * speed / 60.0),
        "learned_speed_kmh": round(speed, 1),
        "learned_start_min": round(fit.start_min, 1),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)

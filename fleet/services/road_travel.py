"""Drives over the user's own road extract, kept on disk once they are computed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from math import ceil, isfinite
from pathlib import Path

import numpy as np

from fleet.domain import road_rule
from fleet.domain.plan import Place, Walk
from fleet.domain.road import Circle, Roads
from fleet.ingest.array_cache import Arrays, cached_arrays, content_hash, keep_arrays
from fleet.ingest.road_extract import read_roads
from fleet.planning.distance import haversine_km
from fleet.planning.drives import Drives
from fleet.planning.road_graph import RoadDrives, road_drives
from fleet.services.travel_setting import TravelSetting

FORM = 1
"""Raised whenever the same extract would give other roads or drives; it is part of every key."""

RULES = (
    road_rule.CLASS_KMH,
    road_rule.LIMIT_SHARE,
    road_rule.FERRY_KMH,
    sorted(road_rule.CLOSED),
    sorted(road_rule.PRIVATE),
)
ROUND_TRIP = 2
WAY_ROUND = 1.3
"""Roads to a site may lead farther out than the site: the crop's margin. A figure of our own."""

MARGIN_KM = 15.0
STEP_KM = 25.0
"""The crop grows in steps, so that a site more or less keeps what was read."""

LEAST_WALK_KM = 0.1
"""A gauge this near the road is at the road."""

DEPOT_PREFIX = "depot:"


def extract_drives(places: Sequence[Place], setting: TravelSetting, cache: Path) -> Drives:
    """Find the drives between places over a road extract.

    Parameters
    ----------
    places : sequence of Place
        The first is the depot around which the extract is cropped.
    setting : TravelSetting
        Its source is the extract.
    cache : Path
        Folder for what was computed before from the same bytes.

    Returns
    -------
    Drives
        NaN for a place without a road near it, or without a way there and back.

    Raises
    ------
    InputError, FleetError
        As in `read_roads`.
    """
    path = Path(setting.source)
    digest = content_hash(path)
    crop = _crop(places, setting.radius_km)
    base = ("roads", FORM, RULES, digest, crop, setting.private_roads)
    spots = tuple((place.latitude_deg, place.longitude_deg) for place in places)
    found = cached_arrays(cache, (*base, spots))
    if found is None:
        found = _found(places, _roads(path, crop, setting, (cache, base)))
        keep_arrays(cache, (*base, spots), found)
    return Drives(
        minutes=np.asarray(found["minutes"], dtype=np.float64),
        km=np.asarray(found["km"], dtype=np.float64),
        source=f"Roads: {path.name} of {_dated(found, setting, path)} ({digest[:8]})",
        walks=walks(places, found["off_km"].tolist(), walk_kmh=setting.walk_kmh),
    )


def walks(places: Sequence[Place], off_km: Iterable[float], *, walk_kmh: float) -> tuple[Walk, ...]:
    """Give the ways on foot from the road to the sites, there and back in whole minutes.

    Parameters
    ----------
    places : sequence of Place
        Depots need none.
    off_km : iterable of float
        How far each place lies off the road; NaN is not known.
    walk_kmh : float
        Walking speed.
    """
    return tuple(
        Walk(place.key, round(km, 3), ceil(ROUND_TRIP * km / walk_kmh * 60.0 - 1e-9))
        for place, km in zip(places, off_km, strict=True)
        if isfinite(km) and km > LEAST_WALK_KM and not place.key.startswith(DEPOT_PREFIX)
    )


def _crop(places: Sequence[Place], radius_km: float | None) -> Circle:
    depot = places[0]
    if radius_km is None:
        latitudes = [place.latitude_deg for place in places]
        farthest = haversine_km(latitudes, [place.longitude_deg for place in places])[0].max()
        radius_km = STEP_KM * ceil((WAY_ROUND * float(farthest) + MARGIN_KM) / STEP_KM)
    return Circle(depot.latitude_deg, depot.longitude_deg, radius_km)


def _roads(
    path: Path, crop: Circle, setting: TravelSetting, kept_as: tuple[Path, tuple[object, ...]]
) -> Roads:
    kept = cached_arrays(*kept_as)
    if kept is not None:
        dated = date.fromordinal(int(kept["dated"])) if int(kept["dated"]) else None
        arrays = {name: kept[name] for name in kept if name != "dated"}
        return Roads(**arrays, dated=dated)  # type: ignore[arg-type]  # as they were kept
    roads = read_roads(path, crop, private_open=setting.private_roads)
    arrays = {f.name: getattr(roads, f.name) for f in fields(roads) if f.name != "dated"}
    keep_arrays(*kept_as, {**arrays, "dated": _ordinal(roads.dated)})
    return roads


def _found(places: Sequence[Place], roads: Roads) -> Arrays:
    drives: RoadDrives = road_drives(places, roads)
    return {
        "minutes": drives.minutes,
        "km": drives.km,
        "off_km": drives.off_km,
        "dated": _ordinal(roads.dated),
    }


def _ordinal(dated: date | None) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    return np.array(0 if dated is None else dated.toordinal(), dtype=np.int64)


def _dated(found: Arrays, setting: TravelSetting, path: Path) -> date:
    """Give the day of the data: as set, as the extract says, else the day of the file."""
    told = int(found["dated"])
    if setting.dated or told:
        return setting.dated or date.fromordinal(told)
    return file_day(path)


def file_day(path: Path) -> date:
    """Give the day in UTC on which a file was last written."""
    return datetime.fromtimestamp(path.stat().st_mtime, tz=UTC).date()

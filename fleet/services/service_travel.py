"""Drives from a routing service that the user runs, kept on disk for a while."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np

from fleet.domain.plan import Place
from fleet.errors import FleetError, FleetWarning
from fleet.ingest.array_cache import Arrays, cached_arrays, keep_arrays
from fleet.ingest.route_service import RouteService
from fleet.planning.drives import Drives
from fleet.services.road_travel import walks

KEPT_DAYS = 30
"""Answers older than this are asked for again. A figure of our own."""


def service_drives(
    places: Sequence[Place], service: RouteService, cache: Path, *, today: date, walk_kmh: float
) -> Drives:
    """Find the drives between places by a routing service.

    Parameters
    ----------
    places : sequence of Place
        Sites and depots.
    service : RouteService
        Whom to ask.
    cache : Path
        Folder for answers; the same places are not asked for again within 30 days.
    today : date
        Told as the day of new answers.
    walk_kmh : float
        Walking speed beyond the road.

    Returns
    -------
    Drives
        NaN where the service knows no way.

    Raises
    ------
    FleetError
        As in `RouteService.drives`, where no older answer is kept.

    Warns
    -----
    FleetWarning
        The service does not answer and older answers are used.
    """
    spots = tuple((place.latitude_deg, place.longitude_deg) for place in places)
    parts = ("service", 1, service.address, spots)
    kept = cached_arrays(cache, parts)
    if kept is None or not 0 <= today.toordinal() - int(kept["asked"]) <= KEPT_DAYS:
        kept = _asked(places, service, today, kept)
        keep_arrays(cache, parts, kept)
    asked = date.fromordinal(int(kept["asked"]))
    return Drives(
        minutes=np.asarray(kept["minutes"], dtype=np.float64),
        km=np.asarray(kept["km"], dtype=np.float64),
        source=f"Routing service {service.name}, answers of {asked}",
        walks=walks(places, kept["off_km"].tolist(), walk_kmh=walk_kmh),
    )


def _asked(
    places: Sequence[Place], service: RouteService, today: date, older: Arrays | None
) -> Arrays:
    try:
        answer = service.drives(places)
    except FleetError as error:
        if older is None:
            raise
        asked = date.fromordinal(int(older["asked"]))
        warnings.warn(f"{error} Answers of {asked} are used.", FleetWarning, stacklevel=3)
        return older
    return {
        "minutes": answer.minutes,
        "km": answer.km,
        "off_km": answer.off_km,
        "asked": np.array(today.toordinal(), dtype=np.int64),
    }

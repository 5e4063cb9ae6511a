"""Refuse positions that no map, route or calendar can hold, before anything is written."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.domain.sheet import RouteSheet
from fleet.errors import InputError, Problem

_LIMITS = {"latitude_deg": 90.0, "longitude_deg": 180.0}
"""Degrees of WGS 84; beyond them RFC 7946 and the GPX 1.1 schema have no meaning."""


def check_positions(sheet: RouteSheet) -> None:
    """Refuse a sheet with a position outside the range of WGS 84 degrees.

    Parameters
    ----------
    sheet : RouteSheet
        All starts, stops and map lines are looked at.

    Raises
    ------
    InputError
        Some latitude is not within -90 to 90 or some longitude not within -180 to 180, or is
        not a number; every such value is named.
    """
    problems = [
        Problem(
            f"round {sheet.round_ref}", None, f"{place} {column}", str(value), _expected(column)
        )
        for place, latitude, longitude in _positions(sheet)
        for column, value in (("latitude_deg", latitude), ("longitude_deg", longitude))
        if not abs(value) <= _LIMITS[column]
    ]
    if problems:
        raise InputError(problems)


def _expected(column: str) -> str:
    limit = _LIMITS[column]
    return f"a number from {-limit:g} to {limit:g} is expected (decimal degrees, WGS 84)."


def _positions(sheet: RouteSheet) -> Iterator[tuple[str, float, float]]:
    for day in sheet.days:
        yield f"start of {day.day}", day.start_latitude_deg, day.start_longitude_deg
        if day.end_place:
            yield f"end of {day.day}", *day.end[1:]
        for stop in day.stops:
            yield f"site {stop.site_code}", stop.latitude_deg, stop.longitude_deg
    for line in sheet.map_lines:
        for longitude, latitude in line.points:
            yield f"map line {line.kind}", latitude, longitude

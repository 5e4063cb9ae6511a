"""A round for a navigation device: GPX 1.1, one route a day in driving order."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from fleet.domain.sheet import RouteSheet, SheetDay, SheetStop
from fleet.reports.card_words import stop_marks
from fleet.reports.plain_sheet import plain_sheet
from fleet.reports.wording import day_words

if TYPE_CHECKING:
    from gpxpy.gpx import GPXRoute, GPXRoutePoint

DECIMALS = 6
"""Of a degree: about 0.1 m."""


def route_gpx(sheet: RouteSheet) -> bytes:
    """Write a route sheet as GPX 1.1.

    Parameters
    ----------
    sheet : RouteSheet
        Positions must be within range (`check_positions`).

    Returns
    -------
    bytes
        UTF-8. One ``rte`` a day from its start through the stops to its end; the same for
        the same sheet.

    Notes
    -----
    Source: GPX 1.1 schema (rteType, wptType: element order; gpx: version and creator;
    longitudeType: from -180 up to, not including, 180). Checked against: the rules of the
    schema, element by element (tests/reports/gpx_schema.py).
    """
    from gpxpy.gpx import GPX

    sheet = plain_sheet(sheet)
    document = GPX()
    document.creator = "fleet"
    document.name = f"{sheet.round_ref} {sheet.crew_code}"
    document.description = f"Version {sheet.version}, {sheet.status}"
    document.time = sheet.made_at.astimezone(UTC)
    document.routes = [_route(day, number) for number, day in enumerate(sheet.days, start=1)]
    text: str = document.to_xml(version="1.1")
    return text.encode()


def _route(day: SheetDay, number: int) -> GPXRoute:
    from gpxpy.gpx import GPXRoute

    start = (day.start_name, day.start_latitude_deg, day.start_longitude_deg)
    crew = ", ".join(name for name in day.crew)
    description = f"{crew}: leave {day.leave}, back {day.back}"
    route = GPXRoute(name=day_words(day.day), description=description, number=number)
    route.points = [
        _end(start, f"Leave {day.leave}"),
        *(_point(stop) for stop in day.stops),
        _end(day.end, f"{'Night, arrive' if day.night else 'Back'} {day.back}"),
    ]
    return route


def _point(stop: SheetStop) -> GPXRoutePoint:
    from gpxpy.gpx import GPXRoutePoint

    code, name = stop.site_code, stop.site_name
    times = f"arrive {stop.arrive}, work {stop.start}"
    notes = [f"{name}: {times} to {stop.depart}", *stop_marks(stop)]
    return GPXRoutePoint(
        round(stop.latitude_deg, DECIMALS),
        _longitude(stop.longitude_deg),
        elevation=stop.elevation_m,
        name=f"{stop.sequence} {code}",
        description="; ".join(notes),
    )


def _end(place: tuple[str, float, float], description: str) -> GPXRoutePoint:
    from gpxpy.gpx import GPXRoutePoint

    name, latitude_deg, longitude_deg = place
    return GPXRoutePoint(
        round(latitude_deg, DECIMALS),
        _longitude(longitude_deg),
        name=name,
        description=description,
    )


def _longitude(degrees: float) -> float:
    """Round a longitude; the 180th meridian is written as the schema has it, -180."""
    rounded = round(degrees, DECIMALS)
    return -180.0 if rounded == 180.0 else rounded

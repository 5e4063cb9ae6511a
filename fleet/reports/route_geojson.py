"""A round for a map program: GeoJSON, the stops as points and each day's drive as a line."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import pairwise

from fleet.domain.sheet import RouteSheet, SheetDay, SheetStop
from fleet.reports.card_words import stop_marks
from fleet.reports.plain_sheet import plain_sheet

DECIMALS = 6
"""Of a degree: about 0.1 m (RFC 7946, section 11.2, from memory: six suffice)."""

Position = tuple[float, float]
"""Longitude and latitude in degrees, in this order (RFC 7946, section 3.1.1)."""


def route_geojson(sheet: RouteSheet) -> bytes:
    """Write a route sheet as a GeoJSON FeatureCollection.

    Parameters
    ----------
    sheet : RouteSheet
        Positions must be within range (`check_positions`).

    Returns
    -------
    bytes
        UTF-8, the same for the same sheet. For each day first its line from the start through
        the stops to its end, then one point a stop, in driving order; one feature a line of text.

    Notes
    -----
    Source: RFC 7946: WGS 84 without a crs member, longitude before latitude; a line over the
    180th meridian is cut in two (3.1.9).
    """
    sheet = plain_sheet(sheet)
    features = [
        feature
        for day in sheet.days
        for feature in (_day_line(sheet, day), *(_stop_point(day, stop) for stop in day.stops))
    ]
    lines = ",\n".join(json.dumps(each, ensure_ascii=False, allow_nan=False) for each in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'.encode()


def _day_line(sheet: RouteSheet, day: SheetDay) -> dict[str, object]:
    start = _position(day.start_latitude_deg, day.start_longitude_deg)
    between = [_position(stop.latitude_deg, stop.longitude_deg) for stop in day.stops]
    properties = {
        "kind": "day",
        "round_ref": sheet.round_ref,
        "version": sheet.version,
        "crew_code": sheet.crew_code,
        "day": day.day.isoformat(),
        "crew": [name for name in day.crew],
        "leave": day.leave,
        "back": day.back,
        "driving_min": day.driving_min,
        "driving_km": round(day.driving_km, 3),
    }
    return _feature(line_geometry([start, *between, _position(*day.end[1:])]), properties)


def _stop_point(day: SheetDay, stop: SheetStop) -> dict[str, object]:
    position = _position(stop.latitude_deg, stop.longitude_deg)
    height = [] if stop.elevation_m is None else [round(stop.elevation_m, 2)]
    properties = {
        "kind": "stop",
        "day": day.day.isoformat(),
        "sequence": stop.sequence,
        "site_code": stop.site_code,
        "site_name": stop.site_name,
        "arrive": stop.arrive,
        "start": stop.start,
        "depart": stop.depart,
        "drive_min": stop.drive_min,
        "drive_km": round(stop.drive_km, 3),
        "drive_estimated": stop.straight_line,
        "on_foot": stop.on_foot,
        "serials": [card.serial for card in stop.cards],
        "marks": list(stop_marks(stop)),
    }
    return _feature({"type": "Point", "coordinates": [*position, *height]}, properties)


def _feature(geometry: object, properties: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _position(latitude_deg: float, longitude_deg: float) -> Position:
    return round(longitude_deg, DECIMALS), round(latitude_deg, DECIMALS)


def line_geometry(points: Sequence[Position]) -> dict[str, object]:
    """Make a line through points, cut where a leg is shorter over the 180th meridian.

    Parameters
    ----------
    points : sequence of (longitude, latitude)
        At least two, in degrees.

    Returns
    -------
    dict
        A GeoJSON LineString, or a MultiLineString where the line was cut.

    Examples
    --------
    >>> line_geometry([(170.0, 45.0), (-170.0, 45.0)])["type"]
    'MultiLineString'
    """
    parts: list[list[Position]] = [[points[0]]]
    for start, end in pairwise(points):
        if abs(end[0] - start[0]) > 180:
            edge, latitude = _crossing(start, end)
            parts[-1].append((edge, latitude))
            parts.append([(-edge, latitude)])
        parts[-1].append(end)
    if len(parts) == 1:
        return {"type": "LineString", "coordinates": parts[0]}
    return {"type": "MultiLineString", "coordinates": parts}


def _crossing(start: Position, end: Position) -> Position:
    """Give where a leg meets the 180th meridian, seen from its start."""
    edge = 180.0 if start[0] > 0 else -180.0
    over = end[0] + 2 * edge
    share = (edge - start[0]) / (over - start[0]) if over != start[0] else 0.0
    return edge, round(start[1] + share * (end[1] - start[1]), DECIMALS)

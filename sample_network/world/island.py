"""The shape of the island: coast, height, roads, rivers, and distances upon it."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, hypot, pi, radians, sin, sqrt

from world.dice import Dice

CENTRE_LATITUDE = 44.72
CENTRE_LONGITUDE = -34.75
EARTH_KM = 6371.0088
"""Mean radius of the WGS 84 ellipsoid (IUGG), in km."""
KM_PER_DEGREE = EARTH_KM * pi / 180
COAST_POINTS = 180
_WAVES = (
    (2, 8.5, 0.6),
    (3, 5.0, 2.1),
    (5, 3.2, 4.0),
    (7, 2.2, 1.1),
    (11, 1.6, 0.3),
    (17, 0.9, 2.0),
)
"""Waves of the coast: number around the island, height in km, phase in radians."""


@dataclass(frozen=True, slots=True)
class Point:
    latitude_deg: float
    longitude_deg: float


def coast_km(angle: float) -> float:
    """Give the distance from the middle of the island to its coast, in km."""
    return 49.0 + sum(height * cos(number * angle + phase) for number, height, phase in _WAVES)


def place(angle: float, share: float) -> Point:
    """Give the point at an angle (east = 0) and a share of the way to the coast."""
    far = coast_km(angle) * share
    north, east = far * sin(angle), far * 1.12 * cos(angle)
    scale = KM_PER_DEGREE * cos(radians(CENTRE_LATITUDE))
    return Point(
        round(CENTRE_LATITUDE + north / KM_PER_DEGREE, 5), round(CENTRE_LONGITUDE + east / scale, 5)
    )


def km_between(a: Point, b: Point) -> float:
    """Give the great-circle distance in km (haversine)."""
    lat_a, lat_b = radians(a.latitude_deg), radians(b.latitude_deg)
    half_lat = (lat_b - lat_a) / 2
    half_lon = radians(b.longitude_deg - a.longitude_deg) / 2
    chord = sin(half_lat) ** 2 + cos(lat_a) * cos(lat_b) * sin(half_lon) ** 2
    return 2 * EARTH_KM * asin(sqrt(chord))


def offset_km(point: Point) -> tuple[float, float]:
    """Give how far east and north of the middle a point lies, in km."""
    east = (point.longitude_deg - CENTRE_LONGITUDE) * KM_PER_DEGREE
    return (
        east * cos(radians(CENTRE_LATITUDE)),
        (point.latitude_deg - CENTRE_LATITUDE) * KM_PER_DEGREE,
    )


def height_m(point: Point) -> float:
    """Give the height of the land: one old volcano falling off to the sea."""
    east, north = offset_km(point)
    angle = atan2(north, east / 1.12)
    share = min(hypot(east / 1.12, north) / coast_km(angle), 1.0)
    ridges = 60 * sin(5 * angle) * share * (1 - share) * 4
    return float(4 + 1180 * (1 - share) ** 1.4 + ridges)


def _line(kind: str, name: str, points: list[Point]) -> dict[str, object]:
    pairs = [[round(p.longitude_deg, 4), round(p.latitude_deg, 4)] for p in points]
    return {
        "type": "Feature",
        "properties": {"kind": kind, "name": name},
        "geometry": {"type": "LineString", "coordinates": pairs},
    }


def _coast() -> dict[str, object]:
    dice = Dice("coast")
    points = []
    for number in range(COAST_POINTS):
        angle = 2 * pi * number / COAST_POINTS
        points.append(place(angle, 1 + dice.normal(0, 0.006)))
    pairs = [[round(p.longitude_deg, 4), round(p.latitude_deg, 4)] for p in points]
    return {
        "type": "Feature",
        "properties": {"kind": "coast", "name": "Orvaléa"},
        "geometry": {"type": "Polygon", "coordinates": [[*pairs, pairs[0]]]},
    }


def _ring_road() -> dict[str, object]:
    turns = [2 * pi * number / 90 for number in range(91)]
    points = [place(turn, 0.74 + 0.045 * sin(6 * turn) + 0.02 * cos(13 * turn)) for turn in turns]
    return _line("road", "Ring road", points)


def _trunk_road(start: float, end: float) -> dict[str, object]:
    """Lead from coast to coast past the mountain, bending round its foot."""
    out = [place(start + 0.05 * sin(9 * s), s) for s in (0.88, 0.74, 0.6, 0.48, 0.36, 0.26)]
    turn = (end - start) / 5
    bend = [place(start + turn * step, 0.22) for step in range(1, 5)]
    back = [place(end + 0.05 * sin(9 * s), s) for s in (0.26, 0.36, 0.48, 0.6, 0.74, 0.88)]
    return _line("road", "Trunk road", [*out, *bend, *back])


def _branch_road(name: str, angle: float) -> dict[str, object]:
    steps = [0.76, 0.66, 0.55, 0.45, 0.36, 0.29]
    points = [place(angle + 0.07 * sin(14 * s + angle), s) for s in steps]
    return _line("road", name, points)


def _river(name: str, angle: float) -> dict[str, object]:
    points = []
    for number in range(17):
        share = 0.14 + 0.055 * number * 0.97
        points.append(place(angle + 0.06 * sin(16 * share + 3 * angle), min(share, 0.985)))
    return _line("river", name, points)


def outline(rivers: dict[str, float], *, trunk: tuple[float, float]) -> dict[str, object]:
    """Give the base map as GeoJSON (RFC 7946): coast, main roads, rivers.

    ``rivers`` maps the name of a catchment to the angle of its river.
    """
    features = [_coast(), _ring_road(), _trunk_road(*trunk)]
    for number, (name, angle) in enumerate(rivers.items()):
        features.append(_river(name, angle))
        if number % 2:
            features.append(_branch_road(f"{name} road", angle + 0.16))
    return {"type": "FeatureCollection", "features": features}

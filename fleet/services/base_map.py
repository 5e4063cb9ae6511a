"""Read the user's base map: lines and areas as GeoJSON (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from typing import Any

from fleet.domain.sheet import MapLine
from fleet.errors import InputError, Problem

DEPTHS = {"LineString": 0, "MultiLineString": 1, "Polygon": 1, "MultiPolygon": 2}
"""How many lists stand around the lines of each geometry."""

EXPECTED = "a GeoJSON FeatureCollection of lines and areas in longitude and latitude is expected"


class _FaultError(Exception):
    """Something wrong with one feature, in words."""


def read_map_lines(path: Path) -> tuple[MapLine, ...]:
    """Read the user's base map.

    Parameters
    ----------
    path : Path
        A GeoJSON FeatureCollection of LineString, MultiLineString, Polygon and MultiPolygon with
        an optional property ``kind``: coast, border, road, river or a word of one's own.

    Returns
    -------
    tuple of MapLine
        One a line or ring, in the order of the file.

    Raises
    ------
    InputError
        The file is no such GeoJSON; every faulty feature is named.
    """
    lines: list[MapLine] = []
    problems: list[Problem] = []
    for number, feature in enumerate(_features(path), start=1):
        try:
            lines.extend(_lines(feature))
        except _FaultError as fault:
            problems.append(Problem(path.name, None, None, None, f"feature {number}: {fault}"))
    if problems:
        raise InputError(problems)
    return tuple(lines)


def _features(path: Path) -> list[object]:
    try:
        read = json.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError([Problem(path.name, None, None, None, f"{EXPECTED} ({error})")]) from error
    features = read.get("features") if isinstance(read, dict) else None
    if not isinstance(features, list):
        raise InputError([Problem(path.name, None, None, None, EXPECTED)])
    return features


def _lines(feature: object) -> Iterator[MapLine]:
    geometry = feature.get("geometry") if isinstance(feature, dict) else None
    if not isinstance(feature, dict) or not isinstance(geometry, dict):
        raise _FaultError("a feature with a geometry is expected")
    depth = DEPTHS.get(str(geometry.get("type")))
    if depth is None:
        raise _FaultError(f"{geometry.get('type')!r} found; {', '.join(DEPTHS)} is expected")
    properties = feature.get("properties")
    kind = properties.get("kind") if isinstance(properties, dict) else None
    for line in _unpacked(geometry.get("coordinates"), depth):
        yield MapLine(str(kind or "line"), tuple(_position(point) for point in _list(line, 2)))


def _unpacked(coordinates: object, depth: int) -> Iterator[object]:
    if depth == 0:
        yield coordinates
        return
    for part in _list(coordinates, 1):
        yield from _unpacked(part, depth - 1)


def _list(value: object, least: int) -> list[Any]:
    if not isinstance(value, list) or len(value) < least:
        raise _FaultError("a line of at least two positions is expected")
    return value


def _position(point: object) -> tuple[float, float]:
    numbers = point[:2] if isinstance(point, list) else []
    good = len(numbers) == 2 and all(
        isinstance(number, int | float) and not isinstance(number, bool) and isfinite(number)
        for number in numbers
    )
    if not good or abs(numbers[0]) > 180.0 or abs(numbers[1]) > 90.0:
        raise _FaultError(f"{point!r:.60} is no position of longitude and latitude in degrees")
    return float(numbers[0]), float(numbers[1])

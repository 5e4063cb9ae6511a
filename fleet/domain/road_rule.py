"""Which ways of an OpenStreetMap extract a vehicle may use, in which direction and how fast.

The tags and their meaning are those of the OpenStreetMap wiki (highway, access, oneway, maxspeed,
route=ferry, duration), from memory. The speeds are our own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

CLASS_KMH = {
    "motorway": 100.0,
    "motorway_link": 55.0,
    "trunk": 85.0,
    "trunk_link": 50.0,
    "primary": 70.0,
    "primary_link": 45.0,
    "secondary": 60.0,
    "secondary_link": 40.0,
    "tertiary": 50.0,
    "tertiary_link": 35.0,
    "unclassified": 40.0,
    "road": 40.0,
    "residential": 30.0,
    "living_street": 10.0,
    "service": 15.0,
    "track": 15.0,
}
"""Average speeds of a service van by class of road, in km/h, where no limit is tagged. Common
practice, no published source."""

LIMIT_SHARE = 0.85
"""Share of a tagged limit that is driven on average. Common practice, no published source."""

FERRY_KMH = 15.0
"""Speed of a ferry without a duration, waiting left out. Common practice, no published source."""

WALKING_PACE_KMH = 6.0
"""What ``maxspeed=walk`` is taken for. Common practice, no published source."""

SLOW_CLASSES = frozenset({"service", "track", "living_street"})
"""Where the surface and not the limit sets the speed."""

NO_STOPPING = frozenset({"motorway", "motorway_link"})
KMH_PER_UNIT = {"": 1.0, "km/h": 1.0, "kmh": 1.0, "mph": 1.609344, "knots": 1.852}
"""Exact: international mile and nautical mile."""

ACCESS_KEYS = ("motorcar", "motor_vehicle", "vehicle", "access")
"""From the narrowest word to the widest; the first that is there holds."""

CLOSED = frozenset({"no", "military", "emergency", "agricultural", "forestry", "bus", "psv"})
PRIVATE = frozenset({"private", "permit", "residents"})
ONE_WAY = frozenset({"yes", "true", "1"})
REVERSED = frozenset({"-1", "reverse"})
ROUND = frozenset({"roundabout", "circular"})

_SPEED = re.compile(r"(\d+(?:\.\d+)?)\s*([a-z/]*)")
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,2})(?::(\d{2}))?")
_PERIOD = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")

Tags = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class RoadRule:
    """How a way may be driven: km/h each way (0 is closed), or the minutes of a crossing.

    ``crossing_min`` is the duration of the whole way in either direction, None on land.
    """

    forward_kmh: float
    backward_kmh: float
    stoppable: bool = True
    crossing_min: float | None = None


def road_rule(tags: Tags, *, private_open: bool = False) -> RoadRule | None:
    """Read the tags of a way.

    Parameters
    ----------
    tags : mapping
        Tags of an OpenStreetMap way.
    private_open : bool
        Whether the technicians may use private roads and tracks.

    Returns
    -------
    RoadRule or None
        None for what no vehicle may use: paths, closed and private ways. Gates and other
        barriers are left alone: a technician opens them.

    Examples
    --------
    >>> road_rule({"highway": "primary", "oneway": "yes"})
    RoadRule(forward_kmh=70.0, backward_kmh=0.0, stoppable=True, crossing_min=None)
    """
    if not _open(tags, private_open):
        return None
    if tags.get("route") == "ferry":
        return _ferry(tags)
    road_class = tags.get("highway", "")
    if road_class not in CLASS_KMH:
        return None
    forward, backward = (_speed(tags, road_class, way) for way in ("forward", "backward"))
    heading = _heading(tags, road_class)
    return RoadRule(
        forward_kmh=0.0 if heading < 0 else forward,
        backward_kmh=0.0 if heading > 0 else backward,
        stoppable=road_class not in NO_STOPPING,
    )


def duration_min(text: str) -> float | None:
    """Read a duration: ``90`` and ``01:30`` and ``01:30:00`` and ``PT1H30M`` are 90 minutes.

    Examples
    --------
    >>> duration_min("01:30"), duration_min("PT45M"), duration_min("soon")
    (90.0, 45.0, None)
    """
    clock = _CLOCK.fullmatch(text.strip())
    if clock:
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return hours * 60.0 + minutes + seconds / 60.0 or None
    period = _PERIOD.fullmatch(text.strip())
    if not period:
        return None
    days, hours, minutes, seconds = (int(part or 0) for part in period.groups())
    return days * 1440.0 + hours * 60.0 + minutes + seconds / 60.0 or None


def limit_kmh(text: str) -> float | None:
    """Read a speed limit in km/h; None where it is no figure.

    Examples
    --------
    >>> limit_kmh("80"), limit_kmh("none")
    (80.0, None)
    """
    if text.strip() == "walk":
        return WALKING_PACE_KMH
    found = _SPEED.fullmatch(text.strip().lower())
    if not found or found[2] not in KMH_PER_UNIT:
        return None
    return float(found[1]) * KMH_PER_UNIT[found[2]] or None


def _open(tags: Tags, private_open: bool) -> bool:
    word = next((tags[key] for key in ACCESS_KEYS if key in tags), "yes")
    return word not in CLOSED and (private_open or word not in PRIVATE)


def _ferry(tags: Tags) -> RoadRule:
    heading = 1 if tags.get("oneway") in ONE_WAY else -1 if tags.get("oneway") in REVERSED else 0
    return RoadRule(
        forward_kmh=0.0 if heading < 0 else FERRY_KMH,
        backward_kmh=0.0 if heading > 0 else FERRY_KMH,
        stoppable=False,
        crossing_min=duration_min(tags.get("duration", "")),
    )


def _heading(tags: Tags, road_class: str) -> int:
    """Give 1 for one way forward, -1 for one way backward, 0 for both."""
    word = tags.get("oneway", "")
    if word in REVERSED:
        return -1
    implied = road_class.startswith("motorway") or tags.get("junction") in ROUND
    return 1 if word in ONE_WAY or (implied and word != "no") else 0


def _speed(tags: Tags, road_class: str, way: str) -> float:
    usual = CLASS_KMH[road_class]
    limit = limit_kmh(tags.get(f"maxspeed:{way}", tags.get("maxspeed", "")))
    if limit is None:
        return usual
    driven = LIMIT_SHARE * limit
    return min(usual, driven) if road_class in SLOW_CLASSES else driven

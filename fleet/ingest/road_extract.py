"""Read the roads of an OpenStreetMap extract; the only file that knows its reader."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from math import asin, cos, pi, radians, sin, sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fleet.domain.road import Circle, Roads
from fleet.domain.road_rule import RoadRule, road_rule
from fleet.errors import FleetError, InputError, Problem
from fleet.units import EARTH_RADIUS_KM

if TYPE_CHECKING:
    import osmium

Point = tuple[int, float, float]
"""Number of a node in the extract, latitude and longitude in degrees."""

DATE_KEYS = ("osmosis_replication_timestamp", "timestamp")
"""Header fields that tell the day of an extract."""

KM_PER_DEGREE = EARTH_RADIUS_KM * pi / 180.0
"""Length of a degree of latitude."""

LEAST_KM = 1e-6
"""Two nodes on one spot are a millimetre apart, so that a closed way there stays closed."""


def read_roads(path: Path, crop: Circle, *, private_open: bool = False) -> Roads:
    """Read the roads within a circle.

    Parameters
    ----------
    path : Path
        An extract, ``.osm.pbf`` or ``.osm``.
    crop : Circle
        A way with any node in it is taken whole.
    private_open : bool
        Whether the technicians may use private roads.

    Returns
    -------
    Roads
        Nodes in the order in which ways first name them.

    Raises
    ------
    FleetError
        The reader is not installed; the message says how.
    InputError
        The file is no extract, or holds no road within the circle.
    """
    _require_reader()
    draft = _Draft()
    try:
        dated = _fill(draft, path, crop, private_open)
    except (RuntimeError, ValueError) as error:
        raise _unreadable(path, f"no OpenStreetMap extract ({error})") from error
    if not draft.start:
        where = f"{crop.radius_km:g} km around {crop.latitude_deg:.4f}, {crop.longitude_deg:.4f}"
        raise _unreadable(path, f"a road within {where} is expected; the extract holds none there")
    return draft.roads(dated)


@dataclass(slots=True)
class _Draft:
    """Nodes and pieces while they are gathered."""

    numbers: dict[int, int] = field(default_factory=dict)
    places: list[tuple[float, float]] = field(default_factory=list)
    start: list[int] = field(default_factory=list)
    end: list[int] = field(default_factory=list)
    km: list[float] = field(default_factory=list)
    forward_min: list[float] = field(default_factory=list)
    backward_min: list[float] = field(default_factory=list)
    stoppable: list[bool] = field(default_factory=list)

    def add(self, points: Sequence[Point], rule: RoadRule) -> None:
        """Add a way as pieces from node to node."""
        pairs = list(pairwise(points))
        lengths = [_km(a, b) for a, b in pairs]
        forward, backward = _minutes_per_km(rule, sum(lengths))
        for (a, b), km in zip(pairs, lengths, strict=True):
            self.start.append(self._number(a))
            self.end.append(self._number(b))
            self.km.append(km)
            self.forward_min.append(max(km, LEAST_KM) * forward)
            self.backward_min.append(max(km, LEAST_KM) * backward)
            self.stoppable.append(rule.stoppable)

    def roads(self, dated: date | None) -> Roads:
        """Give all as arrays."""
        places = np.array(self.places, dtype=np.float64).reshape(-1, 2)
        return Roads(
            latitude_deg=places[:, 0],
            longitude_deg=places[:, 1],
            start=np.array(self.start, dtype=np.int64),
            end=np.array(self.end, dtype=np.int64),
            km=np.array(self.km, dtype=np.float64),
            forward_min=np.array(self.forward_min, dtype=np.float64),
            backward_min=np.array(self.backward_min, dtype=np.float64),
            stoppable=np.array(self.stoppable, dtype=np.bool_),
            dated=dated,
        )

    def _number(self, point: Point) -> int:
        number = self.numbers.setdefault(point[0], len(self.places))
        if number == len(self.places):
            self.places.append(point[1:])
        return number


def _require_reader() -> None:
    try:
        import osmium  # noqa: F401
    except ImportError as error:
        raise FleetError(
            "Reading roads needs the package osmium, which is not installed. "
            "Install it with: pip install osmium"
        ) from error


def _fill(draft: _Draft, path: Path, crop: Circle, private_open: bool) -> date | None:
    import osmium

    ways = osmium.FileProcessor(str(path)).with_locations()
    ways = ways.with_filter(osmium.filter.KeyFilter("highway", "route"))
    for way in ways:
        if not isinstance(way, osmium.osm.Way):
            continue
        rule = road_rule(dict(way.tags), private_open=private_open)
        if rule is not None:
            for points in _parts(way.nodes):
                if any(_inside(point, crop) for point in points):
                    draft.add(points, rule)
    return _dated(ways.header)


def _parts(nodes: Iterable[osmium.osm.NodeRef]) -> Iterator[list[Point]]:
    """Give the runs of at least two nodes whose places the extract knows."""
    run: list[Point] = []
    for node in nodes:
        if node.location.valid():
            run.append((node.ref, node.location.lat, node.location.lon))
            continue
        if len(run) > 1:
            yield run
        run = []
    if len(run) > 1:
        yield run


def _inside(point: Point, crop: Circle) -> bool:
    if abs(point[1] - crop.latitude_deg) > crop.radius_km / KM_PER_DEGREE:
        return False  # most of a large extract, told without a sine
    return _km((0, crop.latitude_deg, crop.longitude_deg), point) <= crop.radius_km


def _km(a: Point, b: Point) -> float:
    """Give the great-circle distance of two points (haversine)."""
    south, north = radians(a[1]), radians(b[1])
    turn = sin(radians(b[2] - a[2]) / 2.0) ** 2
    chord = sin((north - south) / 2.0) ** 2 + cos(south) * cos(north) * turn
    return 2.0 * EARTH_RADIUS_KM * asin(sqrt(min(1.0, chord)))


def _minutes_per_km(rule: RoadRule, whole_km: float) -> tuple[float, float]:
    forward, backward = (
        60.0 / kmh if kmh else float("inf") for kmh in (rule.forward_kmh, rule.backward_kmh)
    )
    if rule.crossing_min is None or whole_km == 0.0:
        return forward, backward
    crossing = rule.crossing_min / whole_km
    return (
        crossing if rule.forward_kmh else forward,
        crossing if rule.backward_kmh else backward,
    )


def _dated(header: osmium.io.Header) -> date | None:
    for key in DATE_KEYS:
        try:
            return date.fromisoformat(header.get(key)[:10])
        except ValueError:
            continue
    return None


def _unreadable(path: Path, expected: str) -> InputError:
    return InputError([Problem(path.name, None, None, None, expected)])

"""Where a place meets the road: the nearest spot at which one may park."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place
from fleet.domain.road import Roads
from fleet.units import EARTH_RADIUS_KM

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

SAMPLE_KM = 0.25
"""Spots along the roads that are looked through first stand at most this far apart, in km."""

PREFERENCE_KM = 0.3
"""How much farther the connected network may be than a piece of road that leads nowhere, in km.
A figure of our own: extracts are full of short pieces that are joined to nothing."""

LONGEST_WALK_KM = 3.0
"""A place farther than this from any road is not tied to it. A figure of our own."""


@dataclass(frozen=True, slots=True)
class RoadSpot:
    """A spot on a piece of road: ``share`` of the way from its start to its end, and how far off.

    ``off_km`` is the straight distance from the place to the spot.
    """

    piece: int
    share: float
    off_km: float


@dataclass(frozen=True, slots=True, eq=False)
class _Samples:
    """Spots along the pieces: where, and of which piece."""

    tree: cKDTree
    piece: NDArray[np.int64]


def snap(places: Sequence[Place], roads: Roads, home: NDArray[np.bool_]) -> list[RoadSpot | None]:
    """Tie places to the road.

    Parameters
    ----------
    places : sequence of Place
        Positions in degrees.
    roads : Roads
        Only pieces that are stoppable are taken.
    home : ndarray of bool, shape (pieces,)
        The pieces of the connected network; one of them is preferred to others unless it is
        more than 300 m farther off.

    Returns
    -------
    list of RoadSpot or None
        In the order of the places; None where no road is within 3 km.

    Notes
    -----
    Each place is projected at right angles onto the pieces near it, in a plane that touches the
    sphere at the place [CALC]: over 3 km that is exact to far below a metre.
    """
    samples = _samples(roads)
    if samples is None:
        return [None] * len(places)
    return [_snap_one(place, roads, samples, home) for place in places]


def _samples(roads: Roads) -> _Samples | None:
    from scipy.spatial import cKDTree

    pieces = np.flatnonzero(roads.stoppable)
    if not pieces.size:
        return None
    counts = np.ceil(roads.km[pieces] / SAMPLE_KM).astype(np.int64) + 1
    owner = np.repeat(pieces, counts)
    ordinal = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    share = ordinal / np.maximum(np.repeat(counts, counts) - 1, 1)
    begin, end = roads.start[owner], roads.end[owner]
    latitude = _between(roads.latitude_deg, begin, end, share)
    longitude = _between(roads.longitude_deg, begin, end, share)
    return _Samples(cKDTree(_spatial(latitude, longitude)), owner)


def _between(
    degrees: NDArray[np.float64],
    begin: NDArray[np.int64],
    end: NDArray[np.int64],
    share: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Give the degrees at shares of pieces; a piece over the 180th meridian goes the short way."""
    rise = (degrees[end] - degrees[begin] + 180.0) % 360.0 - 180.0
    mixed: NDArray[np.float64] = degrees[begin] + share * rise
    return mixed


def _spatial(
    latitude_deg: NDArray[np.float64], longitude_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give points in space, in km from the centre of the earth."""
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    flat = np.cos(latitude)
    axes = [flat * np.cos(longitude), flat * np.sin(longitude), np.sin(latitude)]
    points: NDArray[np.float64] = EARTH_RADIUS_KM * np.column_stack(axes)
    return points


def _snap_one(
    place: Place, roads: Roads, samples: _Samples, home: NDArray[np.bool_]
) -> RoadSpot | None:
    here = _spatial(np.array([place.latitude_deg]), np.array([place.longitude_deg]))[0]
    nearest, _ = samples.tree.query(here)
    if nearest > LONGEST_WALK_KM + SAMPLE_KM:
        return None
    reach = nearest + PREFERENCE_KM + SAMPLE_KM
    pieces = np.unique(samples.piece[samples.tree.query_ball_point(here, reach)])
    share, off_km = _project(place, roads, pieces)
    best = int(np.argmin(off_km))
    at_home = np.where(home[pieces], off_km, np.inf)
    if at_home.min() <= off_km[best] + PREFERENCE_KM:
        best = int(np.argmin(at_home))
    if off_km[best] > LONGEST_WALK_KM:
        return None
    return RoadSpot(int(pieces[best]), float(share[best]), float(off_km[best]))


def _project(
    place: Place, roads: Roads, pieces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give for each piece the share at the foot of the perpendicular, and how far it is."""
    ax, ay = _plane(place, roads, roads.start[pieces])
    bx, by = _plane(place, roads, roads.end[pieces])
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    share = np.clip(-(ax * dx + ay * dy) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
    return share, np.hypot(ax + share * dx, ay + share * dy)


def _plane(
    place: Place, roads: Roads, nodes: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give nodes in km east and north of a place."""
    east = (roads.longitude_deg[nodes] - place.longitude_deg + 180.0) % 360.0 - 180.0
    north = roads.latitude_deg[nodes] - place.latitude_deg
    scale = EARTH_RADIUS_KM * np.pi / 180.0
    return east * scale * np.cos(np.radians(place.latitude_deg)), north * scale

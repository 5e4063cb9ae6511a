"""Fastest drives over a road network: shortest paths from every place to every other."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place
from fleet.domain.road import Roads
from fleet.planning.road_snap import RoadSpot, snap

if TYPE_CHECKING:
    from scipy.sparse import csr_array

TICKS_PER_MIN = 6000.0
"""Driving time is counted in hundredths of a second."""

DECIMETRES_PER_KM = 10_000.0
KM_BITS = 2.0**27
"""A weight is time ticks x 2^27 + decimetres: up to 13,400 km and 46 h are whole numbers below
2^53, so that one search finds the fastest path and its length exactly."""

LONGEST_DRIVE_MIN = 1440.0
"""No search goes on beyond a day's driving."""

SOURCES_AT_ONCE = 50
"""Rows that are searched together, to bound the memory."""


_Row = tuple[int, int, float, float]
"""From node, to node, minutes, km."""


@dataclass(frozen=True, slots=True, eq=False)
class RoadDrives:
    """Drives between places over the roads: minutes and km (n, n), NaN where there is no way.

    ``off_km`` is the straight way from each place to its spot on the road, NaN where there is
    no road near; the drive starts and ends at the spot.
    """

    minutes: NDArray[np.float64]
    km: NDArray[np.float64]
    off_km: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Arcs:
    """One-way connections with their weights."""

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    weight: NDArray[np.float64]


def road_drives(places: Sequence[Place], roads: Roads) -> RoadDrives:
    """Find the fastest drives between all places.

    Parameters
    ----------
    places : sequence of Place
        Sites and depots.
    roads : Roads
        The network.

    Returns
    -------
    RoadDrives
        In the order of the places. Of equally fast ways the shortest is taken.

    Notes
    -----
    Dijkstra's algorithm (scipy), on the network with every place set into the piece of road
    next to it. Turns and traffic are not counted.
    """
    spots = snap(places, roads, _home(roads))
    size = len(places)
    minutes, km = (np.full((size, size), np.nan) for _ in range(2))
    tied = np.array([index for index, spot in enumerate(spots) if spot is not None], dtype=int)
    if tied.size:
        found_min, found_km = _search(_graph(roads, spots), len(roads.latitude_deg) + tied)
        minutes[np.ix_(tied, tied)], km[np.ix_(tied, tied)] = found_min, found_km
    off_km = np.array([np.nan if spot is None else spot.off_km for spot in spots])
    return RoadDrives(minutes, km, off_km)


def _home(roads: Roads) -> NDArray[np.bool_]:
    """Tell the pieces of the greatest part in which every node reaches every other."""
    from scipy.sparse.csgraph import connected_components

    graph = _matrix(_piece_arcs(roads, np.ones(len(roads.km), dtype=bool)), roads, 0)
    _, part = connected_components(graph, directed=True, connection="strong")
    ((greatest, _),) = Counter(part.tolist()).most_common(1)
    inside: NDArray[np.bool_] = (part[roads.start] == greatest) & (part[roads.end] == greatest)
    return inside


def _graph(roads: Roads, spots: Sequence[RoadSpot | None]) -> csr_array:
    """Set the places into their pieces; place n is node (number of nodes) + n."""
    within: dict[int, list[tuple[float, int]]] = defaultdict(list)
    rows: list[_Row] = []
    for index, spot in enumerate(spots, start=len(roads.latitude_deg)):
        if spot is None:
            continue
        if 0.0 < spot.share < 1.0:
            within[spot.piece].append((spot.share, index))
        else:
            node = int((roads.end if spot.share else roads.start)[spot.piece])
            rows += [(node, index, 0.0, 0.0), (index, node, 0.0, 0.0)]
    whole = np.ones(len(roads.km), dtype=bool)
    whole[list(within)] = False
    for piece, stops in within.items():
        rows += _split(roads, piece, sorted(stops))
    start, end, minutes, km = (np.array(column) for column in zip(*rows, strict=True))
    kept = _piece_arcs(roads, whole)
    arcs = _Arcs(
        np.concatenate([kept.start, start.astype(np.int64)]),
        np.concatenate([kept.end, end.astype(np.int64)]),
        np.concatenate([kept.weight, _weight(minutes, km)]),
    )
    return _matrix(arcs, roads, len(spots))


def _split(roads: Roads, piece: int, stops: Sequence[tuple[float, int]]) -> list[_Row]:
    """Cut a piece at its stops, each way that is open."""
    shares = [0.0, *(share for share, _ in stops), 1.0]
    nodes = [int(roads.start[piece]), *(node for _, node in stops), int(roads.end[piece])]
    forward, backward, km = (
        float(column[piece]) for column in (roads.forward_min, roads.backward_min, roads.km)
    )
    rows: list[_Row] = []
    for (a, b), (here, there) in zip(pairwise(nodes), pairwise(shares), strict=True):
        part = there - here
        if np.isfinite(forward):
            rows.append((a, b, part * forward, part * km))
        if np.isfinite(backward):
            rows.append((b, a, part * backward, part * km))
    return rows


def _piece_arcs(roads: Roads, chosen: NDArray[np.bool_]) -> _Arcs:
    forward = chosen & np.isfinite(roads.forward_min)
    backward = chosen & np.isfinite(roads.backward_min)
    return _Arcs(
        np.concatenate([roads.start[forward], roads.end[backward]]),
        np.concatenate([roads.end[forward], roads.start[backward]]),
        np.concatenate(
            [
                _weight(roads.forward_min[forward], roads.km[forward]),
                _weight(roads.backward_min[backward], roads.km[backward]),
            ]
        ),
    )


def _weight(minutes: NDArray[np.float64], km: NDArray[np.float64]) -> NDArray[np.float64]:
    ticks = np.maximum(np.round(minutes * TICKS_PER_MIN), 1.0)
    weight: NDArray[np.float64] = ticks * KM_BITS + np.round(km * DECIMETRES_PER_KM)
    return weight


def _matrix(arcs: _Arcs, roads: Roads, places: int) -> csr_array:
    """Make a sparse matrix; of two arcs between the same nodes the faster stays."""
    from scipy.sparse import csr_array

    order = np.lexsort((arcs.weight, arcs.end, arcs.start))
    start, end, weight = arcs.start[order], arcs.end[order], arcs.weight[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (start[1:] != start[:-1]) | (end[1:] != end[:-1])
    size = len(roads.latitude_deg) + places
    return csr_array((weight[first], (start[first], end[first])), shape=(size, size))


def _search(
    graph: csr_array, nodes: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    from scipy.sparse.csgraph import dijkstra

    blocks = [
        dijkstra(
            graph,
            directed=True,
            indices=nodes[first : first + SOURCES_AT_ONCE],
            limit=LONGEST_DRIVE_MIN * TICKS_PER_MIN * KM_BITS,
        )[:, nodes]
        for first in range(0, len(nodes), SOURCES_AT_ONCE)
    ]
    weight = np.concatenate(blocks)
    reached = np.isfinite(weight)
    ticks, decimetres = np.divmod(np.where(reached, weight, 0.0), KM_BITS)
    return (
        np.where(reached, ticks / TICKS_PER_MIN, np.nan),
        np.where(reached, decimetres / DECIMETRES_PER_KM, np.nan),
    )

"""Drives over a road network.

Sources: [CALC] a hundredth of a degree on the equator is 1.11195 km; driven speeds are 0.85 x 80 =
68, 60 and 50 km/h by the tags of `road_world` and our own table. Paths on random networks are held
against a plain search written here, which shares no code with the graph library.
"""

from __future__ import annotations

import heapq
from itertools import pairwise

import numpy as np
import pytest

from fleet.domain.plan import Place
from fleet.domain.road import Circle, Roads
from fleet.ingest.road_extract import read_roads
from fleet.planning.road_graph import road_drives
from tests.planning.road_world import PLACES, write_extract

DEGREE_KM = 111.19508
ALL = Circle(0.0, 0.0, 200.0)


@pytest.fixture(scope="module")
def extract(tmp_path_factory):
    return write_extract(tmp_path_factory.mktemp("roads") / "small.osm")


def driven(extract, *keys, **how):
    places = [PLACES[key] for key in keys]
    return road_drives(places, read_roads(extract, ALL, **how))


def test_drive_takes_the_limit_where_it_is_tagged(extract):
    drives = driven(extract, "depot:A", "B")

    assert drives.km[0, 1] == pytest.approx(11.1195, abs=2e-4)
    assert drives.minutes[0, 1] == pytest.approx(11.1195 / 68 * 60, abs=0.001)


def test_one_way_road_is_driven_one_way_only(extract):
    drives = driven(extract, "B", "C")
    detour_km = 2 * DEGREE_KM * (0.1**2 + 0.05**2) ** 0.5

    assert drives.minutes[0, 1] == pytest.approx(11.1195, abs=0.001)  # 60 km/h
    assert drives.km[1, 0] == pytest.approx(detour_km, rel=1e-5)
    assert drives.minutes[1, 0] == pytest.approx(detour_km / 50 * 60, rel=1e-4)


def test_ferry_takes_its_duration_both_ways(extract):
    drives = driven(extract, "C", "F")

    assert drives.minutes[0, 1] == pytest.approx(40 + 11.1195 / 40 * 60, abs=0.001)
    assert drives.minutes[1, 0] == pytest.approx(drives.minutes[0, 1], abs=0.001)
    assert drives.km[0, 1] == pytest.approx(0.3 * DEGREE_KM, rel=1e-5)


def test_private_track_is_walked_unless_the_crews_may_use_it(extract):
    closed = driven(extract, "B", "P")
    opened = driven(extract, "B", "P", private_open=True)

    # the foot of the perpendicular lies on the tertiary road from B to D: sin = 1 / sqrt(5)
    assert closed.off_km[1] == pytest.approx(2.2239 / 5**0.5, abs=1e-4)
    assert closed.minutes[0, 1] == pytest.approx(2.2239 * 2 / 5**0.5 / 50 * 60, abs=0.001)
    assert opened.off_km[1] == pytest.approx(0.0, abs=1e-6)
    assert opened.minutes[0, 1] == pytest.approx(2.2239 / 15 * 60, abs=0.001)


def test_place_beside_a_road_is_set_into_it(extract):
    drives = driven(extract, "depot:A", "M", "B")

    assert drives.off_km[1] == pytest.approx(0.3336, abs=1e-4)
    assert drives.km[0, 1] == pytest.approx(5.5598, abs=2e-4)
    assert drives.km[1, 2] == pytest.approx(5.5598, abs=2e-4)
    assert drives.km[0, 2] == pytest.approx(11.1195, abs=3e-4)


def test_far_place_and_island_have_no_drive_and_spoil_no_other(extract):
    drives = driven(extract, "depot:A", "W", "B", "G")

    assert np.isnan(drives.off_km[1])
    assert np.isnan(drives.minutes[[0, 1, 0, 3], [1, 0, 3, 0]]).all()
    assert drives.minutes[0, 2] == pytest.approx(9.811, abs=0.001)
    assert drives.off_km[3] == pytest.approx(0.0, abs=1e-6)


def test_two_places_on_one_piece_are_driven_between_along_it(extract):
    roads = read_roads(extract, ALL)
    places = [Place("1", 0.0, 0.12), Place("2", 0.0, 0.18)]

    drives = road_drives(places, roads)

    assert drives.km[0, 1] == pytest.approx(0.06 * DEGREE_KM, rel=1e-4)
    assert drives.km[1, 0] > 20.0  # against the one way, round by D


def test_two_places_on_one_spot_are_no_drive_apart(extract):
    drives = road_drives([Place("1", 0.0, 0.05), Place("2", 0.0, 0.05)], read_roads(extract, ALL))

    assert drives.minutes[0, 1] == pytest.approx(0.0, abs=0.001)
    assert drives.minutes[1, 0] == pytest.approx(0.0, abs=0.001)


def pieces(rows, nodes):
    """Roads from rows of start, end, km, forward and backward minutes."""
    start, end, km, forward, backward = (np.array(column) for column in zip(*rows, strict=True))
    latitude, longitude = (np.array(column) for column in zip(*nodes, strict=True))
    return Roads(
        latitude.astype(float), longitude.astype(float), start, end, km.astype(float),
        forward.astype(float), backward.astype(float), np.ones(len(rows), dtype=bool),
    )  # fmt: skip


def test_connected_network_is_preferred_to_a_nearer_piece_that_leads_nowhere():
    nodes = [(0.0, 0.0), (0.0, 0.1), (0.0, 0.2), (0.002, 0.05), (0.003, 0.05)]
    rows = [(0, 1, 11, 11, 11), (1, 2, 11, 11, 11), (3, 4, 0.1, 1, 1)]
    places = [Place("depot:A", 0.0, 0.0), Place("S", 0.0021, 0.05)]

    drives = road_drives(places, pieces(rows, nodes))

    assert drives.off_km[1] == pytest.approx(0.2335, abs=1e-4)
    assert drives.minutes[0, 1] == pytest.approx(5.5, abs=0.01)


def test_faster_of_two_roads_between_the_same_nodes_is_taken():
    nodes = [(0.0, 0.0), (0.0, 0.1), (0.0, 0.2)]
    rows = [(0, 1, 12, 30, 30), (0, 1, 14, 10, 10), (1, 2, 11, 11, 11)]
    places = [Place("A", 0.0, 0.0), Place("C", 0.0, 0.2)]

    drives = road_drives(places, pieces(rows, nodes))

    assert drives.minutes[0, 1] == pytest.approx(21.0, abs=0.01)
    assert drives.km[0, 1] == pytest.approx(25.0, abs=0.01)


def test_places_across_the_180th_meridian_meet_the_road_there():
    nodes = [(0.0, 179.95), (0.0, -179.95)]
    roads = pieces([(0, 1, 11.12, 10, 10)], nodes)

    drives = road_drives([Place("W", 0.001, 179.99), Place("E", 0.001, -179.99)], roads)

    assert drives.off_km == pytest.approx([0.1112, 0.1112], abs=1e-4)
    assert drives.minutes[0, 1] == pytest.approx(2.0, abs=0.001)


def plain_search(roads, source):
    """Least (minutes, km) to every node: Dijkstra with a heap, on whole ticks and decimetres."""
    ways = {}
    for row in zip(
        roads.start, roads.end, roads.km, roads.forward_min, roads.backward_min, strict=True
    ):
        a, b, km, forward, backward = row
        for tail, head, minutes in ((a, b, forward), (b, a, backward)):
            if np.isfinite(minutes):
                cost = (round(minutes * 6000), round(km * 10000))
                ways.setdefault(int(tail), []).append((int(head), cost))
    best, queue = {}, [((0, 0), int(source))]
    while queue:
        cost, node = heapq.heappop(queue)
        if node in best:
            continue
        best[node] = cost
        for head, (ticks, metres) in ways.get(node, ()):
            heapq.heappush(queue, ((cost[0] + ticks, cost[1] + metres), head))
    return best


@pytest.mark.parametrize("seed", range(5))
def test_drives_on_random_networks_agree_with_a_plain_search(seed):
    rng = np.random.default_rng(seed)
    nodes = [(rng.uniform(0, 0.5), rng.uniform(0, 0.5)) for _ in range(60)]
    rows = []
    for a, b in [*pairwise(range(60)), *rng.integers(0, 60, (90, 2)).tolist()]:
        if a != b:
            back = np.inf if rng.random() < 0.3 else rng.uniform(1, 40)
            rows.append((a, b, rng.uniform(1, 30), rng.uniform(1, 40), back))
    rows.append((59, 0, 5.0, 5.0, 5.0))
    roads = pieces(rows, nodes)
    chosen = rng.choice(60, 8, replace=False)

    drives = road_drives([Place(str(n), *nodes[n]) for n in chosen], roads)

    for row, source in enumerate(chosen):
        best = plain_search(roads, source)
        for column, target in enumerate(chosen):
            ticks, decimetres = best[int(target)]
            assert drives.minutes[row, column] == pytest.approx(ticks / 6000, abs=0.005)
            assert drives.km[row, column] == pytest.approx(decimetres / 10000, abs=0.005)

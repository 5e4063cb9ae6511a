"""How long driving times take. The times are printed and judged by nobody; the work is.

Run the measurements with ``python -m pytest -m benchmark``; ROADS.md keeps a table of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fleet.domain.plan import Place
from fleet.domain.road import Circle
from fleet.ingest.road_extract import read_roads
from fleet.planning.distance import great_circle_travel
from fleet.planning.drives import known_travel
from fleet.services.road_travel import extract_drives
from fleet.services.travel_setting import TravelSetting
from tests.benchmarks.stopwatch import Stopwatch

MIDDLE = (44.45, -34.27)
STEP_DEG = (0.0045, 0.0063)
"""About half a kilometre at this latitude."""


@dataclass(frozen=True)
class Case:
    """A square grid of roads, sites on it, and sites for the great circle."""

    nodes: int
    sites: int
    straight: int


by_case = pytest.mark.parametrize(
    "case",
    [
        pytest.param(Case(200, 1000, 5000), marks=pytest.mark.benchmark, id="full"),
        pytest.param(Case(30, 40, 100), marks=pytest.mark.long, id="small"),
    ],
)


def write_grid(path: Path, nodes: int, rng: np.random.Generator) -> Path:
    """Write a grid of ways of ten pieces each, their classes drawn by lot."""
    import osmium
    from osmium.osm.mutable import Node, Way

    south, west = (MIDDLE[axis] - nodes / 2 * STEP_DEG[axis] for axis in (0, 1))
    writer = osmium.SimpleWriter(str(path), overwrite=True)
    for row in range(nodes):
        for column in range(nodes):
            shift = rng.normal(0.0, 0.15, 2) * STEP_DEG
            place = (west + column * STEP_DEG[1] + shift[1], south + row * STEP_DEG[0] + shift[0])
            writer.add_node(Node(id=row * nodes + column + 1, version=1, location=place))
    lines = [[row * nodes + column + 1 for column in range(nodes)] for row in range(nodes)]
    lines += [list(line) for line in zip(*lines, strict=True)]
    parts = [line[at : at + 11] for line in lines for at in range(0, nodes - 1, 10)]
    for number, part in enumerate(parts, start=1):
        kind = str(rng.choice(["residential", "tertiary", "primary"]))
        writer.add_way(Way(id=number, version=1, nodes=part, tags={"highway": kind}))
    writer.close()
    return path


def spread(count: int, nodes: int, rng: np.random.Generator) -> list[Place]:
    """Put the depot into the middle and sites anywhere on the grid."""
    sites = rng.uniform(-0.45, 0.45, (count - 1, 2)) * nodes * np.array(STEP_DEG) + MIDDLE
    return [
        Place("depot:GRID", *MIDDLE),
        *(Place(f"S{number}", *map(float, site)) for number, site in enumerate(sites)),
    ]


@by_case
def test_drives_are_timed(case: Case, stopwatch: Stopwatch, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    extract = write_grid(tmp_path / "grid.osm.pbf", case.nodes, rng)
    places = spread(case.sites, case.nodes, rng)
    setting, cache = TravelSetting(source=str(extract)), tmp_path / "cache"
    on_grid = f"{case.nodes**2:,} nodes"
    pairs = f"{case.sites:,} x {case.sites:,}, {on_grid}"

    roads = stopwatch.measure(
        "roads: read the extract", lambda: read_roads(extract, Circle(*MIDDLE, 200.0)), size=on_grid
    )
    first = stopwatch.measure(
        "roads: all drives, first time", lambda: extract_drives(places, setting, cache), size=pairs
    )
    again = stopwatch.measure(
        "roads: all drives, kept", lambda: extract_drives(places, setting, cache), size=pairs
    )
    some = stopwatch.measure(
        "roads: drives of other sites, roads kept",
        lambda: extract_drives(places[: case.sites // 5], setting, cache),
        size=f"{case.sites // 5:,} x {case.sites // 5:,}, {on_grid}",
    )
    straight = stopwatch.measure(
        "great circle: all drives",
        lambda: great_circle_travel(spread(case.straight, case.nodes, rng)),
        size=f"{case.straight:,} x {case.straight:,}",
    )

    assert len(roads.latitude_deg) == case.nodes**2
    assert known_travel(places, first).straight == ()
    assert np.array_equal(first.minutes, again.minutes)
    few = case.sites // 5
    assert some.minutes == pytest.approx(first.minutes[:few, :few], abs=0.01)
    assert len(straight.keys) == case.straight

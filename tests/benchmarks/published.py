"""Published routing instances as planning problems; their files stand beside the project.

Sources: team orienteering, Chao, Golden and Wasil (1996), best known as of 2007; vehicle routing
with time windows, Solomon (1987); prize-collecting with time windows, RC2_10_5, its best known
cost from the ``.sol`` beside it. Origin and licence: the README in that folder.
"""

from __future__ import annotations

from datetime import date
from math import ceil, hypot
from pathlib import Path

from fleet.domain.plan import (
    Candidate,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Travel,
    Window,
)

INSTANCES = Path(__file__).parents[3] / "shared" / "instances"
DAY = date(2024, 3, 4)
TEAM_ORIENTEERING = {"p4.2.j": 962, "p4.3.n": 1121, "p7.2.t": 1179, "p7.4.q": 909}
"""Best known prize."""

EVERYTHING = {"R101": (19, 1458), "RC201": (4, 1724)}
"""Vehicles of the best known fleet, and the prize of everything, which they can collect."""

PRIZE_COLLECTING = ("RC2_10_5", 181292)
"""Distance and uncollected prizes of the best known plan, in tenths, with its load limit."""


def team_orienteering(name: str) -> PlanProblem:
    """A unit of length is 10,000 minutes, rounded up, so that whole minutes cost nothing."""
    scale = 10_000
    lines = (INSTANCES / "top" / f"{name}.txt").read_text().split("\n")
    count, teams, longest = (float(line.split()[1]) for line in lines[:3])
    points = [tuple(float(cell) for cell in line.split()) for line in lines[3 : 3 + int(count)]]
    travel = _travel(points, scale)
    end_min = int(longest * scale)
    sites = tuple(
        Candidate(Place(key, 0.0, 0.0), point[2], 0, {DAY: (Window(0, end_min),)})
        for key, point in zip(travel.keys, points, strict=True)
        if point[2] > 0
    )
    members = _members(int(teams), end_min, travel.keys[0], travel.keys[-1])
    return PlanProblem(sites, members, travel, SearchSettings(drive_price_days_per_h=0.0))


def time_windows(name: str, vehicles: int, worth: float | None = None) -> PlanProblem:
    """Read a file of Solomon's; the worth of a customer is its demand unless given."""
    scale = 1_000
    lines = (INSTANCES / "solomon" / f"{name}.txt").read_text().split("\n")
    rows = [[int(cell) for cell in line.split()] for line in lines[9:] if line.strip()]
    travel = _travel([(row[1], row[2]) for row in rows], scale)
    sites = tuple(
        Candidate(
            Place(key, 0.0, 0.0),
            float(row[3]) if worth is None else worth,
            row[6] * scale,
            {DAY: (Window(row[4] * scale, (row[5] + row[6]) * scale),)},
        )
        for key, row in zip(travel.keys[1:], rows[1:], strict=True)
    )
    members = _members(vehicles, rows[0][5] * scale, travel.keys[0], travel.keys[0])
    return PlanProblem(sites, members, travel, SearchSettings(drive_price_days_per_h=0.0))


def prize_collecting(name: str) -> PlanProblem:
    """A unit of length is ten minutes, cut off as the best known cost was; no load limit."""
    lines = (INSTANCES / "pcvrptw" / f"{name}.vrp").read_text().split("\n")
    points = _section(lines, "NODE_COORD_SECTION")
    windows = _section(lines, "TIME_WINDOW_SECTION")
    prizes = _section(lines, "PRIZE_SECTION")
    keys = tuple(f"P{number:04d}" for number in points)
    every = list(points.values())
    minutes = tuple(tuple(int(10 * hypot(a - c, b - d)) for c, d in every) for a, b in every)
    km = tuple(tuple(float(value) for value in row) for row in minutes)
    sites = tuple(
        Candidate(
            Place(key, 0.0, 0.0),
            float(prizes[number][0]),
            100,
            {DAY: (Window(10 * windows[number][0], 10 * windows[number][1] + 100),)},
        )
        for key, number in zip(keys[1:], list(points)[1:], strict=True)
    )
    members = _members(18, 10 * windows[1][1], keys[0], keys[0])
    travel = Travel(keys, minutes, km, "Straight lines, cut off")
    return PlanProblem(sites, members, travel, SearchSettings(drive_price_days_per_h=6.0))


def _section(lines: list[str], name: str) -> dict[int, list[int]]:
    found = {}
    for line in lines[lines.index(name) + 1 :]:
        if not line[:1].isdigit():
            break
        number, *values = (int(cell) for cell in line.split())
        found[number] = values
    return found


def _travel(points: list[tuple[float, ...]], scale: int) -> Travel:
    keys = tuple(f"P{n:03d}" for n in range(len(points)))
    exact = [[hypot(a[0] - b[0], a[1] - b[1]) for b in points] for a in points]
    minutes = tuple(tuple(ceil(value * scale - 1e-9) for value in row) for row in exact)
    return Travel(keys, minutes, tuple(tuple(row) for row in exact), "Straight lines")


def _members(count: int, end_min: int, start: str, end: str) -> tuple[TechnicianDay, ...]:
    places = Place(start, 0.0, 0.0), Place(end, 0.0, 0.0)
    return tuple(
        TechnicianDay(f"T{n:02d}", DAY, 0, end_min, end_min, *places) for n in range(count)
    )

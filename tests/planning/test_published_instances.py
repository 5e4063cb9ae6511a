"""Plans of published routing instances against their best-known values.

Sources: team orienteering, Chao, Golden and Wasil (1996), best known as of 2007; vehicle routing
with time windows, Solomon (1987), best known distance of R101. As team orienteering with the
best-known fleet everything of R101 (19 vehicles, prize 1458) and RC201 (4 vehicles, prize 1724)
can be collected, so the optimum is known by construction. The files stand beside the project
in ``../shared/instances``; origin and licence in the README there.

A unit of the instances is written as 1,000 or 10,000 minutes, rounded up, so that whole minutes
cost nothing; load limits are left out (none of these fleets is short of load).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import ceil, hypot
from pathlib import Path

import pytest

from fleet.domain.plan import (
    Candidate,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Travel,
    Window,
)
from fleet.planning.checker import find_violations
from fleet.planning.solver import solve

INSTANCES = Path(__file__).parents[3] / "shared" / "instances"
DAY = date(2024, 3, 4)

pytestmark = pytest.mark.skipif(
    not INSTANCES.is_dir(), reason="the published instances do not stand beside the project"
)


def _travel(points, scale) -> Travel:
    keys = tuple(f"P{n:03d}" for n in range(len(points)))
    exact = [[hypot(a[0] - b[0], a[1] - b[1]) for b in points] for a in points]
    minutes = tuple(tuple(ceil(value * scale - 1e-9) for value in row) for row in exact)
    return Travel(keys, minutes, tuple(tuple(row) for row in exact), "Straight lines")


def _members(count, end_min, start_key, end_key):
    places = Place(start_key, 0.0, 0.0), Place(end_key, 0.0, 0.0)
    return tuple(
        TechnicianDay(f"T{n:02d}", DAY, 0, end_min, end_min, *places) for n in range(count)
    )


def _team_orienteering(name) -> PlanProblem:
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


def _time_windows(name, vehicles, worth=None) -> PlanProblem:
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


def _plan(week, iterations):
    week = replace(week, settings=replace(week.settings, iterations=iterations))
    plan = solve(week)
    assert find_violations(week, plan) == []
    return plan


@pytest.mark.parametrize(
    ("name", "best_known"),
    [
        pytest.param("p4.2.j", 962, marks=pytest.mark.long),
        pytest.param("p4.3.n", 1121, marks=pytest.mark.long),
        pytest.param("p7.2.t", 1179, marks=pytest.mark.long),
        ("p7.4.q", 909),
    ],
)
def test_team_orienteering_collects_nearly_the_best_known_prize(name, best_known):
    plan = _plan(_team_orienteering(name), 3000)

    assert plan.worth >= 0.97 * best_known


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "vehicles", "everything"), [("R101", 19, 1458), ("RC201", 4, 1724)]
)
def test_time_windows_let_the_best_known_fleet_collect_everything(name, vehicles, everything):
    plan = _plan(_time_windows(name, vehicles), 1500)

    assert plan.worth >= 0.99 * everything


@pytest.mark.long
def test_time_windows_are_driven_nearly_as_short_as_best_known():
    plan = _plan(_time_windows("R101", 25, worth=100.0), 1500)

    driven = sum(day.driving_km for day in plan.days)

    assert plan.left_out == ()
    assert driven == pytest.approx(1642.88, rel=0.02)

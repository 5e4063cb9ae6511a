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

import pytest

from fleet.planning.checker import find_violations
from fleet.planning.solver import solve
from tests.benchmarks.published import INSTANCES, team_orienteering, time_windows

pytestmark = pytest.mark.skipif(
    not INSTANCES.is_dir(), reason="the published instances do not stand beside the project"
)


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
    plan = _plan(team_orienteering(name), 3000)

    assert plan.worth >= 0.98 * best_known


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "vehicles", "everything"), [("R101", 19, 1458), ("RC201", 4, 1724)]
)
def test_time_windows_let_the_best_known_fleet_collect_everything(name, vehicles, everything):
    plan = _plan(time_windows(name, vehicles), 1500)

    assert plan.worth >= 0.99 * everything


@pytest.mark.long
def test_time_windows_are_driven_nearly_as_short_as_best_known():
    plan = _plan(time_windows("R101", 25, worth=100.0), 1500)

    driven = sum(day.driving_km for day in plan.days)

    assert plan.left_out == ()
    assert driven == pytest.approx(1642.88, rel=0.02)

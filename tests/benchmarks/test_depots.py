"""Small cases of the measurements of many depots and of large ones, so that they cannot rot."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from tests.benchmarks.depot_ways import WAYS, measure
from tests.benchmarks.large_depot import line, plan_week
from tests.benchmarks.network import Size


@pytest.mark.long
def test_every_way_of_working_makes_the_same_plans(tmp_path: Path) -> None:
    told: list[str] = []

    runs = measure(Size(3, 12, 2), 40, tmp_path, told.append)

    assert [run.way for run in runs] == list(WAYS)
    assert len({run.plans for run in runs}) == 1
    assert len(told) == len(WAYS)


@pytest.mark.long
def test_passing_over_sites_costs_next_to_nothing() -> None:
    found = plan_week(1200, 1, 2, passing_over=True, iterations=200)
    full = plan_week(1200, 1, 2, passing_over=False, iterations=200)

    assert len(found.problem.candidates) == 1000
    assert found.plan.worth >= 0.99 * full.plan.worth


@pytest.mark.long
def test_a_row_has_a_cell_for_each_figure() -> None:
    asked = argparse.Namespace(iterations=10, full=True, bound=None)

    assert line(30, 1, 2, asked).count("|") == 13

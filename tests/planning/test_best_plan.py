"""Plans of tiny weeks against every plan there is; all figures [CALC]."""

from __future__ import annotations

import pytest

from fleet.planning.solver import solve
from tests.planning.every_plan import best_score, score, tiny_week


@pytest.mark.parametrize("seed", range(8))
def test_solver_finds_the_best_of_all_plans_of_a_tiny_week(seed):
    week = tiny_week(seed)

    assert score(week, solve(week)) == pytest.approx(best_score(week), abs=0.01)

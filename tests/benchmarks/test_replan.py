"""How long the rest of a week takes to be planned again after a lost day.

The times are printed and judged by nobody; the work is. RESULTS.md keeps a table of them.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import utc_now
from fleet.domain.plan import SearchSettings
from fleet.services.plan_round import plan_round
from fleet.services.replan import ITERATIONS, ReplanOrder, replan_round
from fleet.services.round_life import issue_round
from fleet.services.round_request import request_for
from fleet.store.journal import Wish
from tests.benchmarks.network import LAST_DAY, Size
from tests.benchmarks.stopwatch import Stopwatch

Loaded = Callable[[Size], sessionmaker[Session]]


@pytest.mark.parametrize(
    ("size", "iterations", "runs"),
    [
        pytest.param(Size(1, 200, 6), ITERATIONS, 5, marks=pytest.mark.benchmark, id="full"),
        pytest.param(Size(1, 15, 4), 50, 1, marks=pytest.mark.long, id="small"),
    ],
)
def test_rest_of_a_week_is_planned_again(
    size: Size, iterations: int, runs: int, *, stopwatch: Stopwatch, loaded_network: Loaded
) -> None:
    sessions = loaded_network(size)
    wish = Wish("tester", "round plan", "measuring")
    planned = plan_round(
        sessions, request_for("B000", LAST_DAY, iterations=iterations), wish, clock=utc_now
    )
    issue_round(sessions, planned.round_ref, wish, clock=utc_now)
    monday, tuesday = sorted({day.day for day in planned.plan.days})[:2]
    order = ReplanOrder(
        planned.round_ref,
        monday,
        settings=SearchSettings(iterations=iterations),
        away=frozenset({("B000-T1", tuesday)}),
    )
    rehearsed = Wish("tester", "round replan", "measuring", dry_run=True)

    again = stopwatch.measure(
        "rest of a week planned again after a lost day",
        lambda: replan_round(sessions, order, rehearsed, clock=utc_now),
        size=f"{size.gauges} sites, 7 technician-days, {iterations} iterations a search",
        runs=runs,
    )

    assert again.planned.plan.days
    assert again.change.lost or again.change.kept

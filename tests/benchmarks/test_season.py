"""The season benchmark in small: it runs, and nobody loses less than the one who sees the truth.

Run the whole with ``python -m tests.benchmarks.season --seeds 5``; SEASON.md keeps its table.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.season.contest import METHODS
from tests.benchmarks.season.season import Setting, found_network, run_season
from tests.benchmarks.season.table import head_lines, table_lines


@pytest.mark.long
def test_season_runs_and_the_oracle_loses_least() -> None:
    setting = Setting(gauges=40, years=1, days_a_week=0.4)
    founded = found_network(setting, seed=1)

    outcomes = {
        name: [run_season(founded, setting, make(setting.days_a_week))]
        for name, make in METHODS.items()
    }

    lost = {name: seen[0].lost for name, seen in outcomes.items()}
    assert min(lost, key=lost.__getitem__) == "e"
    assert all(0.0 < share < 1.0 for share in lost.values())
    assert all(seen[0].visits > 0 for seen in outcomes.values())
    columns = head_lines()[0].count("|")
    lines = table_lines("short", outcomes)
    assert [line.count("|") for line in lines] == [columns] * len(METHODS)

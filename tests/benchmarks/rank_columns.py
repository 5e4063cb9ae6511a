"""Rank invented gauges from columns, as many as asked for, in a process of their own.

    python -m tests.benchmarks.rank_columns 100000

Prints a line: gauges, clock s, processor s, peak memory in MB, of that before the columns were
made, rows made. The columns are those of 2,000 invented gauges, repeated with other levels,
importances and days; 50 rows are made of them in words.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from resource import RUSAGE_SELF, getrusage
from time import perf_counter, process_time

import numpy as np

from fleet.domain.state import GaugeState
from fleet.services.ranking import RankedGauge, Ranking
from fleet.stats.array import Ints
from fleet.stats.fleet_model import FleetModel, fit_fleet
from fleet.stats.gauge_column import GaugeColumns, columns_of
from fleet.stats.policy_column import PolicyColumns
from fleet.stats.ranking import rank_columns
from tests.stats.fleet_factory import AS_OF, POLICY, make_fleet

DRAWN = 2000
SHOWN = 50


def repeat_columns(columns: GaugeColumns, count: int) -> GaugeColumns:
    """Give so many gauges: those given over and over, with numbers of their own."""
    dice = np.random.default_rng(7)
    many = columns.take(np.arange(count) % len(columns))
    back = dice.integers(0, 60, count)
    return replace(
        many,
        installation_id=np.arange(count),
        site_code=np.array([f"S{number:06d}" for number in range(count)], dtype=np.object_),
        importance=dice.uniform(0.5, 3.0, count),
        level_percent=many.level_percent + dice.normal(0.0, 0.5, count),
        level_day=np.where(many.level_day > 0, many.level_day - back, 0),
        drift_rate=many.drift_rate + dice.normal(0.0, 0.3, count),
    )


def rank_and_show(
    columns: GaugeColumns, model: FleetModel, states: list[GaugeState]
) -> tuple[Ranking, list[RankedGauge]]:
    """Rank the columns and make the first rows."""

    def states_of(places: Ints) -> list[GaugeState]:
        return [
            replace(states[place % len(states)], gauge=columns.gauge(place)) for place in places
        ]

    policies = PolicyColumns((POLICY,), np.zeros(len(columns), dtype=np.int64))
    ranked = rank_columns(columns, policies, model, as_of=AS_OF)
    ranking = Ranking(ranked, states_of, None, places=ranked.order)
    return ranking, list(ranking[:SHOWN])


def main() -> None:
    """Measure once."""
    count = int(sys.argv[1])
    states = make_fleet(min(DRAWN, count), seed=5, visits=8, types=6)
    model = fit_fleet(states)
    before_mb = getrusage(RUSAGE_SELF).ru_maxrss / 1024.0
    columns = repeat_columns(columns_of(states, model), count)
    clock, busy = perf_counter(), process_time()
    ranking, shown = rank_and_show(columns, model, states)
    clock, busy = perf_counter() - clock, process_time() - busy
    peak_mb = getrusage(RUSAGE_SELF).ru_maxrss / 1024.0
    sys.stdout.write(
        f"{len(ranking)} {clock:.2f} {busy:.2f} {peak_mb:.0f} {before_mb:.0f} {len(shown)}\n"
    )


if __name__ == "__main__":
    main()

"""The measurement of past days in small: the answers are held against whole histories."""

from __future__ import annotations

from tests.benchmarks import bench_past
from tests.benchmarks.past_network import PastSize, fill_past
from tests.benchmarks.stopwatch import Stopwatch


def test_past_days_are_answered_as_by_whole_histories(sessions, engine):
    watch = Stopwatch()
    fill_past(engine, PastSize(40))

    bench_past.measure(sessions, PastSize(40), watch, whole=True, runs=1)

    assert len(watch.timings) == 2 * len(bench_past.ASKED) + 2 * len(bench_past.OTHERS)
    assert bench_past.fold_overdue(sessions, bench_past.LAST_DAY, None)

"""Ranking from kept states in small: every step of `scale.py` runs and does what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks.bulk_network import BulkSize
from tests.benchmarks.scale import run_all, table


@pytest.mark.parametrize(
    "size",
    [
        pytest.param(BulkSize(10_000), marks=pytest.mark.benchmark, id="full"),
        pytest.param(BulkSize(60, 4, 3), marks=pytest.mark.long, id="small"),
    ],
)
def test_every_step_is_measured(size: BulkSize, tmp_path: Path) -> None:
    measured = run_all(size, tmp_path)

    print("\n".join(table(measured)))  # noqa: T201
    assert [one.gauges for one in measured] == [size.gauges] * 8
    assert all(one.busy_s > 0 and one.peak_mb > 0 for one in measured)

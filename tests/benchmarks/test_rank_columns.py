"""How long a ranking takes once the gauges are columns, and how much memory. Nobody judges it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.rank_columns import SHOWN

ROOT = Path(__file__).resolve().parents[2]
RUNS = 3


@pytest.mark.parametrize(
    ("sizes", "runs"),
    [
        pytest.param((1_000, 10_000, 100_000), RUNS, marks=pytest.mark.benchmark, id="full"),
        pytest.param((300,), 1, marks=pytest.mark.long, id="small"),
    ],
)
def test_ranking_from_columns(sizes: tuple[int, ...], runs: int) -> None:
    lines = [
        "| gauges | clock s (median) | processor s (median) | most | peak MB | before MB |",
        "|---|---|---|---|---|---|",
    ]
    for size in sizes:
        told = [_run(size) for _ in range(runs)]
        assert [(int(one[0]), int(one[5])) for one in told] == [(size, SHOWN)] * runs
        clock, busy = (sorted(float(one[place]) for one in told) for place in (1, 2))
        peak, before = (max(int(one[place]) for one in told) for place in (3, 4))
        middle = runs // 2
        lines.append(
            f"| {size:,} | {clock[middle]:.2f} | {busy[middle]:.2f} | {busy[-1]:.2f} | {peak} "
            f"| {before} |"
        )
    sys.stdout.write("\n" + "\n".join(lines) + "\n")


def _run(size: int) -> list[str]:
    command = [sys.executable, "-m", "tests.benchmarks.rank_columns", str(size)]
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()

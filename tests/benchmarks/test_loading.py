"""A small case of the measurement of loading, so that it cannot rot; LOADING.md has the large."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.benchmarks.loading import DATABASES, measure, size_of
from tests.benchmarks.network import write_network
from tests.postgresql import server_tools

STEPS = ["load", "ledger verify", "database check"]


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
@pytest.mark.parametrize("kind", DATABASES)
def test_every_step_of_a_small_load_is_measured(kind, tmp_path):
    if kind == "postgresql" and server_tools() is None:
        pytest.skip("no PostgreSQL server is installed on this machine")
    for folder in (tmp_path, *tmp_path.parents[:3]):
        Path(folder).chmod(0o755)  # the server runs as somebody else
    source = write_network(size_of(400), tmp_path / "input")

    costs = dict(measure(kind, source, tmp_path))

    assert list(costs) == STEPS
    for cost in costs.values():
        assert cost.busy_s > 0
        assert cost.peak_mb > 20


def test_networks_have_about_the_visits_asked_for():
    sizes = [size_of(visits).visits for visits in (400, 10_000, 100_000, 1_000_000)]

    assert sizes == [400, 10_000, 100_000, 1_000_000]

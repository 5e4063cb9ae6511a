"""The same tasks on a Dask cluster, and what is said where there is none."""

from __future__ import annotations

import sys

import pytest

from fleet.workers import cluster
from fleet.workers.cluster import ClusterError
from fleet.workers.pool import WorkerDiedError, map_over, open_workers, outcomes
from tests.workers.crew import double, half_or_die

pytest.importorskip("distributed", reason="the extra `cluster` is not installed")


@pytest.mark.long
def test_local_cluster_gives_the_results_in_order_and_tells_who_died():
    with open_workers(2, (10,), cluster="local") as workers:
        assert workers.size == 2
        assert list(map_over(workers, double, [3, 1, 2])) == [30, 10, 20]

    with open_workers(2, cluster="local") as workers:
        found = list(outcomes(workers, half_or_die, [(n, (n,)) for n in range(11, 15)]))
    assert [one.result for one in found] == [5.5, 6.0, None, 7.0]
    assert isinstance(found[2].error, WorkerDiedError)


def test_a_cluster_without_dask_is_told_in_words(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)

    with (
        pytest.raises(ClusterError, match=r"not installed: pip install 'fleet\[cluster\]'"),
        open_workers(2, cluster="local"),
    ):
        pass


def test_an_address_that_does_not_answer_is_told_in_words(monkeypatch):
    monkeypatch.setattr(cluster, "ANSWER_S", 1)

    with (
        pytest.raises(ClusterError, match=r"No Dask scheduler answers at 'tcp://127\.0\.0\.1:9'"),
        open_workers(2, cluster="tcp://127.0.0.1:9"),
    ):
        pass


def test_an_address_that_is_none_is_told_in_words():
    with (
        pytest.raises(ClusterError, match="No Dask scheduler answers at 'nowhere'"),
        open_workers(2, cluster="nowhere"),
    ):
        pass


class _Client:
    def __init__(self, told):
        self._told = told

    def run(self, function):
        return self._told


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({}, "has no workers"),
        (
            {"tcp://10.0.0.7:1": {**cluster.versions(), "pyvrp": "0.1"}},
            "tcp://10.0.0.7:1: pyvrp 0.1 instead of",
        ),
    ],
)
def test_workers_that_are_missing_or_of_other_versions_are_refused(told, words):
    with pytest.raises(ClusterError, match=words):
        cluster._require_workers(_Client(told), "tcp://10.0.0.5:8786")


def test_workers_of_the_same_versions_are_taken():
    cluster._require_workers(_Client({"tcp://10.0.0.7:1": cluster.versions()}), "here")

"""Tasks spread over this process, over others and over a Dask cluster. Results by hand [CALC]."""

from __future__ import annotations

import pytest

from fleet.workers.pool import Outcome, WorkerDiedError, map_over, open_workers, outcomes
from tests.workers.crew import double, half, half_or_die, threads


@pytest.mark.parametrize("processes", [1, 2])
def test_results_come_in_the_order_of_the_tasks(processes):
    with open_workers(processes, (10,)) as workers:
        assert list(map_over(workers, double, [3, 1, 2])) == [30, 10, 20]


def test_a_task_of_one_process_is_done_only_when_it_is_asked_for():
    done = []
    with open_workers(1) as workers:
        results = map_over(workers, done.append, [1, 2])
        assert done == []
        next(results)
        assert done == [1]


@pytest.mark.parametrize("processes", [1, 2])
def test_an_error_of_one_task_stops_no_other(processes):
    with open_workers(processes) as workers:
        found = list(outcomes(workers, half, [("a", (4,)), ("b", (-1,)), ("c", None), ("d", (2,))]))

    assert [one.key for one in found] == ["a", "b", "c", "d"]
    assert [one.result for one in found] == [2.0, None, None, 1.0]
    assert str(found[1].error) == "-1 is negative"
    assert isinstance(found[1].error, ValueError)
    assert found[2] == Outcome("c")


def test_a_worker_that_dies_takes_its_own_task_along_and_no_other():
    with open_workers(2) as workers:
        found = list(outcomes(workers, half_or_die, [(n, (n,)) for n in range(10, 20)]))

    assert [one.key for one in found] == list(range(10, 20))
    assert [one.result for one in found if one.key != 13] == [
        n / 2 for n in range(10, 20) if n != 13
    ]
    assert isinstance(found[3].error, WorkerDiedError)
    assert str(found[3].error) == "the process that worked on it died"


def test_tasks_are_made_a_few_ahead_and_not_all_at_once():
    made = []

    def tasks():
        for number in range(100):
            made.append(number)
            yield number, (number,)

    with open_workers(2) as workers:
        found = outcomes(workers, half, tasks())
        next(found)
        assert len(made) == 6
        found.close()


def test_a_worker_keeps_its_libraries_to_one_thread(monkeypatch):
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    with open_workers(2) as workers:
        assert next(outcomes(workers, threads, [(0, ())])).result == "1"


def test_fewer_than_one_process_is_refused():
    with pytest.raises(ValueError, match="0 processes, at least 1 is expected"), open_workers(0):
        pass

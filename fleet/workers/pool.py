"""One way to spread independent tasks; the results do not depend on who works on them."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

Key = TypeVar("Key")
Function = Callable[..., Any]
Tell = Callable[[int, int], None]
"""Told how many tasks are done, of how many."""


AHEAD = 3
"""Tasks that are made before they are needed, for each worker."""

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Variables by which numerical libraries are told to keep to one thread, as each worker should."""


class Promise(Protocol):
    """A task that was handed over."""

    def result(self) -> Any:
        """Wait for what it gives, or raise what it raised."""


class WorkerDiedError(Exception):
    """The process that worked on a task ended before the task did."""


@dataclass(frozen=True, slots=True)
class Outcome(Generic[Key]):
    """What became of a task: what it gave, or what it raised."""

    key: Key
    result: Any = None
    error: Exception | None = None


class Workers(Protocol):
    """Who works on tasks; ``size`` tells how many at once."""

    @property
    def size(self) -> int:
        """Give the number of tasks that are worked on at once."""

    def submit(self, function: Function, *arguments: Any) -> Promise:
        """Hand a task over; what was given to all comes before its arguments."""

    def renew(self) -> None:
        """Begin again after a worker died; what was handed over is lost."""


class Here:
    """The process that asks: a task is done when its result is asked for."""

    size = 1

    def __init__(self, given: tuple[Any, ...] = ()) -> None:
        self._given = given

    def submit(self, function: Function, *arguments: Any) -> Promise:
        """Note the task."""
        return _Later(function, (*self._given, *arguments))

    def renew(self) -> None:
        """Do nothing: this process has not died."""


@dataclass(frozen=True, slots=True)
class _Later:
    """A task that waits until it is asked for."""

    function: Function
    arguments: tuple[Any, ...]

    def result(self) -> Any:
        """Do the task."""
        return self.function(*self.arguments)


class Processes:
    """So many processes of their own on this machine, started when the first task comes."""

    def __init__(self, size: int, given: tuple[Any, ...] = ()) -> None:
        self.size = size
        self._given = pickle.dumps(given)
        self._pool = self._start()

    def submit(self, function: Function, *arguments: Any) -> Promise:
        """Hand a task to whichever process is free."""
        return self._pool.submit(_call, function, *arguments)

    def renew(self) -> None:
        """Start new processes."""
        self.close()
        self._pool = self._start()

    def close(self) -> None:
        """End the processes; what has not begun is dropped."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _start(self) -> ProcessPoolExecutor:
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(self.size, context, _make_ready, (self._given,))


@contextmanager
def open_workers(
    processes: int, given: tuple[Any, ...] = (), *, cluster: str | None = None
) -> Iterator[Workers]:
    """Give workers, which end with the block.

    Parameters
    ----------
    processes : int
        At least 1; with 1 everything stays in this process.
    given : tuple
        Comes before the arguments of every task; sent once to each worker.
    cluster : str, optional
        Address of a Dask scheduler, or ``local`` to start a cluster of so many processes here.

    Raises
    ------
    ValueError
        Fewer than 1 process.
    ClusterError
        Dask is not installed, nobody answers, or the versions there are others.
    """
    if processes < 1:
        raise ValueError(f"{processes} processes, at least 1 is expected")
    if cluster is not None:
        from fleet.workers.cluster import open_cluster

        with open_cluster(cluster, processes, given) as workers:
            yield workers
    elif processes == 1:
        yield Here(given)
    else:
        pool = Processes(processes, given)
        try:
            yield pool
        finally:
            pool.close()


def map_over(workers: Workers, function: Function, *columns: Iterable[Any]) -> Iterator[Any]:
    """Give the results of all tasks in their order, as `map` does; the first error is raised."""
    promises = [workers.submit(function, *row) for row in zip(*columns, strict=True)]
    return (promise.result() for promise in promises)


def outcomes(
    workers: Workers, function: Function, tasks: Iterable[tuple[Key, tuple[Any, ...] | None]]
) -> Iterator[Outcome[Key]]:
    """Work through tasks, a few ahead of what is asked for, so that no memory fills up.

    Parameters
    ----------
    workers : Workers
        Who works.
    function : callable
        At the top of a module, so that other processes find it.
    tasks : iterable of (key, arguments)
        Made one by one when there is room; a key with None for arguments is passed on untouched.

    Yields
    ------
    Outcome
        In the order of the tasks. An error of one task, or the death of its worker, stops no
        other: tasks that died with a neighbour are done again, and one that dies alone too
        has a `WorkerDiedError`.
    """
    coming = iter(tasks)
    queue: deque[_Job[Key]] = deque()
    most = 1 if workers.size == 1 else AHEAD * workers.size
    while True:
        for key, arguments in coming:
            queue.append(_Job(key, arguments, _hand_over(workers, function, arguments)))
            if len(queue) >= most:
                break
        if not queue:
            return
        yield _next(workers, function, queue)


@dataclass(slots=True)
class _Job(Generic[Key]):
    """A task that waits in the queue, and the promise of its result."""

    key: Key
    arguments: tuple[Any, ...] | None
    promise: Promise | None


def _next(workers: Workers, function: Function, queue: deque[_Job[Key]]) -> Outcome[Key]:
    """Wait for the first job; where its worker died, do it again alone, and then the others."""
    job = queue.popleft()
    try:
        return _wait(job)
    except BrokenProcessPool:
        workers.renew()
    job.promise = _hand_over(workers, function, job.arguments)
    try:
        again = _wait(job)
    except BrokenProcessPool:
        workers.renew()
        again = Outcome(job.key, error=WorkerDiedError("the process that worked on it died"))
    for other in queue:
        other.promise = _hand_over(workers, function, other.arguments)
    return again


def _wait(job: _Job[Key]) -> Outcome[Key]:
    if job.promise is None:
        return Outcome(job.key)
    try:
        return Outcome(job.key, job.promise.result())
    except BrokenProcessPool:
        raise
    except Exception as error:  # one task's failure is the caller's to tell
        return Outcome(job.key, error=error)


def _hand_over(
    workers: Workers, function: Function, arguments: tuple[Any, ...] | None
) -> Promise | None:
    """Hand a task over; a pool that broke a moment ago tells so when it is waited for."""
    if arguments is None:
        return None
    try:
        return workers.submit(function, *arguments)
    except BrokenProcessPool as error:
        promise: Future[Any] = Future()
        promise.set_exception(error)
        return promise


def usable_cores() -> int:
    """Give the number of cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


_given: tuple[Any, ...] = ()
"""What was given to this process for all its tasks."""


def _make_ready(given: bytes) -> None:
    """Make a process ready: one thread, and an interrupt is the parent's to hear."""
    global _given  # noqa: PLW0603  # a process of a pool has no other place for it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    _given = pickle.loads(given)


def _call(function: Function, *arguments: Any) -> Any:
    return function(*_given, *arguments)

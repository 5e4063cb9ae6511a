"""Workers of a Dask cluster; the only file that knows it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from fleet.errors import FleetError
from fleet.workers.pool import Promise

LOCAL = "local"
"""Names a cluster that is started here and ends with the work."""

ANSWER_S = 10
"""Seconds in which a scheduler is to answer."""

SAME = ("fleet", "numpy", "pyvrp", "pyvroom", "highspy")
"""Distributions that must be of one version here and there, or plans would differ."""


class ClusterError(FleetError):
    """No cluster to work on: Dask is missing, nobody answers, or versions differ."""


class _Told:
    """A task on the cluster.

    A worker that died is told as a pool tells it: a task that only stood beside the one that
    killed it is then done again.
    """

    def __init__(self, future: Any) -> None:
        self._future = future

    def result(self) -> Any:
        """Wait for what it gives."""
        from distributed import KilledWorker

        try:
            return self._future.result()
        except KilledWorker as error:
            raise BrokenProcessPool("the workers that tried it died") from error


class Cluster:
    """The workers of a Dask cluster, which tries a task again when a worker dies."""

    def __init__(self, client: Any, given: tuple[Any, ...]) -> None:
        self._client = client
        self._given = [client.scatter(one, broadcast=True, hash=False) for one in given]

    @property
    def size(self) -> int:
        """Give the number of threads of all workers that are there now."""
        threads: int = sum(self._client.nthreads().values())
        return max(1, threads)

    def submit(self, function: Callable[..., Any], *arguments: Any) -> Promise:
        """Hand a task to the scheduler."""
        return _Told(self._client.submit(function, *self._given, *arguments, pure=False))

    def renew(self) -> None:
        """Do nothing: the cluster replaces its workers."""


@contextmanager
def open_cluster(address: str, processes: int, given: tuple[Any, ...]) -> Iterator[Cluster]:
    """Give the workers of a cluster, which is left alone at the end unless it is local.

    Raises
    ------
    ClusterError
        As in `open_workers`.
    """
    try:
        import distributed
    except ModuleNotFoundError as error:
        raise ClusterError(
            "A cluster needs Dask, which is not installed: pip install 'fleet[cluster]'. "
            "Without --cluster the work is spread over processes."
        ) from error
    with _connect(distributed, address, processes) as client:
        _require_workers(client, address)
        yield Cluster(client, given)


@contextmanager
def _connect(distributed: Any, address: str, processes: int) -> Iterator[Any]:
    if address == LOCAL:
        with (
            distributed.LocalCluster(
                n_workers=processes, threads_per_worker=1, dashboard_address=None, silence_logs=50
            ) as cluster,
            distributed.Client(cluster) as client,
        ):
            yield client
        return
    try:
        client = distributed.Client(address, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        raise ClusterError(
            f"No Dask scheduler answers at {address!r} within {ANSWER_S} s. Expected is the "
            f"address of one that runs, such as tcp://10.0.0.5:8786, or {LOCAL!r}."
        ) from error
    with client:
        yield client


def _require_workers(client: Any, address: str) -> None:
    """Refuse a cluster without workers, or whose workers would plan with other versions."""
    told = client.run(versions)
    if not told:
        raise ClusterError(f"The Dask scheduler at {address!r} has no workers; start some first.")
    here = versions()
    other = sorted(
        f"{worker}: {name} {there.get(name)} instead of {wanted}"
        for worker, there in told.items()
        for name, wanted in here.items()
        if there.get(name) != wanted
    )
    if other:
        raise ClusterError(
            "Workers with other versions would make other plans. " + "; ".join(other[:5]) + "."
        )


def versions() -> dict[str, str]:
    """Give the versions of what a plan depends on."""
    return {name: _version(name) for name in SAME}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"

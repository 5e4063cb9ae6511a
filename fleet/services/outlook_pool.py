"""Spread simulated years over processes; the results do not depend on how many."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from fleet.services.outlook_case import OutlookCase
from fleet.services.outlook_run import RunAsk, run_weeks
from fleet.stats.array import Floats

Tell = Callable[[int, int], None]
"""Told how many runs are done, of how many."""

_given: dict[str, OutlookCase] = {}
"""The case of this process, given once instead of with every run."""


class Runner:
    """Runs simulated years of one case, in this process or in several; close it after use.

    Parameters
    ----------
    case : OutlookCase
        Sent once to each process.
    processes : int
        1 runs everything here.
    """

    def __init__(self, case: OutlookCase, processes: int) -> None:
        self._case = case
        self._pool: ProcessPoolExecutor | None = None
        if processes > 1:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(processes, context, _start, (case,))

    def __enter__(self) -> Runner:
        return self

    def __exit__(self, *exception: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def run(self, asks: Sequence[RunAsk], tell: Tell) -> list[Floats]:
        """Run all that is asked; the results come in the order of the asks."""
        results = []
        for result in self._results(asks):
            results.append(result)
            tell(len(results), len(asks))
        return results

    def _results(self, asks: Sequence[RunAsk]) -> Iterator[Floats]:
        if self._pool is None:
            return (run_weeks(self._case, ask) for ask in asks)
        return self._pool.map(_run, asks)


def _start(case: OutlookCase) -> None:
    """Make a process ready: an interrupt is the parent's to hear."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _given["case"] = case


def _run(ask: RunAsk) -> Floats:
    return run_weeks(_given["case"], ask)

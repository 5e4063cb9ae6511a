"""Spread simulated years over processes; the results do not depend on how many."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager

from fleet.services.outlook_case import OutlookCase
from fleet.services.outlook_run import RunAsk, run_weeks
from fleet.stats.array import Floats
from fleet.workers.pool import Tell, Workers, map_over, open_workers


class Runner:
    """Runs simulated years of one case, in this process or in several, while its block lasts.

    Parameters
    ----------
    case : OutlookCase
        Sent once to each process.
    processes : int
        1 runs everything here.
    """

    def __init__(self, case: OutlookCase, processes: int) -> None:
        self._opened: AbstractContextManager[Workers] = open_workers(processes, (case,))
        self._workers: Workers | None = None

    def __enter__(self) -> Runner:
        self._workers = self._opened.__enter__()
        return self

    def __exit__(self, *exception: object) -> None:
        self._opened.__exit__(None, None, None)

    def run(self, asks: Sequence[RunAsk], tell: Tell) -> list[Floats]:
        """Run all that is asked; the results come in the order of the asks."""
        if self._workers is None:
            raise RuntimeError("a runner runs within its block")
        results = []
        for result in map_over(self._workers, run_weeks, asks):
            results.append(result)
            tell(len(results), len(asks))
        return results

"""How many crew-days a week hold a share of the gauges in date, depot by depot."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.services.outlook_case import DepotCase, OutlookCase
from fleet.services.outlook_order import OutlookOrder, Variant
from fleet.services.outlook_outcome import simulate
from fleet.services.outlook_pool import Runner
from fleet.stats.array import Floats
from fleet.workers.pool import Tell


@dataclass(frozen=True, slots=True)
class DepotHolding:
    """The fewest technician-days a week that hold a depot's share in date.

    ``days`` None: not even the whole roster of ``rostered`` does; the share is then the roster's.
    ``low_percent`` and ``high_percent`` bound four runs of five.
    """

    depot_code: str
    days: int | None
    rostered: int
    in_date_percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True, slots=True)
class Holding:
    """How a target in date is held under one variant, depot by depot."""

    variant: Variant
    depots: tuple[DepotHolding, ...]


def hold_target(
    runner: Runner, case: OutlookCase, order: OutlookOrder, variant: Variant, tell: Tell
) -> Holding:
    """Seek the fewest crew-days of every depot that hold the target.

    Parameters
    ----------
    runner : Runner
        Of the case.
    case : OutlookCase
        The depots.
    order : OutlookOrder
        With a ``target_percent``.
    variant : Variant
        Crews, interval and rule; its limit of days is what is sought.
    tell : callable
        Told how many runs are done.

    Returns
    -------
    Holding
        The target is held where the mean over the seeds of the share in date over the second
        half of the weeks, when what was behind at first is caught up, reaches it. Found by
        halving, all depots at once: more days never hold less, as far as chance goes.
    """
    searches = [
        _Search(depot, depot.rostered_days(variant.crew), order.target_percent or 0.0)
        for depot in case.depots
    ]
    _try(searches, runner, order, replace(variant, days_a_week=None), tell)
    while any(search.open for search in searches):
        days = tuple((search.depot.code, float(search.tried)) for search in searches)
        _try(searches, runner, order, replace(variant, days_a_week=days), tell)
    return Holding(variant, tuple(search.result() for search in searches))


class _Search:
    """The search of one depot: too few days, enough days, and the share that these reach."""

    def __init__(self, depot: DepotCase, rostered: int, target_percent: float) -> None:
        self.depot = depot
        self._target = target_percent
        self._rostered = rostered
        self._too_few = -1
        self._enough: int | None = None
        self._reached: Floats | None = None

    @property
    def open(self) -> bool:
        """Tell whether there is a number of days left to try."""
        return self._enough is not None and self._too_few + 1 < self._enough

    @property
    def tried(self) -> int:
        """Give the days to try next, or those known to hold."""
        if self._enough is None:
            return self._rostered
        return (self._too_few + self._enough) // 2 if self.open else self._enough

    def hear(self, share: Floats) -> None:
        """Take in the share in date that `tried` days reach; first that of the whole roster."""
        if self._reached is None:
            self._reached = share
            self._enough = self._rostered if self._holds(share) else None
        elif self.open and self._holds(share):
            self._enough, self._reached = self.tried, share
        elif self.open:
            self._too_few = self.tried

    def result(self) -> DepotHolding:
        """Give what was found."""
        reached = np.zeros(1) if self._reached is None else self._reached
        low, high = np.quantile(reached, (0.1, 0.9))
        mean = float(reached.mean())
        found = (self.depot.code, self._enough, self._rostered)
        return DepotHolding(*found, mean, float(low), float(high))

    def _holds(self, share: Floats) -> bool:
        return float(share.mean()) >= self._target


def _try(
    searches: list[_Search], runner: Runner, order: OutlookOrder, variant: Variant, tell: Tell
) -> None:
    outcome = simulate(runner, order, [variant], tell)[0]
    for number, search in enumerate(searches):
        search.hear(outcome.later_in_date(number, search.depot.gauges.size))

"""One simulated year: a week after the other ranked, planned, driven and recorded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.planning.quick_site import QuickCrew
from fleet.planning.quick_week import plan_quickly
from fleet.services.outlook_case import DepotCase, OutlookCase
from fleet.services.outlook_order import Variant, VisitBy
from fleet.services.round_request import DAYS_IN_WEEK
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.belief import Belief
from fleet.stats.future import SUDDEN_FACTS, Future
from fleet.stats.ranking import HORIZON_DAYS

COUNTS = ("overdue", "unfit", "lost", "hours", "km", "visits", "days")
"""What is counted of each week and depot: gauges overdue and unfit at its end, record-days lost
in it, hours of crew, km driven, gauges serviced, and technician-days used."""

AHEAD_OF_VISITS = 3
"""Days of a week that pass before its visits, all of which are set on Wednesday evening."""

GRID = np.append(np.arange(0.0, HORIZON_DAYS, 7.0), float(HORIZON_DAYS))
"""Days at which the worth looks at P(u): the ranking takes each day, a week is near enough."""

DUE_WITHIN_DAYS = 14
"""By due date: a gauge due within two weeks may be taken along."""


@dataclass(frozen=True, slots=True)
class RunAsk:
    """What one run is: a variant, a seed, and the price of driving in record-days a minute."""

    variant: Variant
    seed: int
    weeks: int
    price_per_min: float


def run_weeks(case: OutlookCase, ask: RunAsk) -> Floats:
    """Simulate the weeks to come once.

    Parameters
    ----------
    case : OutlookCase
        Where it starts from; not changed.
    ask : RunAsk
        The seed draws the same future for every variant.

    Returns
    -------
    ndarray, shape (weeks, depots, counts)
        In the order of `COUNTS`.
    """
    year = _Year(case, ask)
    return np.array([list(year.pass_week(number)) for number in range(ask.weeks)])


class _Year:
    """The network from week to week: what is true of it and what is believed."""

    def __init__(self, case: OutlookCase, ask: RunAsk) -> None:
        gauges, variant = case.gauges, ask.variant
        self._case, self._ask = case, ask
        self._dice = np.random.default_rng((ask.seed, 2))
        self._future = Future(gauges.forecast, gauges.doubt, np.random.default_rng((ask.seed, 0)))
        self._belief = Belief(
            gauges.forecast,
            level_known=gauges.level_known,
            ohm_known=gauges.ohm_known,
            level_variance=gauges.level_variance,
            dice=np.random.default_rng((ask.seed, 1)),
        )
        self._age = gauges.age_days.copy()
        self._interval = (
            gauges.interval_days
            if variant.interval_days is None
            else np.full_like(gauges.interval_days, variant.interval_days)
        )
        self._pass(case.days_before)

    def pass_week(self, number: int) -> Iterator[list[float]]:
        """Rank, plan, drive and record one week; give the counts of each depot."""
        for cause in SUDDEN_FACTS:
            self._belief.hear(cause, self._future.noticed(cause))
        prize = self._prize()
        before = self._future.unfit()
        self._pass(AHEAD_OF_VISITS)
        midweek = self._future.unfit()
        driven = [self._drive(depot, number, prize) for depot in self._case.depots]
        served = np.concatenate([gauges for gauges, _ in driven])
        self._belief.record(served, self._future.service(served))
        self._age[served] = 0
        after = self._future.unfit()
        self._pass(DAYS_IN_WEEK - AHEAD_OF_VISITS)
        end = self._future.unfit()
        lost = AHEAD_OF_VISITS * _mean(before, midweek)
        lost = (lost + (DAYS_IN_WEEK - AHEAD_OF_VISITS) * _mean(after, end)) * (
            self._case.gauges.importance
        )
        overdue = self._age > self._interval
        for depot, (_, work) in zip(self._case.depots, driven, strict=True):
            own = depot.gauges
            yield [*(float(part[own].sum()) for part in (overdue, end, lost)), *work]

    def _pass(self, days: int) -> None:
        self._future.pass_days(days)
        self._belief.pass_days(days)
        self._age += days

    def _prize(self) -> Floats:
        """Give what a visit to each gauge counts for in this week's plan."""
        gauges = self._case.gauges
        over = self._age - self._interval
        if self._ask.variant.visit_by is VisitBy.DUE:
            return np.asarray(np.maximum(over + DUE_WITHIN_DAYS, 0), dtype=np.float64)
        worth = self._belief.worth(GRID, gauges.importance)
        return np.asarray(worth + gauges.compliance_record_days * np.maximum(over, 0))

    def _drive(self, depot: DepotCase, number: int, prize: Floats) -> tuple[Ints, list[float]]:
        """Plan and drive a depot's week: the gauges serviced, and hours, km, visits, days."""
        crews = depot.weeks[self._ask.variant.crew][number]
        size = depot.sites.service_min.size
        worth = np.bincount(depot.site_of, prize[depot.gauges], size).astype(np.float64)
        week = plan_quickly(
            depot.sites,
            crews,
            worth,
            price_per_min=self._ask.price_per_min,
            most_days=self._most_days(depot, number),
        )
        entered = self._dice.random(worth.size) >= self._case.failed_share
        visited = np.zeros(worth.size, dtype=np.bool_)
        visited[week.sites] = True
        gauges = depot.gauges[(visited & entered)[depot.site_of]]
        used = [(crew, day.stops, day.driving_min + day.work_min) for crew, day in week.days]
        hours = sum(len(crew.members) * minutes for crew, _, minutes in used) / 60.0
        km = sum(_km(depot, crew, stops) for crew, stops, _ in used)
        days = sum(len(crew.members) for crew, _, _ in used)
        return gauges, [hours, km, float(gauges.size), float(days)]

    def _most_days(self, depot: DepotCase, number: int) -> int | None:
        """Give the technician-days of a week; a broken number is spread over the weeks."""
        share = self._ask.variant.days_of(depot.code)
        if share is None:
            return None
        return int(np.floor((number + 1) * share + 1e-9) - np.floor(number * share + 1e-9))


def _mean(one: Bools, other: Bools) -> Floats:
    return (one.astype(np.float64) + other) / 2.0


def _km(depot: DepotCase, crew: QuickCrew, stops: Sequence[int]) -> float:
    places = [crew.start, *stops, crew.end]
    return float(depot.sites.km[places[:-1], places[1:]].sum())

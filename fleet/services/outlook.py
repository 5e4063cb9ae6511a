"""Look ahead over the coming weeks: what becomes of the network under crews and policies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from sqlalchemy.orm import Session, sessionmaker

from fleet.planning.distance import great_circle_travel
from fleet.services.outlook_case import OutlookCase, outlook_case
from fleet.services.outlook_order import OutlookOrder, Variant
from fleet.services.outlook_pool import Runner, Tell
from fleet.services.outlook_run import COUNTS, RunAsk
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import DAYS_IN_WEEK
from fleet.stats.array import Floats

MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What became of one variant: counts of shape (seeds, weeks, depots, `COUNTS`)."""

    variant: Variant
    counts: Floats

    def weekly(self, count: str) -> Floats:
        """Give a count of the whole network, shape (seeds, weeks)."""
        return np.asarray(self.counts[:, :, :, COUNTS.index(count)].sum(axis=2))


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


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """All that was simulated; the first outcome is what the others are held against."""

    order: OutlookOrder
    first_day: date
    gauges: int
    depot_gauges: tuple[tuple[str, int], ...]
    failed_share: float
    travel_source: str
    compliance: bool
    never_served: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    holdings: tuple[Holding, ...]

    @property
    def weeks(self) -> list[date]:
        """Give the Mondays."""
        return [self.first_day + timedelta(DAYS_IN_WEEK * n) for n in range(self.order.weeks)]


def look_ahead(
    sessions: sessionmaker[Session],
    order: OutlookOrder,
    *,
    travel: TravelSource = great_circle_travel,
    tell: Tell = lambda done, of: None,
) -> Outlook:
    """Simulate the coming weeks under every variant asked for.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    order : OutlookOrder
        What to simulate; the number of processes does not change the result.
    travel : callable
        Where driving times come from.
    tell : callable
        Told how many runs are done, of how many.

    Returns
    -------
    Outlook
        Each seed draws one future, the same for every variant, so that differences between
        variants are not chance alone.

    Raises
    ------
    NotFoundError
        No such depot, or no gauge in service.
    """
    with sessions() as session:
        case = outlook_case(session, order, travel)
    variants = order.choices.variants()
    with Runner(case, order.processes) as runner:
        outcomes = _simulate(runner, order, variants, tell)
        holdings = () if order.target_percent is None else _holdings(runner, case, order, tell)
    return Outlook(
        order=order,
        first_day=case.first_day,
        gauges=case.gauges.age_days.size,
        depot_gauges=tuple((depot.code, depot.gauges.size) for depot in case.depots),
        failed_share=case.failed_share,
        travel_source=case.travel_source,
        compliance=bool((case.gauges.compliance_record_days > 0.0).any()),
        never_served=tuple(
            code for depot in case.depots for code in depot.never_served(variants[0].crew)
        ),
        outcomes=tuple(outcomes),
        holdings=holdings,
    )


def later_in_date(outcome: Outcome, depot: int, gauges: int) -> Floats:
    """Give the percent of a depot's gauges in date over the second half of the weeks, by seed."""
    overdue = outcome.counts[:, :, depot, COUNTS.index("overdue")]
    later = overdue[:, overdue.shape[1] // 2 :]
    return np.asarray(100.0 * (1.0 - later.mean(axis=1) / max(1, gauges)))


def _simulate(
    runner: Runner, order: OutlookOrder, variants: list[Variant], tell: Tell
) -> list[Outcome]:
    seeds = range(order.first_seed, order.first_seed + order.seeds)
    price = order.drive_price_days_per_h / MINUTES_PER_HOUR
    asks = [RunAsk(variant, seed, order.weeks, price) for variant in variants for seed in seeds]
    runs = runner.run(asks, tell)
    return [
        Outcome(variant, np.array(runs[n * order.seeds : (n + 1) * order.seeds]))
        for n, variant in enumerate(variants)
    ]


def _holdings(
    runner: Runner, case: OutlookCase, order: OutlookOrder, tell: Tell
) -> tuple[Holding, ...]:
    """Seek the crew-days of the first crew under each interval and rule."""
    choices = replace(
        order.choices,
        technicians=order.choices.technicians[:1],
        hours=order.choices.hours[:1],
        days_a_week=(None,),
    )
    return tuple(_hold(runner, case, order, variant, tell) for variant in choices.variants())


def _hold(
    runner: Runner, case: OutlookCase, order: OutlookOrder, variant: Variant, tell: Tell
) -> Holding:
    """Halve the range of every depot at once until the fewest days are known."""
    depots = case.depots
    rostered = [depot.rostered_days(variant.crew) for depot in depots]
    too_few, enough = [-1] * len(depots), list(rostered)
    reached = _shares(runner, case, order, replace(variant, days_a_week=None), tell)
    holds = [_held(share, order) for share in reached]
    while any(h and few + 1 < e for h, few, e in zip(holds, too_few, enough, strict=True)):
        tried = [max(0, (few + e) // 2) for few, e in zip(too_few, enough, strict=True)]
        days = tuple((depot.code, float(n)) for depot, n in zip(depots, tried, strict=True))
        shares = _shares(runner, case, order, replace(variant, days_a_week=days), tell)
        for n, share in enumerate(shares):
            if not holds[n] or too_few[n] + 1 >= enough[n]:
                continue
            if _held(share, order):
                enough[n], reached[n] = tried[n], share
            else:
                too_few[n] = tried[n]
    return Holding(
        variant,
        tuple(
            _depot_holding(depot.code, days if held else None, most, share)
            for depot, days, held, most, share in zip(
                depots, enough, holds, rostered, reached, strict=True
            )
        ),
    )


def _shares(
    runner: Runner, case: OutlookCase, order: OutlookOrder, variant: Variant, tell: Tell
) -> list[Floats]:
    outcome = _simulate(runner, order, [variant], tell)[0]
    return [later_in_date(outcome, n, d.gauges.size) for n, d in enumerate(case.depots)]


def _held(share: Floats, order: OutlookOrder) -> bool:
    return order.target_percent is not None and float(share.mean()) >= order.target_percent


def _depot_holding(code: str, days: int | None, rostered: int, share: Floats) -> DepotHolding:
    low, high = np.quantile(share, (0.1, 0.9))
    return DepotHolding(code, days, rostered, float(share.mean()), float(low), float(high))

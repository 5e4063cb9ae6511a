"""Look ahead over the coming weeks: what becomes of the network under crews and policies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from sqlalchemy.orm import Session, sessionmaker

from fleet.planning.distance import great_circle_travel
from fleet.services.outlook_case import OutlookCase
from fleet.services.outlook_gather import gather_case
from fleet.services.outlook_hold import Holding, hold_target
from fleet.services.outlook_order import OutlookOrder
from fleet.services.outlook_outcome import Outcome, simulate
from fleet.services.outlook_pool import Runner
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import DAYS_IN_WEEK
from fleet.workers.pool import Tell


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
    travel: Callable[[str], TravelSource] = lambda _: great_circle_travel,
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
        From the code of a depot to where its driving times come from.
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
        case = gather_case(session, order, travel)
    variants = order.choices.variants()
    with Runner(case, order.processes) as runner:
        outcomes = simulate(runner, order, variants, tell)
        holdings = _holdings(runner, case, order, tell)
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


def _holdings(
    runner: Runner, case: OutlookCase, order: OutlookOrder, tell: Tell
) -> tuple[Holding, ...]:
    """Seek the crew-days of the first crew under each interval and rule."""
    if order.target_percent is None:
        return ()
    choices = replace(
        order.choices,
        technicians=order.choices.technicians[:1],
        hours=order.choices.hours[:1],
        days_a_week=(None,),
    )
    return tuple(hold_target(runner, case, order, variant, tell) for variant in choices.variants())

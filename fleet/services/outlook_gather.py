"""Gather from the records what the outlook starts from: every gauge and every depot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import timedelta
from statistics import median

import numpy as np
from sqlalchemy.orm import Session

from fleet.domain.code import VisitOutcome
from fleet.domain.state import GaugeState
from fleet.errors import NotFoundError
from fleet.services.outlook_case import GaugeArrays, OutlookCase
from fleet.services.outlook_depot import CaseAsk, depot_case
from fleet.services.outlook_order import OutlookOrder
from fleet.services.ranking import RankedGauge, RankFilter, rank_gauges
from fleet.services.round_problem import TravelSource
from fleet.services.site_work import site_works
from fleet.stats.array import Floats
from fleet.stats.future import shared_doubt
from fleet.stats.gauge_array import lay_out, stand_rows
from fleet.store.queries.crew import depot, depots
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import sites

LEVEL_VARIANCE = 1.0
"""Percent squared; of a measured level where no gauge of the network was measured yet: half a
tip of a 50-tip test (own estimate)."""


def gather_case(
    session: Session, order: OutlookOrder, travel: Callable[[str], TravelSource]
) -> OutlookCase:
    """Gather what the outlook starts from.

    Parameters
    ----------
    session : Session
        Only read from.
    order : OutlookOrder
        Day, depots, weeks and crews.
    travel : callable
        From the code of a depot to what gives the drives between its places.

    Returns
    -------
    OutlookCase
        Of every depot with a gauge in service. Holds and open follow-ups are not seen: they
        belong to the weeks that are planned, not to the year.

    Raises
    ------
    NotFoundError
        No such depot, or no gauge in service.
    """
    keep = RankFilter(depot_code=order.depot_code)
    ranking = rank_gauges(session, as_of=order.as_of, known_on=order.known_on, keep=keep)
    ranked = sorted(ranking, key=lambda one: one.state.gauge.installation_id)
    if not ranked:
        raise NotFoundError(
            f"No gauge is in service on {order.as_of}: there is nothing to foresee."
        )
    first_day = order.as_of + timedelta(days=7 - order.as_of.weekday())
    chosen = [depot(session, order.depot_code)] if order.depot_code else depots(session)
    placed = {r.state.gauge.installation_id: number for number, r in enumerate(ranked)}
    laid_out = [
        depot_case(
            session,
            kept,
            site_works(ranked, sites(session, depot_code=kept.code), ()),
            placed,
            ask=CaseAsk(order, first_day, travel(kept.code)),
        )
        for kept in chosen
    ]
    made = [case for case in laid_out if case is not None]
    return OutlookCase(
        first_day=first_day,
        days_before=(first_day - order.as_of).days,
        gauges=_gauge_arrays(ranked, order),
        depots=tuple(case for case, _ in made),
        failed_share=_failed_share(session, order),
        travel_source="; ".join(dict.fromkeys(source for _, source in made)),
    )


def _gauge_arrays(ranked: Sequence[RankedGauge], order: OutlookOrder) -> GaugeArrays:
    standings = stand_rows([gauge.forecast for gauge in ranked])
    own = standings.policies.numbers("compliance_record_days")
    added = order.compliance_record_days
    return GaugeArrays(
        forecast=lay_out(standings),
        doubt=shared_doubt(standings),
        level_known=standings.level_known,
        ohm_known=standings.ohm_known,
        level_variance=_level_variances([gauge.state for gauge in ranked]),
        importance=standings.columns.importance,
        age_days=standings.age_days,
        interval_days=standings.interval_days,
        compliance_record_days=own if added is None else np.full(own.size, added),
    )


def _level_variances(states: Sequence[GaugeState]) -> Floats:
    """Take each gauge's last as-left measurement, else the middle one of its type or of all."""
    seen: dict[str, list[float]] = defaultdict(list)
    for state in states:
        if state.last_as_left is not None:
            seen[state.gauge.type_code].append(state.last_as_left.error.variance)
    every = [variance for group in seen.values() for variance in group]
    typical = median(every) if every else LEVEL_VARIANCE
    return np.array(
        [
            state.last_as_left.error.variance
            if state.last_as_left is not None
            else median(seen[state.gauge.type_code] or [typical])
            for state in states
        ],
        dtype=np.float64,
    )


def _failed_share(session: Session, order: OutlookOrder) -> float:
    """Give the share of attempts on record that serviced nothing, unless one was named."""
    if order.failed_percent is not None:
        return order.failed_percent / 100.0
    histories = gauge_histories(session, as_of=order.as_of, known_on=order.known_on)
    records = [record for history in histories for record in history.records]
    failed = sum(record.outcome is VisitOutcome.NOT_DONE for record in records)
    return failed / max(1, len(records))

"""Plans of the small network's week from 2025-06-02, quick enough for a unit test."""

from __future__ import annotations

from datetime import date

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.planning.distance import great_circle_travel
from fleet.services.plan_round import PlannedRound, plan_round
from fleet.services.ranking import RankFilter, rank_gauges
from fleet.services.round_problem import TravelSource, WeekProblem, week_problem
from fleet.services.round_request import request_for
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot as kept_depot

SUNDAY = date(2025, 6, 1)
"""Last day of the evidence: the week planned by default begins the day after."""

MON, TUE, WED, THU, FRI, SAT, LAST = (date(2025, 6, day) for day in range(2, 9))


def pose(
    sessions: sessionmaker[Session],
    depot: str = "NORTH",
    *,
    as_of: date = SUNDAY,
    week: date | None = None,
) -> WeekProblem:
    """Pose the week without solving it."""
    request = request_for(depot, as_of, week)
    with sessions() as session:
        ranked = rank_gauges(session, as_of=as_of, keep=RankFilter(depot_code=depot))
        place = kept_depot(session, depot)
        return week_problem(session, place, ranked, request, travel=great_circle_travel)


def plan(
    sessions: sessionmaker[Session],
    clock: Clock,
    depot: str = "NORTH",
    *,
    as_of: date = SUNDAY,
    week: date | None = None,
    dry_run: bool = False,
    travel: TravelSource = great_circle_travel,
) -> PlannedRound:
    """Plan the week with a short search."""
    request = request_for(depot, as_of, week, iterations=20)
    wish = Wish("tester", "round plan", "", dry_run)
    return plan_round(sessions, request, wish, clock=clock, travel=travel)

"""What each hold and the compliance worth cost a week: planned with and without them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.plan import Plan, PlanProblem
from fleet.planning.distance import great_circle_travel
from fleet.planning.solver import solve
from fleet.services.plan_round import PosedWeek, accepted_of, pose_week
from fleet.services.round_problem import TravelSource, binding_holds
from fleet.services.round_request import RoundRequest
from fleet.services.round_row import Row, frame_of
from fleet.services.standing import Standing
from fleet.store.queries.place import KeptHold

COLUMNS = {
    "wish": "str",
    "site_code": "str",
    "first_day": "object",
    "last_day": "object",
    "reason": "str",
    "with_record_days": "float64",
    "without_record_days": "float64",
    "cost_record_days": "float64",
    "with_driving_min": "int64",
    "without_driving_min": "int64",
}
COMPLIANCE = "compliance"


@dataclass(frozen=True, slots=True)
class _Week:
    """A plan by what it buys: good record alone, without what policy adds for being overdue."""

    record_days: float
    driving_min: int


def price_wishes(
    sessions: sessionmaker[Session],
    request: RoundRequest,
    *,
    travel: TravelSource = great_circle_travel,
    say: Callable[[str], None] = lambda text: None,
) -> pd.DataFrame:
    """Plan a week with and without each hold, and without the compliance worth.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    request : RoundRequest
        The week, and the seed and iterations of every search.
    travel : callable
        Where driving times come from.
    say : callable
        Told what is going on, a line a search.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`, holds in order of site, then the compliance worth. Record-days are those
        of the good record that the week's stops buy, the compliance worth left out on both
        sides; a positive cost is what the wish takes away. Differences below what another seed
        would give mean nothing.
    """
    with sessions() as session:
        standing = Standing(fixed=accepted_of(session, request))
        posed = pose_week(session, request, travel=travel, standing=standing)
        holds = list(binding_holds(session, request, posed.week.work))
        say("Planning with all wishes ...")
        whole = _plan(posed, posed.week.problem)
        rows = list(_hold_rows(session, posed, holds, whole, travel=travel, say=say))
    say("Planning without the compliance worth ...")
    rows.append(_row(COMPLIANCE, None, whole, _plan(posed, _for_record_alone(posed))))
    return frame_of(rows, COLUMNS)


def _hold_rows(
    session: Session,
    posed: PosedWeek,
    holds: Sequence[KeptHold],
    whole: _Week,
    *,
    travel: TravelSource,
    say: Callable[[str], None],
) -> Iterator[Row]:
    for hold in holds:
        say(f"Planning without {hold.kind} of {hold.site_code} ...")
        lifted = replace(posed.standing, lifted=frozenset({hold}))
        without = pose_week(session, posed.request, travel=travel, standing=lifted)
        yield _row(hold.kind.value, hold, whole, _plan(posed, without.week.problem))


def _plan(posed: PosedWeek, problem: PlanProblem) -> _Week:
    plan = solve(problem)
    return _Week(_record_days(posed, plan), sum(day.driving_min for day in plan.days))


def _record_days(posed: PosedWeek, plan: Plan) -> float:
    return sum(posed.week.work[s.site_code].record_days for day in plan.days for s in day.stops)


def _for_record_alone(posed: PosedWeek) -> PlanProblem:
    problem = posed.week.problem
    return replace(
        problem,
        candidates=tuple(
            replace(candidate, worth=posed.week.work[candidate.place.key].record_days)
            for candidate in problem.candidates
        ),
    )


def _row(wish: str, hold: KeptHold | None, whole: _Week, without: _Week) -> Row:
    return {
        "wish": wish,
        "site_code": hold.site_code if hold else "",
        "first_day": hold.first_day if hold else None,
        "last_day": hold.last_day if hold else None,
        "reason": hold.reason if hold else "worth of days overdue, by policy",
        "with_record_days": round(whole.record_days, 2),
        "without_record_days": round(without.record_days, 2),
        "cost_record_days": round(without.record_days - whole.record_days, 2),
        "with_driving_min": whole.driving_min,
        "without_driving_min": without.driving_min,
    }

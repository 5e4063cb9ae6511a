"""Plan a depot's round: rank, pose the week, solve, check by other code, keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.plan import LeftOut, Plan
from fleet.planning.checker import require_sound
from fleet.planning.distance import great_circle_travel
from fleet.planning.solver import solve
from fleet.services.ranking import RankedGauge, RankFilter, narrow, rank_gauges
from fleet.services.round_problem import TravelSource, WeekProblem, week_problem
from fleet.services.round_request import RoundRequest
from fleet.services.round_write import RoundPlan, StopGauge, write_round
from fleet.services.site_walk import travel_evidence
from fleet.services.site_work import SiteWork
from fleet.stats.ranking import HORIZON_DAYS
from fleet.store.journal import Wish, writing
from fleet.store.queries.crew import depot as kept_depot


@dataclass(frozen=True, slots=True)
class PlannedRound:
    """A round that was planned, and kept unless it was a dry run."""

    round_ref: str
    number: int
    plan: Plan
    week: WeekProblem
    kept: bool


def round_code(depot_code: str, first_day: date) -> str:
    """Name the round of a depot and week, after ISO 8601: 2026-W48-DEPOT."""
    year, week, _ = first_day.isocalendar()
    return f"{year}-W{week:02d}-{depot_code}"


def plan_round(
    sessions: sessionmaker[Session],
    request: RoundRequest,
    wish: Wish,
    *,
    clock: Clock,
    travel: TravelSource = great_circle_travel,
    ranking: Sequence[RankedGauge] | None = None,
) -> PlannedRound:
    """Plan a round and keep it as the next version.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    request : RoundRequest
        What to plan. The same data, seed and iterations give the same plan.
    wish : Wish
        Who plans and why; a dry run keeps nothing.
    clock : Clock
        Gives the instant of the ledger entry.
    travel : callable
        Where driving times come from.
    ranking : sequence of RankedGauge, optional
        Of the whole network on the evidence day, where it was worked out already.

    Returns
    -------
    PlannedRound
        With all that was left out and why.

    Raises
    ------
    NotFoundError
        No such depot.
    InfeasibleError
        The independent checker refuses the plan.
    """
    with sessions() as session:
        depot = kept_depot(session, request.depot_code)
        if ranking is None:
            ranking = rank_gauges(
                session, as_of=request.evidence_as_of, with_rain=request.with_rain
            )
        ranked = narrow(ranking, RankFilter(depot_code=depot.code))
        week = week_problem(session, depot, ranked, request, travel=travel)
    solved = solve(week.problem)
    require_sound(week.problem, solved)
    plan = replace(solved, left_out=_left_out(solved, week))
    kept = RoundPlan(
        round_ref=round_code(depot.code, request.first_day),
        depot_code=depot.code,
        first_day=request.first_day,
        last_day=request.last_day,
        evidence_as_of=request.evidence_as_of,
        horizon_days=HORIZON_DAYS,
        settings=request.settings,
        travel_source=week.problem.travel.source,
        plan=plan,
        gauges={
            code: _stop_gauges(work, travel_evidence(week.problem.travel, code))
            for code, work in week.work.items()
        },
        worths={code: work.worth for code, work in week.work.items()},
        must_visit=week.must_visit,
    )
    with writing(sessions, wish, clock) as work:
        number = write_round(work, kept)
    return PlannedRound(kept.round_ref, number, plan, week, kept=not wish.dry_run)


def _left_out(solved: Plan, week: WeekProblem) -> tuple[LeftOut, ...]:
    """Give all that was left out, must-visit first, then by falling worth."""
    return tuple(
        sorted(
            (*solved.left_out, *week.held),
            key=lambda left: (
                not left.must_visit,
                -week.work[left.site_code].worth,
                left.site_code,
            ),
        )
    )


def _stop_gauges(work: SiteWork, driven: Mapping[str, object]) -> tuple[StopGauge, ...]:
    return tuple(
        StopGauge(
            serial=ranked.state.gauge.serial,
            position=ranked.state.gauge.position,
            worth_record_days=ranked.total_record_days,
            unfit_probability=ranked.unfit_probability,
            evidence={**_evidence(ranked, job.tasks, job.bring), **driven},
        )
        for ranked, job in zip(work.gauges, work.jobs, strict=True)
    )


def _evidence(
    ranked: RankedGauge, tasks: tuple[str, ...], bring: tuple[str, ...]
) -> Mapping[str, object]:
    return {
        "drivers": [
            {
                "name": driver.name,
                "share_percent": round(driver.share_percent, 3),
                "sentence": driver.sentence,
            }
            for driver in ranked.drivers
        ],
        "rain": ranked.rain,
        "tasks": list(tasks),
        "bring": list(bring),
    }

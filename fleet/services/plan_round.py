"""Plan a depot's round: rank, pose the week, solve, check by other code, keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.plan import LeftOut, Plan
from fleet.planning.checker import require_sound
from fleet.planning.distance import great_circle_travel
from fleet.planning.marginal import StopCost, plan_routes, stop_costs
from fleet.planning.night import as_slept
from fleet.planning.solver import solve
from fleet.services.boundary import find_boundary, guest_notes, require_not_elsewhere
from fleet.services.crew_days import depot_place
from fleet.services.equipment_notice import Equipment, equipment_notes
from fleet.services.gauge_write import writing
from fleet.services.network_week import read_network_week
from fleet.services.ranking import RankedGauge, RankFilter, Ranking, rank_gauges
from fleet.services.round_plan import RoundPlan, StopGauge
from fleet.services.round_problem import TravelSource, WeekProblem, week_problem
from fleet.services.round_request import RoundRequest, round_code
from fleet.services.round_write import write_round
from fleet.services.site_walk import travel_evidence
from fleet.services.site_work import SiteWork
from fleet.services.standing import FixedStop, Standing, accepted_stops
from fleet.services.take_along import (
    TURN_NOTE,
    Along,
    along_sentences,
    own_worth,
    weigh_against_turn,
)
from fleet.stats.ranking import HORIZON_DAYS
from fleet.store.journal import Wish
from fleet.store.queries.crew import KeptDepot
from fleet.store.queries.crew import depot as kept_depot
from fleet.store.queries.place import sites
from fleet.store.queries.round import newest_version
from fleet.store.unmoved import require_unmoved


@dataclass(frozen=True, slots=True)
class PlannedRound:
    """A round that was planned, and kept unless it was a dry run.

    ``costs`` tell by site what its stop costs the day; ``notes`` are the planner's sentences;
    ``along`` tells which stops are taken along before they fall due, where that was asked for.
    """

    round_ref: str
    number: int
    plan: Plan
    week: WeekProblem
    costs: Mapping[str, StopCost]
    notes: tuple[str, ...]
    accepted: frozenset[str]
    first_day: date
    kept: bool
    along: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PosedWeek:
    """A depot's week as read, with the ledger's head before reading.

    ``remarks`` come before the other notes of the plan; ``gains`` tell by site what passing by
    saves later, where that was asked for. ``rates`` says which learned rates rank, '' where none.
    """

    depot: KeptDepot
    request: RoundRequest
    week: WeekProblem
    standing: Standing
    equipment: Equipment
    head: int
    remarks: tuple[str, ...] = ()
    gains: Mapping[str, Along] = field(default_factory=dict)
    rates: str = ""


def plan_round(
    sessions: sessionmaker[Session],
    request: RoundRequest,
    wish: Wish,
    *,
    clock: Clock,
    travel: TravelSource = great_circle_travel,
    ranking: Ranking | None = None,
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
    ranking : Ranking, optional
        Of the whole network on the evidence day, where it was worked out already.

    Returns
    -------
    PlannedRound
        With all that was left out and why. Stops of the newest version that are accepted keep
        their day and crew.

    Raises
    ------
    NotFoundError
        No such depot.
    InfeasibleError
        The independent checker refuses the plan.
    ConflictError
        The records changed while the plan was made; nothing is written.
    """
    with sessions() as session:
        standing = Standing(fixed=accepted_of(session, request))
        posed = pose_week(session, request, travel=travel, standing=standing, ranking=ranking)
    solved = solve(posed.week.problem, processes=request.processes)
    return keep_plan(sessions, posed, solved, wish, clock=clock)


def pose_week(
    session: Session,
    request: RoundRequest,
    *,
    travel: TravelSource,
    standing: Standing,
    ranking: Ranking | None = None,
) -> PosedWeek:
    """Read all that a depot's week is planned from; ``ranking`` as of `plan_round`.

    Raises
    ------
    NotFoundError
        No such depot.
    """
    depot = kept_depot(session, request.depot_code)
    network = standing.network or read_network_week(session, request)
    own = sites(session, depot_code=depot.code)
    boundary = find_boundary(session, depot, request, own, network.stops)
    if ranking is None:
        ranking = rank_gauges(session, as_of=request.evidence_as_of, with_rain=request.with_rain)
    ranked = ranking.narrow(RankFilter(depot.code, guests=frozenset(boundary.guests)))
    bound = replace(standing, boundary=boundary, network=network)
    week = week_problem(session, depot, ranked, request, travel=travel, standing=bound)
    gains: Mapping[str, Along] = {}
    if request.take_along:
        week, gains = weigh_against_turn(week, as_of=request.evidence_as_of)
    return PosedWeek(
        depot,
        request,
        week,
        bound,
        network.equipment,
        network.head,
        gains=gains,
        rates=network.rates,
    )


def keep_plan(
    sessions: sessionmaker[Session],
    posed: PosedWeek,
    solved: Plan,
    wish: Wish,
    *,
    clock: Clock,
) -> PlannedRound:
    """Let the independent checker judge a plan, and keep it as the next version of its round.

    Raises
    ------
    InfeasibleError
        The checker refuses the plan.
    ConflictError
        The records changed since the week was posed; nothing is written.
    """
    week, request = posed.week, posed.request
    require_sound(week.problem, solved)
    plan = replace(own_worth(solved, posed.gains), left_out=_left_out(solved, week))
    routes = plan_routes(as_slept(week.problem, solved.nights), solved.days)
    planned = {stop.site_code for day in plan.days for stop in day.stops}
    notes = (
        *posed.remarks,
        *([posed.rates] if posed.rates else []),
        *([TURN_NOTE] if posed.gains else []),
        *week.notes,
        *guest_notes(posed.standing.boundary, planned),
        *equipment_notes(posed.equipment, plan.days, week.work),
    )
    kept = RoundPlan(
        round_ref=round_code(posed.depot.code, request.first_day),
        depot_code=posed.depot.code,
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
        costs=stop_costs(week.problem, routes),
        ends={
            (route.crew.day, route.crew.technician_codes): (route.crew.start, route.crew.end)
            for route in routes
            if {route.crew.start, route.crew.end} != {depot_place(posed.depot)}
        },
        notes=notes,
        accepted=frozenset(posed.standing.fixed),
    )
    with writing(sessions, wish, clock) as work:
        require_unmoved(work, posed.head)
        require_not_elsewhere(work.session, posed.depot, request, planned)
        number = write_round(work, kept)
    return PlannedRound(
        round_ref=kept.round_ref,
        number=number,
        plan=plan,
        week=week,
        costs=kept.costs,
        notes=notes,
        accepted=kept.accepted,
        first_day=kept.first_day,
        kept=not wish.dry_run,
        along=tuple(along_sentences(week, plan, posed.gains)),
    )


def accepted_of(session: Session, request: RoundRequest) -> dict[str, FixedStop]:
    """Give the stops of the newest version that the coordinator has accepted."""
    newest = newest_version(session, round_code(request.depot_code, request.first_day))
    return {} if newest is None else accepted_stops(newest, request.first_day)


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
            evidence={**_evidence(ranked, job.particular, job.bring), **driven},
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

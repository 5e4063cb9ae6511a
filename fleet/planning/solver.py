"""The weekly round of one depot; the only file that knows the route solver, PyVRP."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from math import fsum
from statistics import fmean
from typing import Any

from pyvrp import (
    Client,
    ClientGroup,
    Depot,
    IteratedLocalSearch,
    IteratedLocalSearchParams,
    Location,
    PenaltyManager,
    PenaltyParams,
    ProblemData,
    RandomNumberGenerator,
    Solution,
    VehicleType,
)
from pyvrp import Route as SolverRoute
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import (
    OPERATORS,
    LocalSearch,
    PerturbationManager,
    PerturbationParams,
    compute_neighbours,
)
from pyvrp.stop import MaxIterations

from fleet.domain.plan import LeftOut, Plan, PlanProblem
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.joint import plan_with_joint_days
from fleet.planning.leftout import fill_gaps, unplanned, why_left_out
from fleet.planning.model import Model, build_model
from fleet.planning.price import Prices, set_prices
from fleet.planning.problem import MOST_DRIVE_MIN, require_problem
from fleet.planning.reach import out_of_reach
from fleet.planning.shortlist import shorten
from fleet.planning.timeline import Route, plan_day

FORBIDDEN_MIN = 10 * MOST_DRIVE_MIN
"""Driving time that keeps a crew away from a site it may not visit, in min."""

STAGES = (PerturbationParams(1, 25), PerturbationParams(1, 10))
"""Strong shaking first, which long days need, then weaker, which short days need; half each."""

HISTORY = 50
"""Plans that the search looks back on when it takes a worse one; few suit a short search."""

FEASIBLE_SHARE = 0.1
"""Share of plans that keep all limits, which the penalties aim at: the search goes round limits."""

PENALTY_UPDATE = 50
"""Iterations between two corrections of the penalties."""

FIRST_PENALTY = 2.0
"""What a minute over a limit costs at first, in prizes collected in a mean minute of driving."""

LEAST_PENALTY_RANGE = 100_000.0
"""The greatest penalty of a minute over a limit is at least this, in cost units."""


def solve(problem: PlanProblem) -> Plan:
    """Plan one depot's week: the most worth, less the price of driving.

    Parameters
    ----------
    problem : PlanProblem
        Sites with their worth, technician-days, travel times and settings.

    Returns
    -------
    Plan
        Days with stops in order of day and technicians; every other site with the reason why
        it is left out, must-visit sites first, then by falling worth. The same problem gives
        the same plan. Without sites or technician-days the plan has no days.

    Raises
    ------
    ValueError
        For a problem that contradicts itself; everything wrong is named.

    Notes
    -----
    A prize-collecting vehicle routing problem with time windows, solved by iterated local
    search (PyVRP) for a fixed number of iterations. A must-visit site counts more than all
    others together, so one that is impossible costs the plan nothing.
    """
    require_problem(problem)
    crews = possible_crews(problem.technician_days, problem.candidates)
    refused = {
        candidate.place.key: out_of_reach(candidate, crews, problem.travel)
        for candidate in problem.candidates
    }
    within = tuple(c for c in problem.candidates if refused[c.place.key] is None)
    reachable = replace(problem, candidates=within)
    prices = set_prices(reachable)
    routes = _plan_routes(reachable, prices)
    routes = fill_gaps(routes, crews, problem=reachable, prices=prices)
    left_out = [left for left in refused.values() if left is not None]
    left_out += [
        why_left_out(candidate, routes, crews, problem=reachable, prices=prices)
        for candidate in unplanned(within, routes)
    ]
    return _write_plan(problem, routes, left_out)


def _plan_routes(problem: PlanProblem, prices: Prices) -> list[Route]:
    short = replace(problem, candidates=shorten(problem, prices))

    def search(
        crews: Sequence[Crew], iterations: int, *, start: Sequence[Route] = ()
    ) -> list[Route]:
        model = build_model(short.candidates, crews, travel=problem.travel, prices=prices)
        return _search(model, seed=problem.settings.seed, iterations=iterations, start=start)

    return plan_with_joint_days(short, prices, search)


def _write_plan(problem: PlanProblem, routes: Sequence[Route], left_out: Sequence[LeftOut]) -> Plan:
    worth = {candidate.place.key: candidate.worth for candidate in problem.candidates}
    days = sorted(
        (plan_day(route, problem.travel) for route in routes),
        key=lambda day: (day.day, day.technician_codes),
    )
    settings = problem.settings
    return Plan(
        days=tuple(days),
        left_out=tuple(
            sorted(
                left_out,
                key=lambda left: (not left.must_visit, -worth[left.site_code], left.site_code),
            )
        ),
        worth=fsum(worth[stop.site_code] for day in days for stop in day.stops),
        solver=(
            f"PyVRP {version('pyvrp')}, seed {settings.seed}, {settings.iterations} iterations, "
            f"driving at {settings.drive_price_days_per_h:g} record-days an hour"
        ),
    )


def _search(model: Model, *, seed: int, iterations: int, start: Sequence[Route]) -> list[Route]:
    """Run all stages of the search and give the routes with stops."""
    if not model.visits:
        return []
    data = _solver_data(model)
    found, penalties = _solution(start, model, data), _penalties(model, data)
    for stage, perturbation in enumerate(STAGES):
        random = RandomNumberGenerator(seed=seed + stage)
        share = -(-iterations // len(STAGES))
        found = _improve(
            found,
            data,
            perturbation,
            random=random,
            stop=MaxIterations(share),
            penalties=penalties,
        )
    return _routes(found, model)


def _improve(
    start: Solution,
    data: ProblemData,
    perturbation: PerturbationParams,
    *,
    random: RandomNumberGenerator,
    stop: MaxIterations,
    penalties: PenaltyManager,
) -> Solution:
    """Search on from a plan, from a random one where it is empty; never give a worse one."""
    local = LocalSearch(data, random, compute_neighbours(data), PerturbationManager(perturbation))
    for operator in OPERATORS:
        if operator.supports(data):
            local.add_operator(operator(data))
    first = start if start.num_clients() else Solution.make_random(data, random)
    first = local(first, penalties.max_cost_evaluator(), exhaustive=True)
    settings = IteratedLocalSearchParams(history_length=HISTORY)
    algorithm = IteratedLocalSearch(data, penalties, local, first, settings)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)  # the plan is checked afterwards
        found = algorithm.run(stop, collect_stats=False, display=False).best
    evaluator = penalties.cost_evaluator()
    return min((start, found), key=evaluator.cost)


def _penalties(model: Model, data: ProblemData) -> PenaltyManager:
    """Begin with penalties that fit the size of the prizes and the legs."""
    drives: Any = data.duration_matrix(profile=0)
    leg_min = max(1.0, float(drives[drives < FORBIDDEN_MIN].mean()))
    prizes = [
        model.prices.prizes[visit.key] for visit in model.visits if not visit.candidate.must_visit
    ]
    first = FIRST_PENALTY * fmean(prizes or [1]) / leg_min
    limits = PenaltyParams(
        solutions_between_updates=PENALTY_UPDATE,
        target_feasible=FEASIBLE_SHARE,
        max_penalty=max(LEAST_PENALTY_RANGE, 100.0 * first),
    )
    return PenaltyManager(([], first, first), limits)


def _solver_data(model: Model) -> ProblemData:
    depots = {key: index for index, key in enumerate(model.ends)}
    drives: tuple[list[Any], list[int]] = model.drives(barred_min=FORBIDDEN_MIN)
    matrices, profiles = drives
    vehicles = [
        VehicleType(
            start_depot=depots[crew.start_key],
            end_depot=depots[crew.end_key],
            tw_early=crew.starts_min,
            tw_late=crew.ends_min,
            shift_duration=crew.usable_min,
            max_distance=crew.max_driving_min,
            unit_distance_cost=model.prices.per_min,
            profile=profile,
        )
        for crew, profile in zip(model.crews, profiles, strict=True)
    ]
    clients, groups = _clients(model, first_location=len(depots))
    places = [Location(0, 0) for _ in range(len(depots) + len(clients))]
    stays = [Depot(location=index) for index in range(len(depots))]
    return ProblemData(places, clients, stays, vehicles, matrices, matrices, groups)


def _clients(model: Model, *, first_location: int) -> tuple[list[Client], list[ClientGroup]]:
    """Write each visit as an optional client; of those of one site, only one may be taken."""
    several = [members for members in model.alternatives().values() if len(members) > 1]
    group_of = {index: group for group, members in enumerate(several) for index in members}
    clients = [
        Client(
            location=first_location + index,
            service_duration=visit.candidate.service_min,
            tw_early=visit.window.opens_min,
            tw_late=visit.last_start_min,
            prize=model.prices.prizes[visit.key],
            required=False,
            group=group_of.get(index),
        )
        for index, visit in enumerate(model.visits)
    ]
    return clients, [ClientGroup(members, required=False) for members in several]


def _solution(start: Sequence[Route], model: Model, data: ProblemData) -> Solution:
    """Write routes for the solver, leaving out the crews and sites that the model lacks."""
    vehicle_of = {crew: index for index, crew in enumerate(model.crews)}
    routes = []
    for route in start:
        vehicle = vehicle_of.get(route.crew)
        if vehicle is not None:
            clients = [model.node(visit, vehicle) for visit in route.visits]
            routes.append(SolverRoute(data, clients, vehicle))
    return Solution(data, routes)


def _routes(found: Solution, model: Model) -> list[Route]:
    return [
        model.route(
            route.vehicle_type(), [step.idx for step in route.schedule() if step.is_client()]
        )
        for route in found.routes()
    ]

"""The weekly round of one depot, from the problem to the plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from importlib.metadata import version

from fleet.domain.plan import Bound, LeftOut, Plan, PlanProblem, SearchSettings
from fleet.planning.bound import prove_bound
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.finish import write_plan
from fleet.planning.leftout import fill_gaps, unplanned, why_left_out
from fleet.planning.night import day_variants
from fleet.planning.price import Prices, set_prices
from fleet.planning.problem import require_problem
from fleet.planning.reach import out_of_reach
from fleet.planning.timeline import Route
from fleet.planning.week_search import FoundWeek, WeekSearch, transfers
from fleet.workers.pool import map_over, open_workers

LIBRARIES = (("PyVRP", "pyvrp"), ("VROOM", "pyvroom"), ("HiGHS", "highspy"))
"""What searches, by the name people know and the name of its distribution."""


def solve(problem: PlanProblem, *, processes: int = 1) -> Plan:
    """Plan one depot's week: the most worth, less the price of driving and of nights away.

    Parameters
    ----------
    problem : PlanProblem
        Sites with their worth, technician-days, travel times, bases and settings.
    processes : int
        Processes to spread the search over, at least 1; they change nothing in the plan.

    Returns
    -------
    Plan
        Days in order of day and technicians; every other site with the reason why it is left
        out, must-visit sites first, then by falling worth. The same problem gives the same plan,
        unless its settings let the clock end the search. Without sites or technician-days the
        plan has no days.

    Raises
    ------
    ValueError
        For a problem that contradicts itself; everything wrong is named.

    Notes
    -----
    A prize-collecting vehicle routing problem with time windows. A quick first plan is searched
    on from by shaking and mending, and by putting days of all plans seen together anew, for a
    fixed number of iterations (`find_days`). A must-visit site counts more than all others
    together, so one that is impossible costs the plan nothing.
    """
    require_problem(problem)
    every_crew = possible_crews(day_variants(problem), problem.candidates)
    refused = {
        candidate.place.key: out_of_reach(candidate, every_crew, problem.travel)
        for candidate in problem.candidates
    }
    within = tuple(c for c in problem.candidates if refused[c.place.key] is None)
    reachable = replace(problem, candidates=within)
    prices = set_prices(reachable)
    with open_workers(processes) as workers:
        search = WeekSearch(reachable, prices, partial(map_over, workers))
        found = search.run()
    week = _filled(found, reachable, prices)
    left_out = [left for left in refused.values() if left is not None]
    left_out += _left_out(week, prices)
    plan = _written(problem, week, left_out)
    if problem.settings.bound_s is None:
        return plan
    return replace(plan, bound=_bound(reachable, week, search.seen))


def _filled(found: FoundWeek, reachable: PlanProblem, prices: Prices) -> FoundWeek:
    """Add what still fits, also of the sites that were not on the short list."""
    moved = replace(reachable, technician_days=found.problem.technician_days)
    crews = _crews(moved)
    routes = fill_gaps(found.routes, crews, problem=moved, prices=prices)
    return FoundWeek(moved, tuple(routes), found.nights)


def _crews(problem: PlanProblem) -> list[Crew]:
    return possible_crews(problem.technician_days, problem.candidates)


def _left_out(week: FoundWeek, prices: Prices) -> list[LeftOut]:
    """Say why each site within reach is not in the plan, given the nights that were chosen."""
    crews = _crews(week.problem)
    return [
        out_of_reach(candidate, crews, week.problem.travel)
        or why_left_out(candidate, week.routes, crews, problem=week.problem, prices=prices)
        for candidate in unplanned(week.problem.candidates, week.routes)
    ]


def _bound(reachable: PlanProblem, week: FoundWeek, seen: Sequence[Route]) -> Bound:
    """Prove a bound; what a must-visit site counts on top of its worth is left out of it."""
    plain = replace(
        reachable, candidates=tuple(replace(c, must_visit=False) for c in reachable.candidates)
    )
    routes = [*week.routes, *transfers(week)]
    return prove_bound(reachable, set_prices(plain), routes, nights=week.nights, seen=seen)


def _written(problem: PlanProblem, week: FoundWeek, left_out: Sequence[LeftOut]) -> Plan:
    days = [*week.routes, *transfers(week)]
    plan = write_plan(problem, days, left_out, solver=_how(problem.settings))
    return replace(plan, nights=week.nights)


def _how(settings: SearchSettings) -> str:
    """Say what made the plan, and with which settings it is made again."""
    names = ", ".join(f"{name} {version(package)}" for name, package in LIBRARIES)
    length = (
        f"{settings.iterations} iterations"
        if settings.seconds is None
        else f"stopped by the clock after {settings.seconds:g} s (another run may differ)"
    )
    price = f"driving at {settings.drive_price_days_per_h:g} record-days an hour"
    return f"{names}, seed {settings.seed}, {length}, {price}"

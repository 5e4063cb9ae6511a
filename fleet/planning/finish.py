"""A whole plan from given days: what still fits is added, everything else is explained."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import fsum

from fleet.domain.plan import Candidate, LeftOut, Plan, PlanProblem
from fleet.planning.crew import possible_crews
from fleet.planning.leftout import fill_gaps, unplanned, why_left_out
from fleet.planning.price import set_prices
from fleet.planning.reach import out_of_reach
from fleet.planning.timeline import Route, plan_day


def finish_plan(
    problem: PlanProblem,
    routes: Sequence[Route],
    *,
    solver: str,
    bonus: Mapping[str, float] | None = None,
) -> Plan:
    """Make a plan of given days.

    Parameters
    ----------
    problem : PlanProblem
        The week.
    routes : sequence of Route
        Days of it; those that do not hold are thinned out, what still fits is added.
    solver : str
        How the days were found, kept with the plan.
    bonus : mapping, optional
        Record-days by site that dropping its stop has to gain besides its worth.

    Returns
    -------
    Plan
        As of `fleet.planning.solver.solve`.
    """
    crews = possible_crews(problem.technician_days, problem.candidates)
    refused = {c.place.key: out_of_reach(c, crews, problem.travel) for c in problem.candidates}
    within = tuple(c for c in problem.candidates if refused[c.place.key] is None)
    reachable = replace(problem, candidates=within)
    prices = set_prices(reachable)
    steady = replace(reachable, candidates=tuple(_raised(c, bonus or {}) for c in within))
    filled = fill_gaps(routes, crews, problem=reachable, prices=set_prices(steady))
    left_out = [left for left in refused.values() if left is not None]
    left_out += [
        why_left_out(candidate, filled, crews, problem=reachable, prices=prices)
        for candidate in unplanned(within, filled)
    ]
    return write_plan(problem, filled, left_out, solver=solver)


def _raised(candidate: Candidate, bonus: Mapping[str, float]) -> Candidate:
    return replace(candidate, worth=candidate.worth + bonus.get(candidate.place.key, 0.0))


def write_plan(
    problem: PlanProblem, routes: Sequence[Route], left_out: Sequence[LeftOut], *, solver: str
) -> Plan:
    """Write days that hold and what was left out as a plan, in its stated order."""
    worth = {candidate.place.key: candidate.worth for candidate in problem.candidates}
    days = sorted(
        (plan_day(route, problem.travel) for route in routes),
        key=lambda day: (day.day, day.technician_codes),
    )
    return Plan(
        days=tuple(days),
        left_out=tuple(
            sorted(
                left_out,
                key=lambda left: (not left.must_visit, -worth[left.site_code], left.site_code),
            )
        ),
        worth=fsum(worth[stop.site_code] for day in days for stop in day.stops),
        solver=solver,
    )

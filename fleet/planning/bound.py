"""How far a plan can be from the best there is: a bound that holds for every plan of the week."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from time import monotonic

from fleet.domain.plan import Bound, Night, PlanProblem
from fleet.planning.column_search import ColumnSearch, Day
from fleet.planning.crew import possible_crews
from fleet.planning.model import build_model
from fleet.planning.night import day_variants
from fleet.planning.price import Prices
from fleet.planning.timeline import Route
from fleet.planning.week_program import WeekProgram, lay_program

WIDENING_SHARE = 0.7
"""Part of the time in which days are looked for; the rest is for the proof."""


def prove_bound(
    problem: PlanProblem,
    prices: Prices,
    routes: Sequence[Route],
    *,
    nights: Sequence[Night] = (),
    seen: Sequence[Route] = (),
) -> Bound:
    """Prove how much the best plan of a week can bring at most.

    Parameters
    ----------
    problem : PlanProblem
        The week, its candidates all within reach; the setting ``bound_s`` says about how long it
        may take. The last step is always made, so that it may take longer.
    prices : Prices
        What sites and driving count; of must-visit sites without what comes on top.
    routes, nights : sequence
        The plan.
    seen : sequence of Route
        Other days that keep all limits; they only make it faster.

    Returns
    -------
    Bound
        In record-days; it holds for every plan that makes the must-visits of this one.

    Notes
    -----
    Column generation: the choice among days is solved with days taken in part, days that it lacks
    are found by labelling, and the bound is that of Lagrange, which holds at every step. Where a
    day may visit a site twice, or wait without that counting as time, the bound is higher than it
    need be, never lower. Joint days and nights away are part of it.
    Source: Baldacci, Mingozzi and Roberti (2011), ng-route relaxation; from memory.
    """
    began_s = monotonic()
    seconds = problem.settings.bound_s or 0.0
    crews = possible_crews(day_variants(problem), problem.candidates)
    model = build_model(problem.candidates, crews, travel=problem.travel, prices=prices)
    own = prices.score(routes, problem.travel)
    own -= round(prices.per_day * sum(night.cost_days for night in nights))
    if not model.visits:
        return Bound(own / prices.per_day, max(own, 0) / prices.per_day, "nothing can be visited")
    planned = {visit.key for route in routes for visit in route.visits}
    kept = {c.place.key for c in problem.candidates if c.must_visit} & planned
    week = lay_program(problem, model, kept=kept, night_cost=prices.per_day)
    search = ColumnSearch(week, start_days(week, [*routes, *seen]))
    search.widen(began_s + WIDENING_SHARE * seconds)
    best = search.prove(began_s + seconds)
    proof = (
        f"column generation (HiGHS {version('highspy')}), {len(search.columns.days)} days weighed"
    )
    return Bound(own / prices.per_day, max(best, own) / prices.per_day, proof)


def start_days(week: WeekProgram, routes: Sequence[Route]) -> list[Day]:
    """Give routes as days of the slots that they belong to."""
    slot_of = {crew: number for number, slot in enumerate(week.slots) for crew in slot.crews}
    return [(slot_of[crew], visits) for crew, visits in week.model.days(routes)]

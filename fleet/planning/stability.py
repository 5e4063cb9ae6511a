"""Planning a week again near to what was issued: each change has to earn a stated price."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from fleet.domain.plan import Candidate, Plan, PlanProblem
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.finish import finish_plan
from fleet.planning.insertion import windows_alone
from fleet.planning.marginal import plan_routes
from fleet.planning.solver import solve
from fleet.planning.timeline import Route, Visit


@dataclass(frozen=True, slots=True)
class Slot:
    """The day and the crew to which a stop was issued."""

    day: date
    crew: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """How a plan departs from what was issued, sites in order of code.

    ``lost`` stops had to move or go, because their crew or day is not there any more; they
    cost nothing.
    """

    kept: tuple[str, ...]
    moved: tuple[str, ...]
    dropped: tuple[str, ...]
    lost: tuple[str, ...]
    added: tuple[str, ...]

    @property
    def priced(self) -> int:
        """Give the number of changes that have to earn the price."""
        return len(self.moved) + len(self.dropped)


def plan_near(
    problem: PlanProblem, issued: Mapping[str, Slot], *, price_record_days: float
) -> tuple[Plan, Change]:
    """Plan a week again, staying with what was issued unless a change earns its price.

    Parameters
    ----------
    problem : PlanProblem
        The rest of the week, without what is done.
    issued : mapping
        Site code to the slot in which its stop was issued, in driving order.
    price_record_days : float
        What moving a stop to another day or crew, or dropping it, has to gain.

    Returns
    -------
    Plan
        The best of three by worth less driving less changes: what was issued with its gaps
        filled, one searched for in which every stop that can keep its slot keeps it or goes, and
        one that is free.
    Change
        Against ``issued``.
    """
    possible = _possible_slots(problem, issued)
    steady = solve(_held_to_slots(problem, issued, possible, price_record_days))
    days = plan_routes(problem, steady.days)
    words = f"{steady.solver}, near what was issued at {price_record_days:g} record-days a change"
    bonus = dict.fromkeys(possible, price_record_days)
    offers = [
        finish_plan(problem, routes, solver=words, bonus=bonus)
        for routes in (_as_issued(problem, issued, possible), days)
    ]
    offers.append(replace(solve(problem), solver=words))
    lost = frozenset(issued) - possible
    told = [(plan, changes(plan, issued, lost=lost)) for plan in offers]
    return max(
        told, key=lambda offer: _net(problem, offer[0]) - price_record_days * offer[1].priced
    )


def changes(plan: Plan, issued: Mapping[str, Slot], *, lost: frozenset[str]) -> Change:
    """Hold a plan against what was issued."""
    planned = {
        stop.site_code: Slot(day.day, day.technician_codes)
        for day in plan.days
        for stop in day.stops
    }
    bound = [code for code in sorted(issued) if code not in lost]
    return Change(
        kept=tuple(code for code in bound if planned.get(code) == issued[code]),
        moved=tuple(code for code in bound if code in planned and planned[code] != issued[code]),
        dropped=tuple(code for code in bound if code not in planned),
        lost=tuple(sorted(lost)),
        added=tuple(code for code in sorted(planned) if code not in issued),
    )


def _as_issued(
    problem: PlanProblem, issued: Mapping[str, Slot], possible: frozenset[str]
) -> list[Route]:
    """Give the days as they were issued, in the order issued, without what is lost."""
    crews, sites = _crews(problem), _sites(problem)
    visits: dict[Slot, list[Visit]] = defaultdict(list)
    for code, slot in issued.items():
        if code in possible:
            window = windows_alone(sites[code], crews[slot], problem.travel)[0]
            visits[slot].append(Visit(sites[code], window))
    return [Route(crews[slot], tuple(stops)) for slot, stops in visits.items()]


def _crews(problem: PlanProblem) -> dict[Slot, Crew]:
    crews = possible_crews(problem.technician_days, problem.candidates)
    return {Slot(crew.day, crew.technician_codes): crew for crew in crews}


def _sites(problem: PlanProblem) -> dict[str, Candidate]:
    return {candidate.place.key: candidate for candidate in problem.candidates}


def _possible_slots(problem: PlanProblem, issued: Mapping[str, Slot]) -> frozenset[str]:
    """Give the sites whose crew could still go there on the day, were it the only stop."""
    crews, sites = _crews(problem), _sites(problem)
    return frozenset(
        code
        for code, slot in issued.items()
        if code in sites
        and (crew := crews.get(slot)) is not None
        and windows_alone(sites[code], crew, problem.travel)
    )


def _held_to_slots(
    problem: PlanProblem,
    issued: Mapping[str, Slot],
    possible: frozenset[str],
    price_record_days: float,
) -> PlanProblem:
    def held(candidate: Candidate) -> Candidate:
        code = candidate.place.key
        if code not in possible:
            return candidate
        slot = issued[code]
        return replace(
            candidate,
            worth=candidate.worth + price_record_days,
            windows={day: spans for day, spans in candidate.windows.items() if day == slot.day},
            technician_code=candidate.technician_code or slot.crew[0],
        )

    return replace(problem, candidates=tuple(held(c) for c in problem.candidates))


def _net(problem: PlanProblem, plan: Plan) -> float:
    driving = sum(day.driving_min for day in plan.days)
    must = sum(left.must_visit for left in plan.left_out)
    everything = sum(candidate.worth for candidate in problem.candidates)
    price = problem.settings.drive_price_days_per_h
    return plan.worth - price * driving / 60.0 - must * (1.0 + everything)

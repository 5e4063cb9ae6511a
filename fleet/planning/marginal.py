"""What each stop of a plan costs its day, and in place of what a left-out site would fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fleet.domain.plan import Candidate, DayPlan, PlanProblem, Travel
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.insertion import cheapest_addition, usable_windows
from fleet.planning.price import Prices
from fleet.planning.thin import without
from fleet.planning.timeline import Route, Visit, time_route


@dataclass(frozen=True, slots=True)
class StopCost:
    """What a day would save without a stop: minutes away, and the driving in them."""

    extra_min: int
    extra_driving_min: int


@dataclass(frozen=True, slots=True)
class Exchange:
    """A stop that would have to go for another site, and what that does to the driving."""

    dropped: Candidate
    crew: Crew
    extra_driving_min: int


def stop_costs(problem: PlanProblem, routes: Iterable[Route]) -> dict[str, StopCost]:
    """Give what each stop of a plan costs.

    Parameters
    ----------
    problem : PlanProblem
        The week.
    routes : iterable of Route
        The days of a plan that holds, as `plan_routes` gives them.

    Returns
    -------
    dict
        By site code. A stop that is alone in its day costs the whole day.
    """
    costs: dict[str, StopCost] = {}
    for route in routes:
        whole = time_route(route, problem.travel)
        for place, visit in enumerate(route.visits):
            rest = without(route, place)
            less = time_route(rest, problem.travel) if rest.visits else None
            costs[visit.key] = StopCost(
                extra_min=whole.length_min - (less.length_min if less else 0),
                extra_driving_min=whole.driving_min - (less.driving_min if less else 0),
            )
    return costs


def plan_routes(problem: PlanProblem, days: Iterable[DayPlan]) -> list[Route]:
    """Give the days of a plan as routes again, each work in the window that it lies in."""
    crews = {
        (crew.day, crew.technician_codes): crew
        for crew in possible_crews(problem.technician_days, problem.candidates)
    }
    candidates = {candidate.place.key: candidate for candidate in problem.candidates}
    return [_route(day, crews[day.day, day.technician_codes], candidates) for day in days]


def _route(day: DayPlan, crew: Crew, candidates: Mapping[str, Candidate]) -> Route:
    visits = []
    for stop in day.stops:
        candidate = candidates[stop.site_code]
        window = next(
            window
            for window in usable_windows(candidate, crew)
            if window.opens_min <= stop.start_min and stop.depart_min <= window.closes_min
        )
        visits.append(Visit(candidate, window))
    return Route(crew, tuple(visits))


def cheapest_exchange(
    candidate: Candidate, routes: Sequence[Route], travel: Travel
) -> Exchange | None:
    """Find the stop of least worth in whose place a site would fit into its day.

    Parameters
    ----------
    candidate : Candidate
        A site that is left out.
    routes : sequence of Route
        The plan.
    travel : Travel
        Driving times between all places named.

    Returns
    -------
    Exchange or None
        None where no single stop makes room. A stop that must be visited makes none for a site
        that need not be.
    """
    offers = [
        (visit.candidate.worth, visit.key, route, place)
        for route in routes
        if route.crew.serves(candidate) and usable_windows(candidate, route.crew)
        for place, visit in enumerate(route.visits)
        if candidate.must_visit or not visit.candidate.must_visit
    ]
    for _, _, route, place in sorted(offers, key=lambda offer: offer[:2]):
        rest = [without(route, place)]
        addition = cheapest_addition(candidate, rest, travel, fitting=True)
        if addition is not None:
            more = addition.timing.driving_min - time_route(route, travel).driving_min
            return Exchange(route.visits[place].candidate, route.crew, more)
    return None


def better_exchange(
    candidate: Candidate, routes: Sequence[Route], travel: Travel, prices: Prices
) -> Route | None:
    """Give a day with a site in place of a stop of less prize, where that scores better.

    Parameters
    ----------
    candidate : Candidate
        A site that is left out.
    routes : sequence of Route
        The plan.
    travel : Travel
        Driving times between all places named.
    prices : Prices
        To weigh prizes against driving.

    Returns
    -------
    Route or None
        The changed day; stops of the least prize are tried first.
    """
    prize = prices.prizes[candidate.place.key]
    offers = sorted(
        (prices.prizes[visit.key], number, place)
        for number, route in enumerate(routes)
        if route.crew.serves(candidate) and usable_windows(candidate, route.crew)
        for place, visit in enumerate(route.visits)
        if prices.prizes[visit.key] < prize
    )
    for _, number, place in offers:
        route = routes[number]
        rest = [without(route, place)]
        addition = cheapest_addition(candidate, rest, travel, fitting=True)
        if addition is not None:
            before = prices.score([route], travel)
            return addition.route if prices.score([addition.route], travel) > before else None
    return None

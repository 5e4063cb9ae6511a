"""What is still worth adding to a plan, and what it would have taken to add the rest."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.domain.plan import Candidate, LeftOut, LeftOutReason, PlanProblem, Travel
from fleet.planning.crew import Crew
from fleet.planning.insertion import Addition, cheapest_addition, windows_alone
from fleet.planning.marginal import better_exchange, cheapest_exchange
from fleet.planning.price import Prices
from fleet.planning.thin import thin_out
from fleet.planning.timeline import Route, Visit, time_route
from fleet.planning.wording import crew_words, excess_words


def fill_gaps(
    routes: Sequence[Route], crews: Sequence[Crew], *, problem: PlanProblem, prices: Prices
) -> list[Route]:
    """Make every day hold, add what still fits, and exchange stops where that scores better.

    Parameters
    ----------
    routes : sequence of Route
        Days planned so far, each with stops; breaks and loads need not be kept yet.
    crews : sequence of Crew
        Every crew that could be formed this week.
    problem : PlanProblem
        The week, its candidates all within reach.
    prices : Prices
        To weigh a site against the drive to it.

    Returns
    -------
    list of Route
        The days with stops.
    """
    filled = _filled(thin_out(routes, problem.travel, prices), crews, problem, prices)
    while (better := _exchanged(filled, problem, prices)) is not None:
        filled = _filled(better, crews, problem, prices)
    return filled


def _filled(
    routes: Sequence[Route], crews: Sequence[Crew], problem: PlanProblem, prices: Prices
) -> list[Route]:
    """Add what still fits and is worth its drive, best first."""
    filled = list(routes)
    missing = unplanned(problem.candidates, filled)
    while missing:
        gains: list[tuple[int, Addition]] = []
        days = open_routes(filled, crews)
        for candidate in missing:
            addition = cheapest_addition(candidate, days, problem.travel, fitting=True)
            if addition is not None:
                cost = prices.per_min * addition.extra_driving_min
                gains.append((prices.prizes[candidate.place.key] - cost, addition))
        gain, best = max(gains, key=lambda entry: entry[0], default=(0, None))
        if best is None or gain <= 0:
            break
        filled = [route for route in filled if route.crew != best.route.crew]
        filled.append(best.route)
        missing = unplanned(missing, filled)
    return filled


def _exchanged(routes: Sequence[Route], problem: PlanProblem, prices: Prices) -> list[Route] | None:
    """Put a missing site in the place of a planned one where that scores better, once."""
    missing = unplanned(problem.candidates, routes)
    for candidate in sorted(missing, key=lambda c: (-prices.prizes[c.place.key], c.place.key)):
        found = better_exchange(candidate, routes, problem.travel, prices)
        if found is not None:
            return [found if route.crew == found.crew else route for route in routes]
    return None


def unplanned(candidates: Sequence[Candidate], routes: Sequence[Route]) -> list[Candidate]:
    """Give the candidates that no route visits, in the order given."""
    planned = {visit.key for route in routes for visit in route.visits}
    return [candidate for candidate in candidates if candidate.place.key not in planned]


def open_routes(routes: Sequence[Route], crews: Sequence[Crew]) -> list[Route]:
    """Give the routes with stops, then an idle one for each crew whose members all are free."""
    idle = (Route(crew) for crew in crews if not any(crew.overlaps(route.crew) for route in routes))
    return [*routes, *idle]


def why_left_out(
    candidate: Candidate,
    routes: Sequence[Route],
    crews: Sequence[Crew],
    *,
    problem: PlanProblem,
    prices: Prices,
) -> LeftOut:
    """Tell why a site within reach is not in the plan, and the cheapest way to add it.

    Parameters
    ----------
    candidate : Candidate
        A site that could be visited if it were the only one.
    routes : sequence of Route
        The plan, days with stops only.
    crews : sequence of Crew
        Every crew that could be formed this week.
    problem : PlanProblem
        The week, for its travel times and the price of driving.
    prices : Prices
        To weigh the site against the drive to it.

    Returns
    -------
    LeftOut
        ``not_worth_drive`` where it buys too little, else ``no_room``.
    """
    addition = cheapest_addition(candidate, open_routes(routes, crews), problem.travel)
    if addition is None:
        return _instead_of_others(candidate, routes, crews, problem.travel)
    cost = prices.per_min * addition.extra_driving_min
    if prices.prizes[candidate.place.key] <= cost:
        reason = LeftOutReason.NOT_WORTH_DRIVE
        detail = _too_dear_words(addition, candidate, problem.settings.drive_price_days_per_h)
    else:
        reason = LeftOutReason.NO_ROOM
        detail = (
            f"{_cost_words(addition)}: {excess_words(addition.timing, addition.route.crew)}"
            f"{_exchange_words(candidate, routes, problem.travel)}"
        )
    return LeftOut(
        site_code=candidate.place.key,
        reason=reason,
        detail=detail,
        day=addition.route.crew.day,
        technician_codes=addition.route.crew.technician_codes,
        extra_min=addition.extra_min,
        over_min=addition.timing.over_min,
        must_visit=candidate.must_visit,
    )


def _cost_words(addition: Addition) -> str:
    return (
        f"would add {addition.extra_driving_min} min of driving and lengthen the day by "
        f"{addition.extra_min} min {crew_words(addition.route.crew)}"
    )


def _exchange_words(candidate: Candidate, routes: Sequence[Route], travel: Travel) -> str:
    """Say in place of which stop the site would fit, where one alone makes room."""
    exchange = cheapest_exchange(candidate, routes, travel)
    if exchange is None:
        return ""
    more = exchange.extra_driving_min
    driving = (
        f"{abs(more)} min {'more' if more > 0 else 'less'} driving" if more else "equal driving"
    )
    return (
        f"; would fit in place of {exchange.dropped.place.key} {crew_words(exchange.crew)}, "
        f"worth {exchange.dropped.worth:.2f} record-days against {candidate.worth:.2f}, "
        f"with {driving}"
    )


def _too_dear_words(addition: Addition, candidate: Candidate, price: float) -> str:
    asked = price * addition.extra_driving_min / 60.0
    return (
        f"{_cost_words(addition)}, and buys {candidate.worth:.2f} record-days; at "
        f"{price:g} record-days an hour of driving it would have to buy {asked:.2f}"
    )


def _instead_of_others(
    candidate: Candidate, routes: Sequence[Route], crews: Sequence[Crew], travel: Travel
) -> LeftOut:
    """Name the crew that could go to the site and costs the plan least worth."""
    offers: list[tuple[float, int, Route, list[Route]]] = []
    for crew in crews:
        displaced = [route for route in routes if route.crew.overlaps(crew)]
        lost = sum(visit.candidate.worth for route in displaced for visit in route.visits)
        for window in windows_alone(candidate, crew, travel)[:1]:
            trip = Route(crew, (Visit(candidate, window),))
            offers.append((lost, time_route(trip, travel).length_min, trip, displaced))
    lost, minutes, trip, displaced = min(offers, key=lambda offer: offer[:2])
    stops = sum(len(route.visits) for route in displaced)
    return LeftOut(
        site_code=candidate.place.key,
        reason=LeftOutReason.NO_ROOM,
        detail=(
            f"would take {minutes} min {crew_words(trip.crew)}, in place of the {stops} stops "
            f"planned there, worth {lost:.2f} record-days against {candidate.worth:.2f}"
        ),
        day=trip.crew.day,
        technician_codes=trip.crew.technician_codes,
        extra_min=minutes,
        must_visit=candidate.must_visit,
    )

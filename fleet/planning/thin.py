"""Days that a search without breaks and loads made too full, thinned until they hold."""

from __future__ import annotations

from collections.abc import Iterable

from fleet.domain.plan import Travel
from fleet.planning.price import Prices
from fleet.planning.timeline import Route, Timing, time_route


def thin_out(routes: Iterable[Route], travel: Travel, prices: Prices) -> list[Route]:
    """Take out of each day what keeps it from holding, with as little prize as that allows.

    Parameters
    ----------
    routes : iterable of Route
        Days in driving order; breaks of a rest rule and loads may not have been looked at yet.
    travel : Travel
        Driving times between all places named.
    prices : Prices
        Prizes of the sites.

    Returns
    -------
    list of Route
        In the order given, each holding; a day that loses its last stop is dropped. One
        stop goes at a time: of those that alone mend the day the one with the least prize, else
        the one that brings it nearest to holding for its prize.
    """
    thinned = (_thin(route, travel, prices) for route in routes)
    return [route for route in thinned if route.visits]


def _thin(route: Route, travel: Travel, prices: Prices) -> Route:
    while route.visits and not (timing := time_route(route, travel)).holds:
        offers = [
            (_loss(visit.key, timing, time_route(without(route, place), travel), prices), place)
            for place, visit in enumerate(route.visits)
        ]
        route = without(route, min(offers)[1])
    return route


def _loss(key: str, before: Timing, after: Timing, prices: Prices) -> tuple[bool, float]:
    prize = float(prices.prizes[key])
    if after.holds:
        return (False, prize)
    return (True, prize / max(_excess(before) - _excess(after), 1e-6))


def without(route: Route, place: int) -> Route:
    """Give a route without one of its stops."""
    return Route(route.crew, (*route.visits[:place], *route.visits[place + 1 :]))


def _excess(timing: Timing) -> float:
    """Give by how much a day fails to hold: minutes, litres and spare parts counted alike."""
    load = timing.over_load
    return timing.over_min + load.water_ml / 1000.0 + load.spares

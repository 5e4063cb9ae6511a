"""The cheapest way to add one site to days that are planned already."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fleet.domain.plan import Candidate, Travel, Window
from fleet.planning.crew import Crew
from fleet.planning.timeline import Route, Timing, Visit, time_route


@dataclass(frozen=True, slots=True)
class Addition:
    """A site put into a route: the route with it, its clock, and what it costs.

    ``extra_min`` is driving, waiting and work; ``extra_driving_min`` the driving in it.
    """

    route: Route
    timing: Timing
    extra_min: int
    extra_driving_min: int

    @property
    def fits(self) -> bool:
        """Tell whether the day still holds."""
        return self.timing.holds


def usable_windows(candidate: Candidate, crew: Crew) -> tuple[Window, ...]:
    """Give the windows of a site on the crew's day that are long enough for the work."""
    return tuple(
        window
        for window in candidate.windows.get(crew.day, ())
        if window.closes_min - window.opens_min >= candidate.service_min
    )


def windows_alone(candidate: Candidate, crew: Crew, travel: Travel) -> tuple[Window, ...]:
    """Give the windows in which the crew could visit the site if it were the only one."""
    if not crew.serves(candidate):
        return ()
    return tuple(
        window
        for window in usable_windows(candidate, crew)
        if time_route(Route(crew, (Visit(candidate, window),)), travel).holds
    )


def cheapest_addition(
    candidate: Candidate, routes: Iterable[Route], travel: Travel
) -> Addition | None:
    """Find where one more site costs least: first the fewest minutes over, then the least time.

    Parameters
    ----------
    candidate : Candidate
        The site to add.
    routes : iterable of Route
        Days to add it to, idle ones included.
    travel : Travel
        Driving times between all places named.

    Returns
    -------
    Addition or None
        None where no crew may serve the site or it is closed on all their days. Between equals
        the earlier route, window and place in the day is taken.
    """
    additions = (
        addition
        for route in routes
        if route.crew.serves(candidate)
        for addition in _additions(candidate, route, travel)
    )
    return min(additions, key=_cost, default=None)


def _cost(addition: Addition) -> tuple[int, int, int, int, int]:
    load = addition.timing.over_load
    over = (load.water_ml, load.spares, addition.timing.over_min)
    return (*over, addition.extra_driving_min, addition.extra_min)


def _additions(candidate: Candidate, route: Route, travel: Travel) -> Iterator[Addition]:
    windows = usable_windows(candidate, route.crew)
    if not windows:
        return
    before = time_route(route, travel)
    spent = before.length_min if route.visits else 0
    for window in windows:
        for place in range(len(route.visits) + 1):
            visits = (
                *route.visits[:place],
                Visit(candidate, window),
                *route.visits[place:],
            )
            longer = Route(route.crew, visits)
            timing = time_route(longer, travel)
            yield Addition(
                route=longer,
                timing=timing,
                extra_min=timing.length_min - spent,
                extra_driving_min=timing.driving_min - before.driving_min,
            )

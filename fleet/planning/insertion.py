"""The cheapest way to add one site to days that are planned already."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fleet.domain.plan import Candidate, Travel, Window
from fleet.planning.crew import Crew
from fleet.planning.timeline import Route, Timing, Visit, over_load, time_route


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
    candidate: Candidate, routes: Iterable[Route], travel: Travel, *, fitting: bool = False
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
    fitting : bool
        Whether only a day that still holds is of use.

    Returns
    -------
    Addition or None
        None where no crew may serve the site or it is closed on all their days, or where it
        should fit and does not. Between equals the earlier route, window and place in the day
        is taken.

    Notes
    -----
    The clock is run only where it can matter: driving and work alone tell the least by which a
    day is exceeded, and places are tried in the order of that.
    """
    offers = [
        offer
        for route in routes
        if route.crew.serves(candidate)
        for offer in _offers(candidate, route, travel)
    ]
    best: tuple[tuple[int, ...], int, Addition] | None = None
    for number in sorted(range(len(offers)), key=lambda number: offers[number].least):
        offer = offers[number]
        if best is not None and offer.least > best[0][:4]:
            break
        if fitting and any(offer.least[:3]):
            break
        addition = _addition(candidate, offer, travel)
        if best is None or (_cost(addition), number) < best[:2]:
            best = (_cost(addition), number, addition)
    if best is None or (fitting and not best[2].fits):
        return None
    return best[2]


def _cost(addition: Addition) -> tuple[int, int, int, int, int]:
    load = addition.timing.over_load
    over = (load.water_ml, load.spares, addition.timing.over_min)
    return (*over, addition.extra_driving_min, addition.extra_min)


@dataclass(frozen=True, slots=True)
class _Offer:
    """A place in a day, and the least that putting a site there can cost: load, time, driving."""

    route: Route
    window: Window
    place: int
    least: tuple[int, int, int, int]


def _offers(candidate: Candidate, route: Route, travel: Travel) -> list[_Offer]:
    """Give every window and place of a day, each with the least that it can cost."""
    windows = usable_windows(candidate, route.crew)
    if not windows:
        return []
    crew, key = route.crew, candidate.place.key
    stops = [crew.start_key, *(visit.key for visit in route.visits), crew.end_key]
    drives = route.drives(travel)
    driving = sum(drives)
    work = candidate.service_min + sum(visit.candidate.service_min for visit in route.visits)
    span = crew.ends_min - crew.starts_min
    if crew.rest_rule is None:
        span = min(span, crew.away_min)
    load = over_load(crew, (*(v.candidate.load for v in route.visits), candidate.load))
    extra = [
        travel.drive_min(stops[place], key) + travel.drive_min(key, stops[place + 1]) - drive
        for place, drive in enumerate(drives)
    ]
    return [
        _Offer(
            route,
            window,
            place,
            (
                load.water_ml,
                load.spares,
                max(0, driving + more - crew.max_driving_min, driving + more + work - span),
                more,
            ),
        )
        for window in windows
        for place, more in enumerate(extra)
    ]


def _addition(candidate: Candidate, offer: _Offer, travel: Travel) -> Addition:
    """Run the clock over a day with the site in it, and over the day without."""
    route, place = offer.route, offer.place
    visit = Visit(candidate, offer.window)
    longer = Route(route.crew, (*route.visits[:place], visit, *route.visits[place:]))
    timing = time_route(longer, travel)
    spent = time_route(route, travel).length_min if route.visits else 0
    return Addition(
        route=longer,
        timing=timing,
        extra_min=timing.length_min - spent,
        extra_driving_min=offer.least[3],
    )

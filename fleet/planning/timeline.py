"""What one crew does in a day, and whether it holds: times, driving and load against limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.domain.plan import Candidate, DayPlan, Load, Pause, PlannedStop, Travel, Window
from fleet.planning.clock import DayClock, Work, nearest_to_middle, run_clock, run_with
from fleet.planning.crew import Crew
from fleet.planning.pause import Break


@dataclass(frozen=True, slots=True)
class Visit:
    """One work at one site, in one of its access windows."""

    candidate: Candidate
    window: Window

    @property
    def key(self) -> str:
        """Give the key of the site."""
        return self.candidate.place.key

    @property
    def last_start_min(self) -> int:
        """Give the last minute at which the work may begin."""
        return self.window.closes_min - self.candidate.service_min


@dataclass(frozen=True, slots=True)
class Route:
    """What one crew does on its day, in order; it may be nothing."""

    crew: Crew
    visits: tuple[Visit, ...] = ()

    def drives(self, travel: Travel) -> list[int]:
        """Give the driving times in minutes: to each site, then to where the day ends."""
        keys = [self.crew.start_key, *(visit.key for visit in self.visits), self.crew.end_key]
        return [travel.drive_min(keys[i], keys[i + 1]) for i in range(len(keys) - 1)]


@dataclass(frozen=True, slots=True)
class Timing:
    """The clock of a route, kept or not: by how much each limit is exceeded.

    ``late_min`` is the most that any work begins too late for its window; ``over_load`` what
    does not fit into the vehicle.
    """

    leave_min: int
    starts_min: tuple[int, ...]
    back_min: int
    driving_min: int
    late_min: int
    over_shift_min: int
    over_driving_min: int
    over_load: Load

    @property
    def length_min(self) -> int:
        """Give the time from leaving to coming back."""
        return self.back_min - self.leave_min

    @property
    def over_min(self) -> int:
        """Give the greatest excess over any limit of time in minutes; 0 if the hours hold."""
        return max(self.late_min, self.over_shift_min, self.over_driving_min)

    @property
    def holds(self) -> bool:
        """Tell whether the day keeps all its limits."""
        return self.over_min == 0 and not self.over_load


def time_route(route: Route, travel: Travel) -> Timing:
    """Run the clock over a route: back as early as can be, and left as late as that allows.

    Parameters
    ----------
    route : Route
        The crew and its works in order, each in its window.
    travel : Travel
        Driving times between all places named.

    Returns
    -------
    Timing
        With the least time on the road for this order, breaks of the rest rule included; limits
        may be exceeded.
    """
    crew, drives = route.crew, route.drives(travel)
    clock = run_clock(crew, _works(route), drives)
    driving = sum(drives)
    over_shift = max(0, clock.back_min - crew.ends_min)
    if not clock.breaks:  # else the rest is one of them
        over_shift = max(over_shift, clock.back_min - clock.leave_min - crew.away_min)
    return Timing(
        leave_min=clock.leave_min,
        starts_min=clock.starts_min,
        back_min=clock.back_min,
        driving_min=driving,
        late_min=clock.late_min,
        over_shift_min=over_shift,
        over_driving_min=max(0, driving - crew.max_driving_min),
        over_load=over_load(crew, (visit.candidate.load for visit in route.visits)),
    )


def plan_day(route: Route, travel: Travel) -> DayPlan:
    """Write a route that holds as a day plan, its rest placed as near to mid-shift as it fits."""
    crew, drives = route.crew, route.drives(travel)
    clock = _rested_clock(route, drives)
    keys = [crew.start_key, *(visit.key for visit in route.visits), crew.end_key]
    arrivals = _arrivals(clock, drives)
    stops = [
        PlannedStop(
            site_code=visit.key,
            drive_min=drives[index],
            drive_km=travel.drive_km(keys[index], visit.key),
            arrive_min=arrivals[index],
            start_min=clock.starts_min[index],
            depart_min=clock.departs_min[index],
        )
        for index, visit in enumerate(route.visits)
    ]
    rest, pauses = _rest_and_pauses(clock, crew)
    return DayPlan(
        technician_codes=crew.technician_codes,
        day=crew.day,
        leave_min=clock.leave_min,
        stops=tuple(stops),
        back_drive_min=drives[-1],
        back_drive_km=travel.drive_km(keys[-2], keys[-1]),
        back_min=clock.back_min,
        rest_min=rest.minutes if rest else crew.break_min,
        rest_at_min=rest.starts_min if rest else None,
        pauses=pauses,
    )


def _works(route: Route) -> list[Work]:
    return [
        (visit.window.opens_min, visit.window.closes_min, visit.candidate.service_min)
        for visit in route.visits
    ]


def over_load(crew: Crew, loads: Iterable[Load]) -> Load:
    """Give what does not fit into the crew's vehicle."""
    return Load() if crew.capacity is None else sum(loads, Load()).beyond(crew.capacity)


def _rested_clock(route: Route, drives: Sequence[int]) -> DayClock:
    """Give the day with its rest: one of the breaks that the rule asks for, else where it fits.

    Of the works after which the rest fits, the one nearest to mid-shift is taken; where it fits
    nowhere it is taken before leaving or after coming back.
    """
    crew, works = route.crew, _works(route)
    clock = run_clock(crew, works, drives)
    if clock.breaks or not crew.break_min:
        return clock
    offers: list[tuple[int, int, DayClock]] = []
    for index in range(len(works)):
        rested = run_with(crew, works, drives, [Break(index + 1, 0, crew.break_min)])
        off_middle = 2 * rested.departs_min[index] + crew.break_min
        if rested.late_min <= 0 and rested.back_min <= crew.ends_min:
            offers.append((abs(off_middle - crew.starts_min - crew.ends_min), index, rested))
    return min(offers, key=lambda offer: offer[:2])[2] if offers else clock


def _arrivals(clock: DayClock, drives: Sequence[int]) -> list[int]:
    """Give when each stop is reached; a break on arrival comes after it."""
    ready = [clock.leave_min, *clock.departs_min]
    return [
        ready[leg]
        + drives[leg]
        + sum(
            one.minutes
            for one in clock.breaks
            if one.leg == leg
            and not one.in_work
            and (one.after_min == 0 or one.after_min < drives[leg])
        )
        for leg in range(len(clock.starts_min))
    ]


def _rest_and_pauses(clock: DayClock, crew: Crew) -> tuple[Pause | None, tuple[Pause, ...]]:
    """Tell the rest of the day, where one is due and lies within it, from the other breaks."""
    starts = zip(clock.break_starts(), clock.breaks, strict=True)
    pauses = [Pause(start, one.minutes) for start, one in starts]
    rest = pauses.pop(nearest_to_middle(clock, crew)) if pauses and crew.break_min else None
    return rest, tuple(pauses)

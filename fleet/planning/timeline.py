"""The clock of one crew's day: when it leaves, arrives, works, rests and comes back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.domain.plan import Candidate, DayPlan, PlannedStop, Travel, Window
from fleet.planning.crew import Crew


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
    """The clock of a route, kept or not: by how many minutes each limit is exceeded.

    ``late_min`` is the most that any work begins too late for its window.
    """

    leave_min: int
    starts_min: tuple[int, ...]
    back_min: int
    driving_min: int
    late_min: int
    over_shift_min: int
    over_driving_min: int

    @property
    def length_min(self) -> int:
        """Give the time from leaving to coming back."""
        return self.back_min - self.leave_min

    @property
    def over_min(self) -> int:
        """Give the greatest excess over any limit in minutes; 0 if the day holds."""
        return max(self.late_min, self.over_shift_min, self.over_driving_min)


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
        With the least time on the road for this order; limits may be exceeded.
    """
    crew, drives = route.crew, route.drives(travel)
    leave, starts, back, late = _run_clock(route, drives)
    driving = sum(drives)
    return Timing(
        leave_min=leave,
        starts_min=tuple(starts),
        back_min=back,
        driving_min=driving,
        late_min=late,
        over_shift_min=max(0, back - crew.ends_min, back - leave - crew.usable_min),
        over_driving_min=max(0, driving - crew.max_driving_min),
    )


def plan_day(route: Route, travel: Travel) -> DayPlan:
    """Write a route that holds as a day plan, its rest placed as near to mid-shift as it fits."""
    drives = route.drives(travel)
    rest_after = _place_rest(route, drives)
    leave, starts, back, _ = _run_clock(route, _with_rest(drives, route.crew, rest_after))
    departs = [
        start + visit.candidate.service_min
        for start, visit in zip(starts, route.visits, strict=True)
    ]
    keys = [route.crew.start_key, *(visit.key for visit in route.visits), route.crew.end_key]
    ready = [leave, *departs]
    if rest_after is not None:
        ready[rest_after + 1] += route.crew.break_min
    stops = [
        PlannedStop(
            site_code=visit.key,
            drive_min=drives[index],
            drive_km=travel.drive_km(keys[index], visit.key),
            arrive_min=ready[index] + drives[index],
            start_min=starts[index],
            depart_min=departs[index],
        )
        for index, visit in enumerate(route.visits)
    ]
    return DayPlan(
        technician_codes=route.crew.technician_codes,
        day=route.crew.day,
        leave_min=leave,
        stops=tuple(stops),
        back_drive_min=drives[-1],
        back_drive_km=travel.drive_km(keys[-2], keys[-1]),
        back_min=back,
        rest_min=route.crew.break_min,
        rest_at_min=None if rest_after is None else departs[rest_after],
    )


def _run_clock(route: Route, drives: Sequence[int]) -> tuple[int, list[int], int, int]:
    """Give the minute of leaving, the starts of work, the return, and the greatest lateness."""
    _, back, _ = _run_from(route.crew.starts_min, route.visits, drives)
    leave = max(route.crew.starts_min, _latest_leave(back, route.visits, drives))
    return (leave, *_run_from(leave, route.visits, drives))


def _run_from(
    leave_min: int, visits: Sequence[Visit], drives: Sequence[int]
) -> tuple[list[int], int, int]:
    now, late = leave_min, 0
    starts: list[int] = []
    for visit, drive in zip(visits, drives, strict=False):
        start = max(now + drive, visit.window.opens_min)
        late = max(late, start - visit.last_start_min)
        starts.append(start)
        now = start + visit.candidate.service_min
    return starts, now + drives[-1], late


def _latest_leave(back_min: int, visits: Sequence[Visit], drives: Sequence[int]) -> int:
    """Give the last minute of leaving that still brings the crew back at this minute."""
    latest = back_min
    for visit, drive in zip(reversed(visits), reversed(drives), strict=False):
        latest = min(latest - drive - visit.candidate.service_min, visit.last_start_min)
    return latest - drives[0]


def _with_rest(drives: Sequence[int], crew: Crew, rest_after: int | None) -> list[int]:
    """Add the rest to the drive that follows it, as far as the clock is concerned."""
    added = None if rest_after is None else rest_after + 1
    return [drive + (crew.break_min if index == added else 0) for index, drive in enumerate(drives)]


def _place_rest(route: Route, drives: Sequence[int]) -> int | None:
    """Find the work after which the rest comes nearest to mid-shift and the day still holds."""
    crew = route.crew
    offers: list[tuple[int, int]] = []
    for index in range(len(route.visits) if crew.break_min else 0):
        _, starts, back, late = _run_clock(route, _with_rest(drives, crew, index))
        rest_at = starts[index] + route.visits[index].candidate.service_min
        off_middle = abs(2 * rest_at + crew.break_min - crew.starts_min - crew.ends_min)
        if late == 0 and back <= crew.ends_min:
            offers.append((off_middle, index))
    return min(offers)[1] if offers else None

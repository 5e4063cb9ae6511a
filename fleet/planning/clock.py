"""The clock of one crew's day: when it leaves, works, breaks off and comes back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fleet.planning.crew import Crew
from fleet.planning.pause import Break, lay_breaks

Work = tuple[int, int, int]
"""Opening and closing of the window in which a work lies, and its minutes."""


@dataclass(frozen=True, slots=True)
class DayClock:
    """A day by the clock: ``late_min`` is the most that any work begins too late."""

    leave_min: int
    starts_min: tuple[int, ...]
    departs_min: tuple[int, ...]
    back_min: int
    late_min: int
    breaks: tuple[Break, ...] = ()

    def break_starts(self) -> list[int]:
        """Give the minute at which each break begins."""
        starts: list[int] = []
        spent: dict[tuple[int, bool], int] = {}
        for one in self.breaks:
            place = (one.leg, one.in_work)
            ready = self.departs_min[one.leg - 1] if one.leg else self.leave_min
            begin = self.starts_min[one.leg] if one.in_work else ready
            starts.append(begin + one.after_min + spent.get(place, 0))
            spent[place] = spent.get(place, 0) + one.minutes
        return starts


def run_clock(crew: Crew, works: Sequence[Work], drives: Sequence[int]) -> DayClock:
    """Give the day that is back earliest, left as late as that allows, breaks included.

    Parameters
    ----------
    crew : Crew
        Earliest minute of leaving, and the rest rule if there is one.
    works : sequence of (int, int, int)
        In driving order.
    drives : sequence of int
        Minutes to each work, then back.

    Returns
    -------
    DayClock
        Without a rest rule without breaks. With one, of breaks before driving on and breaks on
        the way those that bring the crew back earlier; the one nearest to mid-shift is as long
        as the rest of the day.
    """
    if crew.rest_rule is None:
        return run_with(crew, works, drives, ())
    offers = [_ruled(crew, works, drives, early=early) for early in (True, False)]
    return min(offers, key=lambda clock: (clock.late_min, clock.back_min, len(clock.breaks)))


def run_with(
    crew: Crew, works: Sequence[Work], drives: Sequence[int], breaks: Sequence[Break]
) -> DayClock:
    """Run the clock with given breaks, left as late as coming back earliest allows."""
    works, drives = _stretched(works, drives, breaks)
    first = _run(crew.starts_min, works, drives)
    leave = max(crew.starts_min, _latest_leave(first.back_min, works, drives))
    return replace(_run(leave, works, drives), breaks=tuple(breaks))


def _ruled(crew: Crew, works: Sequence[Work], drives: Sequence[int], *, early: bool) -> DayClock:
    """Lay the breaks, see when it is enough to leave with them, and lay them anew from there."""
    without = run_with(crew, works, drives, ()).leave_min
    leave = run_with(crew, works, drives, _laid(crew, without, works, drives, early)).leave_min
    breaks = _laid(crew, leave, works, drives, early)
    return replace(_run(leave, *_stretched(works, drives, breaks)), breaks=tuple(breaks))


def _laid(
    crew: Crew, leave_min: int, works: Sequence[Work], drives: Sequence[int], early: bool
) -> list[Break]:
    """Lay the breaks of a day that leaves at a minute, one of them as long as the rest."""
    rule = crew.rest_rule
    if rule is None:
        return []
    plain = [(opens, service) for opens, _, service in works]
    breaks = lay_breaks(rule, leave_min, drives, works=plain, early=early, longer={})
    if not breaks or crew.break_min <= rule.break_min:
        return breaks
    clock = replace(_run(leave_min, *_stretched(works, drives, breaks)), breaks=tuple(breaks))
    rest = nearest_to_middle(clock, crew)
    longer = {rest: crew.break_min}
    return lay_breaks(rule, leave_min, drives, works=plain, early=early, longer=longer)


def nearest_to_middle(clock: DayClock, crew: Crew) -> int:
    """Give the number of the longest break; of several, of the one nearest to mid-shift."""

    def distance(number: int) -> tuple[int, int, int]:
        minutes = clock.breaks[number].minutes
        middle = 2 * starts[number] + minutes
        return (-minutes, abs(middle - crew.starts_min - crew.ends_min), number)

    starts = clock.break_starts()
    return min(range(len(starts)), key=distance)


def _stretched(
    works: Sequence[Work], drives: Sequence[int], breaks: Sequence[Break]
) -> tuple[Sequence[Work], Sequence[int]]:
    """Add each break to the drive or the work in which it lies."""
    if not breaks:
        return works, drives
    longer_works, longer_drives = list(works), list(drives)
    for one in breaks:
        if one.in_work:
            opens, closes, service = longer_works[one.leg]
            longer_works[one.leg] = (opens, closes, service + one.minutes)
        else:
            longer_drives[one.leg] += one.minutes
    return longer_works, longer_drives


def _run(leave_min: int, works: Sequence[Work], drives: Sequence[int]) -> DayClock:
    now, late = leave_min, 0
    starts: list[int] = []
    departs: list[int] = []
    for (opens, closes, service), drive in zip(works, drives, strict=False):
        start = max(now + drive, opens)
        late = max(late, start + service - closes)
        now = start + service
        starts.append(start)
        departs.append(now)
    return DayClock(leave_min, tuple(starts), tuple(departs), now + drives[-1], late)


def _latest_leave(back_min: int, works: Sequence[Work], drives: Sequence[int]) -> int:
    """Give the last minute of leaving that still brings the crew back at this minute."""
    latest = back_min
    for (_, closes, service), drive in zip(reversed(works), reversed(drives), strict=False):
        latest = min(latest - drive - service, closes - service)
    return latest - drives[0]

"""A day's clock followed by other code than what makes it: drives, waits, works, rests."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

from fleet.domain.plan import Candidate, DayPlan, PlannedStop, RestRule


class What(Enum):
    """What goes on for a while."""

    DRIVE = auto()
    WAIT = auto()
    WORK = auto()
    REST = auto()


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some minutes of one thing, until ``ends_min``."""

    what: What
    minutes: int
    ends_min: int


@dataclass(slots=True)
class Followed:
    """A day taken apart: its stretches in order, and what does not fit together."""

    stretches: list[Stretch] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    rest_in_work: dict[str, int] = field(default_factory=dict)

    def add(self, what: What, minutes: int, ends_min: int) -> None:
        """Note a stretch; nothing is noted for no time."""
        if minutes > 0:
            self.stretches.append(Stretch(what, minutes, ends_min))


def follow_day(day: DayPlan) -> Followed:
    """Follow a day from leaving to coming back by the times that it states.

    Returns
    -------
    Followed
        Rests may lie where a work ends, on the way, on arrival before work begins, or within a
        work; whether they may lie within it is not judged here.
    """
    rests = [(pause.starts_min, pause.minutes) for pause in day.pauses]
    if day.rest_at_min is not None:
        rests.append((day.rest_at_min, day.rest_min))
    rests.sort()
    told = Followed()
    ready = day.leave_min
    for stop in day.stops:
        expected = _follow_drive(ready, stop.drive_min, rests, told)
        if stop.arrive_min != expected:
            told.faults.append(f"arrives at {stop.site_code} at {stop.arrive_min}, not {expected}")
        _follow_gate(stop, rests, told)
        _follow_work(stop, rests, told)
        ready = stop.depart_min
    expected = _follow_drive(ready, day.back_drive_min, rests, told)
    if day.back_min != expected:
        told.faults.append(f"back at {day.back_min}, not {expected}")
    told.faults += (f"the rest at {start} does not fit into the day" for start, _ in rests)
    return told


def _follow_drive(ready: int, drive_min: int, rests: list[tuple[int, int]], told: Followed) -> int:
    """Use up the rests before and on a drive; give when it ends."""
    now, left = ready, drive_min
    while rests and (rests[0][0] == ready or now <= rests[0][0] < now + left):
        start, minutes = rests.pop(0)
        told.add(What.DRIVE, start - now, start)
        left -= start - now
        now = start + minutes
        told.add(What.REST, minutes, now)
    told.add(What.DRIVE, left, now + left)
    return now + left


def _follow_gate(stop: PlannedStop, rests: list[tuple[int, int]], told: Followed) -> None:
    now = stop.arrive_min
    while rests and now <= rests[0][0] < stop.start_min:
        start, minutes = rests.pop(0)
        told.add(What.WAIT, start - now, start)
        now = start + minutes
        told.add(What.REST, minutes, now)
    if stop.start_min < now:
        before = "arriving" if now == stop.arrive_min else "the rest there is over"
        told.faults.append(f"works at {stop.site_code} from {stop.start_min}, before {before}")
    told.add(What.WAIT, stop.start_min - now, stop.start_min)


def _follow_work(stop: PlannedStop, rests: list[tuple[int, int]], told: Followed) -> None:
    now = stop.start_min
    while rests and now <= rests[0][0] and sum(rests[0]) < stop.depart_min:
        start, minutes = rests.pop(0)
        told.add(What.WORK, start - now, start)
        now = start + minutes
        told.add(What.REST, minutes, now)
        within = told.rest_in_work.get(stop.site_code, 0)
        told.rest_in_work[stop.site_code] = within + minutes
    told.add(What.WORK, stop.depart_min - now, stop.depart_min)


def rule_faults(
    told: Followed, rule: RestRule, candidates: Mapping[str, Candidate]
) -> Iterator[str]:
    """Tell where a day goes on for longer than a rest rule allows without a break.

    Parameters
    ----------
    told : Followed
        The day.
    rule : RestRule
        Of one technician in the crew.
    candidates : mapping
        Sites by code.

    Yields
    ------
    str
        A sentence for each stretch without a break that is too long, and for each break within
        a work that could be done without one.
    """
    for first, last in _between_breaks(told.stretches, rule):
        spell = told.stretches[first:last]
        driven = sum(s.minutes for s in spell if s.what is What.DRIVE)
        on_duty = sum(s.minutes for s in spell)
        until = spell[-1].ends_min
        if rule.after_driving_min is not None and driven > rule.after_driving_min:
            yield _spell_words(driven, "driving", until, rule.after_driving_min)
        if rule.after_duty_min is not None and on_duty > rule.after_duty_min:
            yield _spell_words(on_duty, "duty", until, rule.after_duty_min)
    for code in told.rest_in_work:
        candidate = candidates.get(code)
        limit = rule.after_duty_min
        if candidate is not None and (limit is None or candidate.service_min <= limit):
            yield f"site {code}: a break within a work that can be done without one"


def _between_breaks(stretches: Sequence[Stretch], rule: RestRule) -> Iterator[tuple[int, int]]:
    """Give the spells between breaks that are long enough to count."""
    first = 0
    for place, stretch in enumerate(stretches):
        if stretch.what is What.REST and stretch.minutes >= rule.break_min:
            if place > first:
                yield first, place
            first = place + 1
    if first < len(stretches):
        yield first, len(stretches)


def _spell_words(minutes: int, what: str, until: int, limit: int) -> str:
    return f"{minutes} min of {what} without a break until {until}, the limit is {limit} min"

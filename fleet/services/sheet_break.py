"""The rests and breaks of a day, each with where it is taken."""

from __future__ import annotations

from fleet.domain.access import clock_text
from fleet.domain.sheet import SheetBreak
from fleet.store.queries.round import KeptDay


def sheet_breaks(day: KeptDay) -> tuple[SheetBreak, ...]:
    """Give every rest and break that lies within a day, in order of time."""
    taken = [(pause.starts_min, pause.minutes) for pause in day.pauses]
    if day.rest_at_min is not None:
        taken.append((day.rest_at_min, day.rest_min))
    return tuple(_break(day, start, minutes) for start, minutes in sorted(taken))


def _break(day: KeptDay, start_min: int, minutes: int) -> SheetBreak:
    for place, stop in enumerate(day.stops):
        if start_min < stop.depart_min:
            in_work = start_min >= stop.start_min
            where = _where(start_min, _ready(day, place), stop.arrive_min)
            return SheetBreak(
                at=clock_text(start_min),
                minutes=minutes,
                where=f"{'during the work at' if in_work else where} {stop.site_code}",
                before=place + 1 if in_work else place,
            )
    end = len(day.stops)
    where = "before the way back" if start_min == _ready(day, end) else "on the way back"
    return SheetBreak(clock_text(start_min), minutes, where, end)


def _where(start_min: int, ready_min: int, arrive_min: int) -> str:
    if start_min == ready_min:
        return "before driving to"
    return "on arrival at" if start_min >= arrive_min else "on the way to"


def _ready(day: KeptDay, place: int) -> int:
    return day.stops[place - 1].depart_min if place else day.leave_min

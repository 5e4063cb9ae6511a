"""What stands already of a week that is planned anew: done sites, accepted stops, who is where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from fleet.domain.access import clock_text
from fleet.domain.plan import Candidate, Place, TechnicianDay
from fleet.services.boundary import Boundary
from fleet.services.network_week import NetworkWeek
from fleet.store.queries.place import KeptHold
from fleet.store.queries.round import KeptRound

Seat = tuple[str, date]
"""A technician on a day."""


@dataclass(frozen=True, slots=True)
class FixedStop:
    """A stop that keeps its day and its crew."""

    day: date
    crew: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayStart:
    """From where and when a technician goes on in a day that has begun.

    ``driven_min`` is the driving so far; ``rested`` tells that the rest of the day was taken.
    """

    place: Place
    starts_min: int
    driven_min: int = 0
    rested: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """What binds planning a week again.

    ``done`` sites are no candidates any more; ``fixed`` stops keep day and crew; ``away`` adds to
    the absences on record; ``starts`` are of the day that has begun, on which nobody else goes
    out; ``lifted`` holds are passed over; ``boundary`` tells what neighbours have to do with it.
    """

    done: frozenset[str] = frozenset()
    fixed: Mapping[str, FixedStop] = field(default_factory=dict)
    away: frozenset[Seat] = frozenset()
    starts: Mapping[Seat, DayStart] = field(default_factory=dict)
    lifted: frozenset[KeptHold] = frozenset()
    planned: frozenset[str] = frozenset()
    """Stops of the version that was planned before: always looked at again."""
    boundary: Boundary = field(default_factory=Boundary)
    network: NetworkWeek | None = None
    """What was read of the network already; with None it is read."""

    def seats(self, days: Iterable[TechnicianDay]) -> list[TechnicianDay]:
        """Give the technician-days that are left, those of a begun day from where people are."""
        begun = {day for _, day in self.starts}
        left = []
        for member in days:
            seat = (member.technician_code, member.day)
            if seat in self.starts:
                left.append(_going_on(member, self.starts[seat]))
            elif seat not in self.away and member.day not in begun:
                left.append(member)
        return left

    def bind(self, candidate: Candidate) -> Candidate:
        """Give a candidate that keeps day and crew where its stop is accepted."""
        stop = self.fixed.get(candidate.place.key)
        if stop is None:
            return candidate
        windows = {day: spans for day, spans in candidate.windows.items() if day == stop.day}
        return replace(candidate, windows=windows, must_visit=True, technician_code=stop.crew[0])

    def words(self) -> list[str]:
        """Say what stands, for the plan."""
        told = [f"{code} taken as away on {day}." for code, day in sorted(self.away)]
        told += [
            f"{code} goes on from {start.place.key} on {day} at {clock_text(start.starts_min)}, "
            f"{start.driven_min} min driven so far; breaks count from there."
            for (code, day), start in sorted(self.starts.items())
        ]
        if self.done:
            told.append(f"Done already: {', '.join(sorted(self.done))}.")
        told += [
            f"{site} is accepted for {stop.day} with {' '.join(stop.crew)}."
            for site, stop in sorted(self.fixed.items())
        ]
        return told


NOTHING_STANDS = Standing()


def accepted_stops(kept: KeptRound, first_day: date) -> dict[str, FixedStop]:
    """Give the accepted stops of a version from a day on, by site; those with a result are over."""
    return {
        stop.site_code: FixedStop(day.day, day.crew)
        for day in kept.days
        if day.day >= first_day
        for stop in day.stops
        if stop.acceptance_id is not None and stop.result is None
    }


def _going_on(member: TechnicianDay, start: DayStart) -> TechnicianDay:
    begins = max(member.starts_min, start.starts_min)
    left = max(0, member.ends_min - begins)
    return replace(
        member,
        start=start.place,
        starts_min=min(begins, member.ends_min),
        max_driving_min=max(0, member.max_driving_min - start.driven_min),
        break_min=0 if start.rested else min(member.break_min, left),
        meets=None,
    )

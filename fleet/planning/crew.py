"""Who can go out together on one day, and whom a site admits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from math import ceil

from fleet.domain.plan import Candidate, Load, Place, RestRule, TechnicianDay


@dataclass(frozen=True, slots=True)
class Crew:
    """One vehicle on one day with all who sit in it: the limits that all of them keep."""

    members: tuple[TechnicianDay, ...]
    starts_min: int
    ends_min: int
    break_min: int
    max_driving_min: int
    start: Place
    end: Place
    rest_rule: RestRule | None = None
    capacity: Load | None = None

    @property
    def day(self) -> date:
        """Give the day of the crew."""
        return self.members[0].day

    @property
    def technician_codes(self) -> tuple[str, ...]:
        """Give the codes of all members, in order."""
        return tuple(member.technician_code for member in self.members)

    @property
    def start_key(self) -> str:
        """Give the place that the day starts from."""
        return self.start.key

    @property
    def end_key(self) -> str:
        """Give the place that the day ends at."""
        return self.end.key

    @property
    def skills(self) -> frozenset[str]:
        """Give the skills that somebody in the crew holds."""
        return frozenset[str]().union(*(member.skills for member in self.members))

    @property
    def away_min(self) -> int:
        """Give the longest time between leaving and coming back, the day's rest taken off."""
        return self.ends_min - self.starts_min - self.break_min

    @property
    def usable_min(self) -> int:
        """Give the time that a search without breaks may plan: breaks of a full day taken off."""
        return self.away_min - breaks_min(self)

    def overlaps(self, other: Crew) -> bool:
        """Tell whether a technician would be in both crews on one day."""
        return self.day == other.day and not set(self.technician_codes).isdisjoint(
            other.technician_codes
        )

    def serves(self, candidate: Candidate) -> bool:
        """Tell whether persons, skill and fixed technician of a site are met."""
        return (
            len(self.members) >= candidate.persons
            and (candidate.skill is None or candidate.skill in self.skills)
            and candidate.technician_code in (None, *self.technician_codes)
        )


def solo_crews(days: Iterable[TechnicianDay]) -> tuple[Crew, ...]:
    """Give a crew of one for each technician-day, in order of day and technician."""
    return tuple(_crew((member,)) for member in sorted(days, key=_order))


def joint_crews(days: Iterable[TechnicianDay], size: int) -> tuple[Crew, ...]:
    """Give every crew of so many technicians who can share a vehicle for a day.

    They work on one day, start and end at the same places or meet at one, and their shifts
    overlap; the crew keeps the narrowest of their limits and takes the roomiest vehicle.
    """
    ordered = sorted(days, key=_order)
    return tuple(_crew(members) for members in combinations(ordered, size) if _can_share(members))


def possible_crews(days: Sequence[TechnicianDay], candidates: Iterable[Candidate]) -> list[Crew]:
    """Give the crews of one, then those of each greater size that some site asks for."""
    sizes = sorted({candidate.persons for candidate in candidates} - {1})
    joint: Iterator[Crew] = (crew for size in sizes for crew in joint_crews(days, size))
    return [*solo_crews(days), *joint]


def _order(member: TechnicianDay) -> tuple[date, str]:
    return (member.day, member.technician_code)


def _can_share(members: Sequence[TechnicianDay]) -> bool:
    one_day = len({member.day for member in members}) == 1
    return one_day and _shared_ends(members) is not None and _crew(tuple(members)).away_min > 0


def _shared_ends(members: Sequence[TechnicianDay]) -> tuple[Place, Place] | None:
    """Give where a crew starts and ends: the places of all, else where all meet, else None."""
    first = members[0]
    if len({(member.start.key, member.end.key) for member in members}) == 1:
        return first.start, first.end
    meeting = {member.meets.key if member.meets else None for member in members}
    return (first.meets, first.meets) if first.meets and len(meeting) == 1 else None


def _crew(members: tuple[TechnicianDay, ...]) -> Crew:
    start, end = _shared_ends(members) or (members[0].start, members[0].end)
    rule = _strictest(members)
    rest = max(member.break_min for member in members)
    return Crew(
        members=members,
        starts_min=max(member.starts_min for member in members),
        ends_min=min(member.ends_min for member in members),
        break_min=max(rest, rule.break_min) if rule and rest else rest,
        max_driving_min=min(member.max_driving_min for member in members),
        start=start,
        end=end,
        rest_rule=rule,
        capacity=_roomiest(members),
    )


def _strictest(members: Iterable[TechnicianDay]) -> RestRule | None:
    rules = [member.rest_rule for member in members if member.rest_rule]
    if not rules:
        return None
    return RestRule(
        break_min=max(rule.break_min for rule in rules),
        after_driving_min=_least(rule.after_driving_min for rule in rules),
        after_duty_min=_least(rule.after_duty_min for rule in rules),
    )


def _least(limits: Iterable[int | None]) -> int | None:
    return min((limit for limit in limits if limit is not None), default=None)


def _roomiest(members: Iterable[TechnicianDay]) -> Load | None:
    """Give the vehicle that the crew takes: one without a known limit, else the roomiest."""
    vehicles = [member.capacity for member in members]
    known = [capacity for capacity in vehicles if capacity is not None]
    if len(known) < len(vehicles):
        return None
    return max(known, key=lambda capacity: (capacity.water_ml, capacity.spares))


def breaks_min(crew: Crew) -> int:
    """Give the minutes of breaks, beside the rest, that a full day of a crew would need."""
    rule = crew.rest_rule
    if rule is None:
        return 0
    shift = crew.ends_min - crew.starts_min
    needed = 0
    if rule.after_duty_min is not None:
        needed = ceil((shift - rule.after_duty_min) / (rule.after_duty_min + rule.break_min))
    if rule.after_driving_min is not None:
        needed = max(needed, ceil(crew.max_driving_min / rule.after_driving_min) - 1)
    return rule.break_min * max(0, needed - (1 if crew.break_min else 0))

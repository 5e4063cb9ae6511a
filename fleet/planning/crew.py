"""Who can go out together on one day, and whom a site admits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from fleet.domain.plan import Candidate, TechnicianDay


@dataclass(frozen=True, slots=True)
class Crew:
    """One vehicle on one day with all who sit in it: the limits that all of them keep."""

    members: tuple[TechnicianDay, ...]
    starts_min: int
    ends_min: int
    break_min: int
    max_driving_min: int

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
        return self.members[0].start.key

    @property
    def end_key(self) -> str:
        """Give the place that the day ends at."""
        return self.members[0].end.key

    @property
    def skills(self) -> frozenset[str]:
        """Give the skills that somebody in the crew holds."""
        return frozenset[str]().union(*(member.skills for member in self.members))

    @property
    def usable_min(self) -> int:
        """Give the time between leaving and coming back that can be planned, rest taken off."""
        return self.ends_min - self.starts_min - self.break_min

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

    They work on one day, start and end at the same places, and their shifts overlap; the
    crew keeps the narrowest of their limits.
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
    first = members[0]
    same_place = all(
        (member.day, member.start.key, member.end.key)
        == (first.day, first.start.key, first.end.key)
        for member in members
    )
    return same_place and _crew(tuple(members)).usable_min > 0


def _crew(members: tuple[TechnicianDay, ...]) -> Crew:
    return Crew(
        members=members,
        starts_min=max(member.starts_min for member in members),
        ends_min=min(member.ends_min for member in members),
        break_min=max(member.break_min for member in members),
        max_driving_min=min(member.max_driving_min for member in members),
    )

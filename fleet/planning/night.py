"""Nights away from home: which are allowed, and the days that begin or end at a base."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from fleet.domain.plan import Night, NightBase, Place, PlanProblem, TechnicianDay

NEXT_DAY = timedelta(days=1)


def open_evenings(problem: PlanProblem) -> dict[tuple[str, date], tuple[NightBase, ...]]:
    """Give the bases at which each technician may spend each night.

    Parameters
    ----------
    problem : PlanProblem
        Technician-days and bases.

    Returns
    -------
    dict
        Bases by technician and evening: the technician works that day and the next, may stay
        out after that day, and the base takes guests that night. Empty lists are left out.
    """
    days = {(m.technician_code, m.day): m for m in problem.technician_days}
    evenings = {}
    for (code, day), member in days.items():
        bases = tuple(base for base in problem.bases if base.takes(day))
        if member.most_nights > 0 and (code, day + NEXT_DAY) in days and bases:
            evenings[code, day] = bases
    return evenings


def day_variants(problem: PlanProblem) -> list[TechnicianDay]:
    """Give each technician-day as it is, and with every start and end that nights allow."""
    evenings = open_evenings(problem)
    return [
        replace(member, start=start, end=end)
        for member in problem.technician_days
        for start in _places(member, member.start, evenings, member.day - NEXT_DAY)
        for end in _places(member, member.end, evenings, member.day)
    ]


def _places(
    member: TechnicianDay,
    own: Place,
    evenings: dict[tuple[str, date], tuple[NightBase, ...]],
    evening: date,
) -> Iterator[Place]:
    yield own
    for base in evenings.get((member.technician_code, evening), ()):
        yield base.place


def as_slept(problem: PlanProblem, nights: Sequence[Night]) -> PlanProblem:
    """Give a problem whose days start and end where the nights of a plan are spent."""
    moved = move_days(problem.technician_days, nights, problem.bases)
    return replace(problem, technician_days=moved)


def move_days(
    members: Sequence[TechnicianDay], nights: Sequence[Night], bases: Sequence[NightBase]
) -> tuple[TechnicianDay, ...]:
    """Let each technician's day end where the night is spent, and the next begin there."""
    places = {base.place.key: base.place for base in bases}
    slept = {(night.technician_code, night.evening): places[night.base_key] for night in nights}
    return tuple(
        replace(
            member,
            start=slept.get((member.technician_code, member.day - NEXT_DAY), member.start),
            end=slept.get((member.technician_code, member.day), member.end),
        )
        for member in members
    )

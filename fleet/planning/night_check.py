"""Whether the nights of a plan keep their limits, found afresh: no code of the planner."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from fleet.domain.plan import Night, Plan, PlanProblem, TechnicianDay

ONE_DAY = timedelta(days=1)


def members_as_slept(problem: PlanProblem, plan: Plan) -> dict[tuple[str, str], TechnicianDay]:
    """Give each technician-day by code and day, from where the night before was spent.

    A day ends where the night after it is spent; without a night away at its own start and end.
    """
    places = {base.place.key: base.place for base in problem.bases}
    slept = {
        (night.technician_code, night.evening): places[night.base_key]
        for night in plan.nights
        if night.base_key in places
    }
    members = {}
    for member in problem.technician_days:
        start = slept.get((member.technician_code, member.day - ONE_DAY), member.start)
        end = slept.get((member.technician_code, member.day), member.end)
        key = (member.technician_code, member.day.isoformat())
        members[key] = replace(member, start=start, end=end)
    return members


def night_violations(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    """Give a sentence for each limit that the nights of a plan break.

    Checked are: one night a person and evening, work before and after it, leave to stay out,
    nights in a row, the base's span of days, its room and price, and a drive on every day whose
    start and end differ.
    """
    members = {(m.technician_code, m.day): m for m in problem.technician_days}
    seats = Counter((night.technician_code, night.evening) for night in plan.nights)
    for (code, evening), count in seats.items():
        if count > 1:
            yield f"{evening.isoformat()} {code}: {count} nights in one"
    for night in plan.nights:
        name = f"night of {night.evening.isoformat()}, {night.technician_code}"
        yield from (f"{name}: {text}" for text in _night(night, problem, members))
        yield from (f"{name}: {text}" for text in _spell(night, plan, members))
    yield from _room(problem, plan)
    yield from _drives(problem, plan)


def _night(
    night: Night, problem: PlanProblem, members: dict[tuple[str, date], TechnicianDay]
) -> Iterator[str]:
    code, evening = night.technician_code, night.evening
    if (code, evening) not in members or (code, evening + ONE_DAY) not in members:
        yield "no work on the day before or after it"
    bases = [base for base in problem.bases if base.place.key == night.base_key]
    if not bases:
        yield f"there is no base {night.base_key}"
        return
    (base,) = bases
    if evening < base.first_night or (base.last_night is not None and evening > base.last_night):
        yield f"{night.base_key} takes nobody that night"
    if night.cost_days != base.cost_days:
        yield f"it costs {base.cost_days} record-days, not {night.cost_days}"


def _spell(
    night: Night, plan: Plan, members: dict[tuple[str, date], TechnicianDay]
) -> Iterator[str]:
    """Count the nights in a row from this one on against what its day allows."""
    own = {n.evening for n in plan.nights if n.technician_code == night.technician_code}
    member = members.get((night.technician_code, night.evening))
    allowed = member.most_nights if member else 0
    length = 0
    while night.evening + length * ONE_DAY in own:
        length += 1
    if length > allowed:
        yield f"the first of {length} in a row, {allowed} are allowed"


def _room(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    guests = Counter((night.evening, night.base_key) for night in plan.nights)
    room = {base.place.key: base.capacity for base in problem.bases}
    for (evening, key), count in guests.items():
        if count > room.get(key, count):
            yield f"{evening.isoformat()}: {count} guests at {key}, which takes {room[key]}"


def _drives(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    """Tell of days that must lead from one place to another, but are not in the plan."""
    planned = {(code, day.day.isoformat()) for day in plan.days for code in day.technician_codes}
    for key, member in members_as_slept(problem, plan).items():
        moved = any(
            night.technician_code == member.technician_code
            and night.evening in (member.day, member.day - ONE_DAY)
            for night in plan.nights
        )
        if moved and member.start.key != member.end.key and key not in planned:
            yield f"{key[1]} {key[0]}: no drive from {member.start.key} to {member.end.key}"

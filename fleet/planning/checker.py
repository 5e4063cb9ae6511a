"""Whether a plan keeps every limit, found afresh: shares no code with what makes plans."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import fsum, isclose

from fleet.domain.plan import Candidate, DayPlan, Plan, PlannedStop, PlanProblem, TechnicianDay
from fleet.errors import InfeasibleError
from fleet.planning.check_clock import follow_day, rule_faults
from fleet.planning.night_check import members_as_slept, night_violations

WORTH_SLACK = 1e-9
"""Relative difference of two sums of the same worths in different order."""


@dataclass(frozen=True, slots=True)
class _Facts:
    """The problem, looked up by code."""

    candidates: dict[str, Candidate]
    members: dict[tuple[str, str], TechnicianDay]
    minutes: dict[tuple[str, str], int]
    km: dict[tuple[str, str], float]


def require_sound(problem: PlanProblem, plan: Plan) -> None:
    """Refuse a plan that breaks a limit of its problem.

    Raises
    ------
    InfeasibleError
        With every violation that `find_violations` gives.
    """
    violations = find_violations(problem, plan)
    if violations:
        head = f"The plan is refused, {len(violations)} limits or facts are not kept:"
        raise InfeasibleError("\n".join([head, *violations]))


def find_violations(problem: PlanProblem, plan: Plan) -> list[str]:
    """Check a plan against its problem, stop by stop.

    Parameters
    ----------
    problem : PlanProblem
        The week that was to be planned.
    plan : Plan
        What a planner, or a person, made of it.

    Returns
    -------
    list of str
        One sentence a violation, in order of days; empty for a plan that holds. Checked are:
        who goes where when, driving times and km, arrival, waiting, service, access windows,
        rest and breaks, shift, driving limit, start and end, nights away, persons, skill, fixed
        technician, what the vehicle carries, every site planned or left out exactly once, and the
        total worth.
    """
    facts = _facts(problem, plan)
    found = [*_technicians_twice(plan), *_order(plan)]
    for day in plan.days:
        found += (f"{_name(day)}: {text}" for text in _day(day, facts))
    found += night_violations(problem, plan)
    found += [*_sites(problem, plan), *_worth(facts, plan)]
    return found


def _facts(problem: PlanProblem, plan: Plan) -> _Facts:
    keys = problem.travel.keys
    pairs = [(a, b) for a in range(len(keys)) for b in range(len(keys))]
    return _Facts(
        candidates={candidate.place.key: candidate for candidate in problem.candidates},
        members=members_as_slept(problem, plan),
        minutes={(keys[a], keys[b]): problem.travel.minutes[a][b] for a, b in pairs},
        km={(keys[a], keys[b]): problem.travel.km[a][b] for a, b in pairs},
    )


def _name(day: DayPlan) -> str:
    return f"{day.day.isoformat()} {'+'.join(day.technician_codes)}"


def _technicians_twice(plan: Plan) -> Iterator[str]:
    seats = Counter((day.day, code) for day in plan.days for code in day.technician_codes)
    for (day, code), count in seats.items():
        if count > 1:
            yield f"{day.isoformat()}: technician {code} is in {count} crews"


def _order(plan: Plan) -> Iterator[str]:
    order = [(day.day, day.technician_codes) for day in plan.days]
    if order != sorted(order):
        yield "the days are not in order of day and technicians"


def _day(day: DayPlan, facts: _Facts) -> Iterator[str]:
    members = [facts.members.get((code, day.day.isoformat())) for code in day.technician_codes]
    present = [member for member in members if member is not None]
    if len(present) < len(members) or not members:
        yield "a technician does not work that day"
        return
    if not day.stops and present[0].start.key == present[0].end.key:
        yield "no stop"
        return
    ends = _ends(present)
    if ends is None:
        yield "the technicians do not start and end at the same places"
    told = follow_day(day)
    yield from _limits(day, present)
    yield from _drives(day, ends or (present[0].start.key, present[0].end.key), facts)
    yield from told.faults
    for rule in dict.fromkeys(member.rest_rule for member in present if member.rest_rule):
        yield from rule_faults(told, rule, facts.candidates)
    yield from _load(day, present, facts)
    for stop in day.stops:
        candidate = facts.candidates.get(stop.site_code)
        if candidate is None:
            yield f"site {stop.site_code} is not a candidate"
        else:
            rested = told.rest_in_work.get(stop.site_code, 0)
            yield from (f"site {stop.site_code}: {t}" for t in _stop(stop, day, candidate, rested))
            yield from (f"site {stop.site_code}: {t}" for t in _people(candidate, present))


def _ends(members: Sequence[TechnicianDay]) -> tuple[str, str] | None:
    """Give where a crew starts and ends: where each of them does, else where all of them meet."""
    own = {(member.start.key, member.end.key) for member in members}
    if len(own) == 1:
        return own.pop()
    meeting = {member.meets.key if member.meets else None for member in members}
    place = meeting.pop() if len(meeting) == 1 else None
    return None if place is None else (place, place)


def _load(day: DayPlan, members: Sequence[TechnicianDay], facts: _Facts) -> Iterator[str]:
    """One vehicle goes, of any of the crew; without a known limit it takes everything."""
    stops = [facts.candidates[s.site_code] for s in day.stops if s.site_code in facts.candidates]
    water = sum(candidate.load.water_ml for candidate in stops)
    spares = sum(candidate.load.spares for candidate in stops)
    vehicles = [member.capacity for member in members]
    if not any(v is None or (water <= v.water_ml and spares <= v.spares) for v in vehicles):
        yield f"no vehicle of the crew takes {water} mL of water and {spares} spare parts"


def _limits(day: DayPlan, members: Sequence[TechnicianDay]) -> Iterator[str]:
    driving = day.back_drive_min
    for stop in day.stops:
        driving += stop.drive_min
    for member in members:
        if day.leave_min < member.starts_min:
            yield f"leaves at {day.leave_min}, the shift starts at {member.starts_min} min"
        if day.back_min > member.ends_min:
            yield f"back at {day.back_min}, the shift ends at {member.ends_min} min"
        if driving > member.max_driving_min:
            yield f"{driving} min of driving, the limit is {member.max_driving_min} min"
    shift = min(m.ends_min for m in members) - max(m.starts_min for m in members)
    rest = max(member.break_min for member in members)
    if rest:  # the rest of the day counts as a break of the rule, so it is no shorter
        rest = max(rest, *(m.rest_rule.break_min if m.rest_rule else 0 for m in members))
    away = day.back_min - day.leave_min
    if day.rest_min < rest:
        yield f"rest of {day.rest_min} min, {rest} min are due"
    if day.rest_at_min is None and away + rest > shift:
        yield f"{away} min away leave no rest of {rest} min in a shift of {shift} min"


def _drives(day: DayPlan, ends: tuple[str, str], facts: _Facts) -> Iterator[str]:
    here, last = ends
    legs = [(stop.site_code, stop.drive_min, stop.drive_km) for stop in day.stops]
    legs.append((last, day.back_drive_min, day.back_drive_km))
    for there, minutes, km in legs:
        if (here, there) not in facts.minutes:
            yield f"no travel time from {here} to {there}"
        elif (minutes, km) != (facts.minutes[here, there], facts.km[here, there]):
            true_min, true_km = facts.minutes[here, there], facts.km[here, there]
            yield f"{minutes} min, {km} km from {here} to {there}, not {true_min} min, {true_km} km"
        here = there


def _stop(stop: PlannedStop, day: DayPlan, candidate: Candidate, rested_min: int) -> Iterator[str]:
    worked = stop.depart_min - stop.start_min - rested_min
    if worked != candidate.service_min:
        yield f"{worked} min of work, {candidate.service_min} min are needed"
    spans = candidate.windows.get(day.day, ())
    if not any(s.opens_min <= stop.start_min and stop.depart_min <= s.closes_min for s in spans):
        yield f"work from {stop.start_min} to {stop.depart_min} is outside the access windows"


def _people(candidate: Candidate, members: Sequence[TechnicianDay]) -> Iterator[str]:
    if len(members) < candidate.persons:
        yield f"only {len(members)} of {candidate.persons} persons"
    if candidate.skill and not any(candidate.skill in member.skills for member in members):
        yield f"nobody holds the skill {candidate.skill}"
    fixed = candidate.technician_code
    if fixed and not any(member.technician_code == fixed for member in members):
        yield f"fixed to technician {fixed}, who is not there"


def _sites(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    planned = Counter(stop.site_code for day in plan.days for stop in day.stops)
    left = Counter(entry.site_code for entry in plan.left_out)
    wanted = {candidate.place.key: candidate.must_visit for candidate in problem.candidates}
    for code in wanted:
        if planned[code] + left[code] != 1:
            yield f"site {code}: planned {planned[code]} times, left out {left[code]} times"
    for entry in plan.left_out:
        if entry.site_code not in wanted:
            yield f"site {entry.site_code} is left out but not a candidate"
        elif entry.must_visit != wanted[entry.site_code]:
            yield f"site {entry.site_code}: whether it must be visited is told wrongly"


def _worth(facts: _Facts, plan: Plan) -> Iterator[str]:
    stops = [stop.site_code for day in plan.days for stop in day.stops]
    total = fsum(facts.candidates[code].worth for code in stops if code in facts.candidates)
    if not isclose(plan.worth, total, rel_tol=WORTH_SLACK, abs_tol=WORTH_SLACK):
        yield f"the plan says a worth of {plan.worth}, its stops make {total}"

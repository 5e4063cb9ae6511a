"""Whether a planning problem is one at all, before anything is computed from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator
from math import isfinite

from fleet.domain.plan import (
    Candidate,
    NightBase,
    PlanProblem,
    RestRule,
    SearchSettings,
    TechnicianDay,
    Travel,
)

MOST_WORTH = 1e6
"""The greatest worth of one site in record-days that the solver's whole numbers hold."""

MOST_DRIVE_MIN = 1_000_000
"""The longest drive in min; the solver takes ten times as much for a way that is barred."""

MOST_SEED = 4_000_000_000
"""The greatest seed that the solver takes (32 bits)."""

LEAST_PRICE = 0.001
"""The lowest price of driving above 0, in record-days an hour, for the sake of whole numbers."""


def require_problem(problem: PlanProblem) -> None:
    """Refuse a problem that contradicts itself.

    Parameters
    ----------
    problem : PlanProblem
        Candidates, technician-days, travel and settings of one week.

    Raises
    ------
    ValueError
        Naming everything that is wrong: a site or a technician's day that comes twice, a place
        without travel times, a negative time, a span that ends before it begins, a worth or
        setting out of range.
    """
    problems = [
        *_repeated("site", (c.place.key for c in problem.candidates)),
        *_repeated("base", (base.place.key for base in problem.bases)),
        *_repeated(
            "technician-day", ((d.technician_code, str(d.day)) for d in problem.technician_days)
        ),
        *(text for candidate in problem.candidates for text in _candidate_problems(candidate)),
        *(text for member in problem.technician_days for text in _day_problems(member)),
        *(text for base in problem.bases for text in _base_problems(base)),
        *_travel_problems(problem),
        *_setting_problems(problem.settings),
    ]
    if problems:
        raise ValueError("; ".join(problems))


def _repeated(what: str, keys: Iterable[Hashable]) -> Iterator[str]:
    for key, count in Counter(keys).items():
        if count > 1:
            yield f"{what} {key} comes {count} times"


def _candidate_problems(candidate: Candidate) -> Iterator[str]:
    name = f"site {candidate.place.key}"
    if not (isfinite(candidate.worth) and 0.0 <= candidate.worth <= MOST_WORTH):
        yield f"{name}: worth {candidate.worth} is not within 0 .. {MOST_WORTH:g} record-days"
    if candidate.service_min < 0:
        yield f"{name}: service {candidate.service_min} min is negative"
    if candidate.persons < 1:
        yield f"{name}: {candidate.persons} persons, at least 1 is expected"
    if candidate.load.water_ml < 0 or candidate.load.spares < 0:
        yield f"{name}: a load below nothing"
    for day, windows in candidate.windows.items():
        for window in windows:
            if not 0 <= window.opens_min <= window.closes_min:
                yield f"{name}: window {window.opens_min} .. {window.closes_min} min on {day}"


def _day_problems(member: TechnicianDay) -> Iterator[str]:
    name = f"technician {member.technician_code} on {member.day}"
    if not 0 <= member.starts_min <= member.ends_min:
        yield f"{name}: shift {member.starts_min} .. {member.ends_min} min"
    if not 0 <= member.break_min <= max(0, member.ends_min - member.starts_min):
        yield f"{name}: rest of {member.break_min} min does not fit into the shift"
    if member.most_nights < 0:
        yield f"{name}: {member.most_nights} nights in a row"
    if member.max_driving_min < 0:
        yield f"{name}: driving limit {member.max_driving_min} min is negative"
    if member.rest_rule is not None:
        yield from (f"{name}: {text}" for text in _rule_problems(member.rest_rule))


def _rule_problems(rule: RestRule) -> Iterator[str]:
    if rule.break_min < 1:
        yield f"a break of {rule.break_min} min, at least 1 is expected"
    for what, limit in (("driving", rule.after_driving_min), ("duty", rule.after_duty_min)):
        if limit is not None and limit < 1:
            yield f"a break after {limit} min of {what}, at least 1 is expected"


def _base_problems(base: NightBase) -> Iterator[str]:
    name = f"base {base.place.key}"
    if not (isfinite(base.cost_days) and base.cost_days >= 0.0):
        yield f"{name}: a night at {base.cost_days} record-days, at least 0 is expected"
    if base.capacity < 0:
        yield f"{name}: room for {base.capacity} persons"


def _travel_problems(problem: PlanProblem) -> Iterator[str]:
    yield from _shape_problems(problem.travel)
    needed = dict.fromkeys(
        [
            *(candidate.place.key for candidate in problem.candidates),
            *(member.start.key for member in problem.technician_days),
            *(member.end.key for member in problem.technician_days),
            *(base.place.key for base in problem.bases),
            *(member.meets.key for member in problem.technician_days if member.meets),
        ]
    )
    yield from (f"no travel times for {key}" for key in needed if key not in problem.travel.index)


def _shape_problems(travel: Travel) -> Iterator[str]:
    yield from _repeated("travel key", travel.keys)
    size = len(travel.keys)
    if any(len(table) != size for table in (travel.minutes, travel.km)) or any(
        len(row) != size for table in (travel.minutes, travel.km) for row in table
    ):
        yield f"travel tables are not {size} x {size}"
    elif any(not 0 <= value <= MOST_DRIVE_MIN for row in travel.minutes for value in row):
        yield f"a travel time is not within 0 .. {MOST_DRIVE_MIN} min"
    elif any(travel.minutes[place][place] for place in range(size)):
        yield "a travel time from a place to itself is not 0"


def _setting_problems(settings: SearchSettings) -> Iterator[str]:
    if not 0 <= settings.seed <= MOST_SEED:
        yield f"seed {settings.seed}: 0 .. {MOST_SEED} is expected"
    if settings.iterations < 1:
        yield f"{settings.iterations} iterations, at least 1 is expected"
    for name, seconds in (("search", settings.seconds), ("bound", settings.bound_s)):
        if seconds is not None and not (isfinite(seconds) and seconds > 0.0):
            yield f"{seconds} s for the {name}, more than 0 is expected"
    price = settings.drive_price_days_per_h
    if price != 0.0 and not (isfinite(price) and price >= LEAST_PRICE):
        yield (
            f"price of driving {price} record-days an hour: 0 or at least {LEAST_PRICE} is expected"
        )

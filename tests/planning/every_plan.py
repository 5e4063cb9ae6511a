"""Every plan of a tiny week, as an oracle for plans and bounds.

It tries every order of every set of sites in every crew, leaving every five minutes;
it shares no code with the solver. All figures [CALC].
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import chain, combinations, permutations

from fleet.domain.plan import Candidate, Place, PlanProblem, SearchSettings, TechnicianDay, Window
from fleet.planning.distance import great_circle_travel

MONDAY = date(2024, 3, 4)


def _back(week: PlanProblem, members, order) -> tuple[int, int] | None:
    """Give driving and length of a day in which sites are visited in this order, or None."""
    day, keys = members[0].day, week.travel.keys
    opens = max(m.starts_min for m in members)
    closes = min(m.ends_min for m in members)
    rest = max(m.break_min for m in members)
    best = None
    for leave in range(opens, closes + 1, 5):
        now, here, driving = leave, keys.index(members[0].start.key), 0
        for candidate in order:
            there = keys.index(candidate.place.key)
            driving += week.travel.minutes[here][there]
            now += week.travel.minutes[here][there]
            starts = [
                max(now, w.opens_min)
                for w in candidate.windows.get(day, ())
                if max(now, w.opens_min) + candidate.service_min <= w.closes_min
            ]
            if not starts:
                break
            now, here = min(starts) + candidate.service_min, there
        else:
            home = week.travel.minutes[here][keys.index(members[0].end.key)]
            driving, now = driving + home, now + home
            if (
                now <= closes
                and now - leave <= closes - opens - rest
                and driving <= min(m.max_driving_min for m in members)
                and (best is None or driving < best[0])
            ):
                best = (driving, now - leave)
    return best


def _allowed(members, candidate) -> bool:
    return (
        len(members) >= candidate.persons
        and (candidate.skill is None or any(candidate.skill in m.skills for m in members))
        and candidate.technician_code in (None, *(m.technician_code for m in members))
    )


def _gain(week: PlanProblem, members, chosen) -> float | None:
    """Give worth less the price of driving of the best order, or None if none holds."""
    if not all(_allowed(members, candidate) for candidate in chosen):
        return None
    days = [_back(week, members, order) for order in permutations(chosen)]
    drives = [day[0] for day in days if day is not None]
    if not drives:
        return None
    price = week.settings.drive_price_days_per_h
    return sum(candidate.worth for candidate in chosen) - price * min(drives) / 60


def _fill(week: PlanProblem, crews, left) -> float:
    """Give the best that these crews can do with the sites that are left."""
    if not crews or not left:
        return 0.0
    best = _fill(week, crews[1:], left)
    for chosen in chain(*(combinations(left, size) for size in range(1, len(left) + 1))):
        own = _gain(week, crews[0], chosen)
        if own is not None:
            rest = tuple(candidate for candidate in left if candidate not in chosen)
            best = max(best, own + _fill(week, crews[1:], rest))
    return best


def best_score(week: PlanProblem) -> float:
    """Give the best over all sets of joint days."""
    pairs = [(a, b) for a, b in combinations(week.technician_days, 2) if a.day == b.day]
    best = float("-inf")
    for joint in chain(*(combinations(pairs, size) for size in range(len(pairs) + 1))):
        taken = [member for pair in joint for member in pair]
        if len(taken) == len({id(member) for member in taken}):
            alone = [(member,) for member in week.technician_days if member not in taken]
            best = max(best, _fill(week, [*joint, *alone], week.candidates))
    return best


def score(week: PlanProblem, plan) -> float:
    driving = sum(day.driving_min for day in plan.days)
    return plan.worth - week.settings.drive_price_days_per_h * driving / 60


def tiny_week(seed: int) -> PlanProblem:
    """Make a week of five sites, two technicians and two days from a fixed rule."""
    days = (MONDAY, MONDAY + timedelta(1))
    depot = Place("depot:HUB", 10.0, 20.0)
    members = tuple(
        TechnicianDay(code, day, 480, 780, 200, depot, depot, frozenset(), 30)
        for day in days
        for code in ("T01", "T02")
    )
    sites = []
    for n in range(5):
        roll = (seed * 31 + n * 17) % 23
        windows = {day: (Window(0, 1440),) for day in days}
        if roll % 3 == 0:
            windows = {days[roll % 2]: (Window(500, 600), Window(660, 760))}
        sites.append(
            Candidate(
                place=Place(f"S{n}", 10.0 + (roll - 11) / 30, 20.0 + (roll * 7 % 23 - 11) / 30),
                worth=1.0 + (roll * 5 % 13) * 1.7,
                service_min=40 + roll * 2,
                windows=windows,
                persons=2 if n == seed % 5 else 1,
                technician_code="T02" if n == (seed + 2) % 5 else None,
            )
        )
    travel = great_circle_travel([depot, *(site.place for site in sites)])
    return PlanProblem(tuple(sites), members, travel, SearchSettings(iterations=300))

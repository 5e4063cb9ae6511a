"""Days on which technicians go out together, because a site asks for more than one person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from datetime import date
from typing import Protocol

from fleet.domain.plan import PlanProblem, TechnicianDay
from fleet.planning.crew import Crew, possible_crews, solo_crews
from fleet.planning.insertion import windows_alone
from fleet.planning.price import Prices
from fleet.planning.timeline import Route

MOST_TRIED = 10
"""Joint days that are tried in one round."""

QUICK_SHARE = 16
"""The trial of a joint day takes this part of the iterations of a full search."""


class Search(Protocol):
    """Something that plans the week for given crews."""

    def __call__(
        self, crews: Sequence[Crew], iterations: int, *, start: Sequence[Route] = ()
    ) -> list[Route]:
        """Give the routes with stops; ``start`` is a plan to begin from, if there is one."""
        ...


def plan_with_joint_days(problem: PlanProblem, prices: Prices, search: Search) -> list[Route]:
    """Plan the week without and with joint days, and keep what scores best.

    Parameters
    ----------
    problem : PlanProblem
        The week, its candidates those to choose from.
    prices : Prices
        To score plans by.
    search : Search
        Plans the week for given crews.

    Returns
    -------
    list of Route
        The routes with stops. A joint day uses up the days of all its members.

    Notes
    -----
    Joint days are added one at a time, the one that scores best in a short search, for as long
    as the score rises; the set found is then searched on in full. The result is the
    same every time, but not every set of joint days is tried.
    """
    solo = solo_crews(problem.technician_days)
    full = problem.settings.iterations
    alone = search(solo, full)
    options = joint_options(problem, prices)
    if not options:
        return alone

    def score(routes: Sequence[Route]) -> int:
        return prices.score(routes, problem.travel)

    def attempt(joint: tuple[Crew, ...], start: Sequence[Route]) -> list[Route]:
        return search(_crews(solo, joint), max(1, full // QUICK_SHARE), start=start)

    fixed = {candidate.technician_code for candidate in problem.candidates}
    joint: tuple[Crew, ...] = ()
    tried = alone
    while larger := _one_more(joint, options, fixed):
        trials = [(crews, attempt(crews, tried)) for crews in larger]
        best, found = max(trials, key=lambda trial: score(trial[1]))
        if joint and score(found) <= score(tried):
            break
        joint, tried = best, found
    return max((alone, tried, search(_crews(solo, joint), full, start=tried)), key=score)


def joint_options(problem: PlanProblem, prices: Prices) -> list[Crew]:
    """Give the joint crews that some site needs, those that open up the greatest prizes first."""
    opened = {
        crew: sum(
            prices.prizes[candidate.place.key]
            for candidate in problem.candidates
            if candidate.persons > 1 and windows_alone(candidate, crew, problem.travel)
        )
        for crew in possible_crews(problem.technician_days, problem.candidates)
        if len(crew.members) > 1
    }
    useful = [crew for crew in opened if opened[crew] > 0]
    return sorted(useful, key=lambda crew: (-opened[crew], crew.day, crew.technician_codes))


def _one_more(
    joint: tuple[Crew, ...], options: Sequence[Crew], fixed: Collection[str | None]
) -> list[tuple[Crew, ...]]:
    """Give the sets with one more joint day: of crews alike the first, every day in turn."""
    alike: dict[tuple[object, ...], Crew] = {}
    for crew in options:
        if not any(crew.overlaps(other) for other in joint):
            kind = tuple(sorted(_kind(member, fixed) for member in crew.members))
            alike.setdefault((crew.day, *kind), crew)
    ranks: Counter[date] = Counter()
    ranked: list[tuple[int, Crew]] = []
    for crew in alike.values():
        ranked.append((ranks[crew.day], crew))
        ranks[crew.day] += 1
    ranked.sort(key=lambda entry: entry[0])
    return [(*joint, crew) for _, crew in ranked[:MOST_TRIED]]


def _crews(solo: Sequence[Crew], joint: tuple[Crew, ...]) -> tuple[Crew, ...]:
    """Give the joint crews and the technicians that they leave on their own."""
    return (*joint, *(crew for crew in solo if not any(crew.overlaps(pair) for pair in joint)))


def _kind(
    member: TechnicianDay, fixed: Collection[str | None]
) -> tuple[tuple[int, ...], str, tuple[str, ...]]:
    """Give all of a technician-day that a plan can depend on."""
    code = member.technician_code if member.technician_code in fixed else ""
    limits = (member.starts_min, member.ends_min, member.break_min, member.max_driving_min)
    more = repr((member.rest_rule, member.capacity, member.meets))
    return limits, more, (member.start.key, member.end.key, code, *sorted(member.skills))

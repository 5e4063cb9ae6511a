"""All ways in which one technician may spend the nights of a week."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import pairwise

from fleet.domain.plan import Night, NightBase, PlanProblem
from fleet.planning.night import NEXT_DAY, open_evenings

MOST_PATTERNS = 300
"""Ways that are looked at for one technician; those with the fewest nights come first."""

Pattern = tuple[Night, ...]
"""A technician's nights away, in order of evening."""


def night_patterns(problem: PlanProblem) -> dict[str, list[Pattern]]:
    """Give the ways by technician, the one without nights first.

    Parameters
    ----------
    problem : PlanProblem
        Technician-days and bases.

    Returns
    -------
    dict
        Only of technicians who may stay out at all. Nights in a row are within what the day of
        the first of them allows; room at the bases is not looked at.
    """
    evenings = open_evenings(problem)
    most = {(m.technician_code, m.day): m.most_nights for m in problem.technician_days}
    found = {}
    for code in sorted({code for code, _ in evenings}):
        own = {day: bases for (other, day), bases in evenings.items() if other == code}
        limits = {day: most[code, day] for day in own}
        ways = sorted(_ways(code, sorted(own.items()), limits), key=_order)
        found[code] = ways[:MOST_PATTERNS]
    return found


def _ways(
    code: str,
    evenings: Sequence[tuple[date, tuple[NightBase, ...]]],
    limits: Mapping[date, int],
    before: Pattern = (),
) -> Iterator[Pattern]:
    """Go through the evenings, at home or at each base, as far as nights in a row allow."""
    if not evenings:
        yield before
        return
    (evening, bases), rest = evenings[0], evenings[1:]
    yield from _ways(code, rest, limits, before)
    for base in bases:
        after = (*before, Night(code, evening, base.place.key, base.cost_days))
        if _allowed(after, limits):
            yield from _ways(code, rest, limits, after)


def _allowed(nights: Pattern, limits: Mapping[date, int]) -> bool:
    """Tell whether the nights in a row that end with the last one are not too many."""
    length = 1
    while length < len(nights) and (
        nights[-length].evening - nights[-length - 1].evening == NEXT_DAY
    ):
        length += 1
    return all(n + 1 <= limits[night.evening] for n, night in enumerate(nights[: -length - 1 : -1]))


def _order(nights: Pattern) -> tuple[int, int, tuple[tuple[date, str], ...]]:
    changes = sum(a.base_key != b.base_key for a, b in pairwise(nights))
    return len(nights), changes, tuple((night.evening, night.base_key) for night in nights)

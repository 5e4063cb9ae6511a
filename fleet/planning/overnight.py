"""Which nights away from home pay: chosen together with the days that they make possible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from fleet.domain.plan import Night, PlanProblem
from fleet.planning.bound import start_days
from fleet.planning.column_search import ColumnSearch
from fleet.planning.crew import possible_crews
from fleet.planning.model import build_model
from fleet.planning.night import day_variants, move_days
from fleet.planning.night_pattern import Pattern, night_patterns
from fleet.planning.price import Prices
from fleet.planning.timeline import Route
from fleet.planning.week_program import Slot, WeekProgram, lay_program

ROUNDS = 60
"""Times that days are looked for at each effort; no clock, so that the plan is the same again."""

SWEEPS = 3
"""Times that every technician's nights are chosen anew, given those of the others."""


def choose_nights(
    problem: PlanProblem, prices: Prices, *, seen: Sequence[Route] = ()
) -> list[Night]:
    """Choose the nights away that promise most.

    Parameters
    ----------
    problem : PlanProblem
        The week with its bases, its candidates all within reach.
    prices : Prices
        What sites, driving and nights count.
    seen : sequence of Route
        Days that keep all limits, such as those of a plan without nights.

    Returns
    -------
    list of Night
        In order of evening and technician; none where they do not pay. The same problem gives
        the same nights.

    Notes
    -----
    Days from every start to every end are found by column generation (`ColumnSearch`). Then one
    technician after the other takes the nights with which the choice among those days, taken in
    part, brings most. The planner then plans the week with these nights and keeps them only if
    that beats the plan without.
    """
    crews = possible_crews(day_variants(problem), problem.candidates)
    model = build_model(problem.candidates, crews, travel=problem.travel, prices=prices)
    week = lay_program(problem, model, night_cost=prices.per_day)
    search = ColumnSearch(week, start_days(week, seen))
    search.widen(rounds=ROUNDS)
    patterns = night_patterns(problem)
    chosen: dict[str, Pattern] = dict.fromkeys(patterns, ())
    for _ in range(SWEEPS):
        before = dict(chosen)
        for code, ways in patterns.items():
            values = [_value(search, problem, {**chosen, code: way}) for way in ways]
            chosen[code] = ways[values.index(max(values))]
        if chosen == before:
            break
    nights = [night for pattern in chosen.values() for night in pattern]
    return sorted(nights, key=lambda night: (night.evening, night.technician_code))


def _value(search: ColumnSearch, problem: PlanProblem, chosen: Mapping[str, Pattern]) -> float:
    """Give what the choice among days brings, taken in part, when nights are spent like this."""
    nights = [night for pattern in chosen.values() for night in pattern]
    places = {
        (member.technician_code, member.day): (member.start.key, member.end.key)
        for member in move_days(problem.technician_days, nights, problem.bases)
    }
    fits = [_fits(slot, search.week, places) for slot in search.week.slots]
    return search.columns.program.value_among([fits[slot] for slot, _ in search.columns.days])


def _fits(
    slot: Slot, week: WeekProgram, places: Mapping[tuple[str, date], tuple[str, str]]
) -> bool:
    return all(
        places[member.technician_code, member.day] == (member.start.key, member.end.key)
        for crew in slot.crews
        for member in week.model.crews[crew].members
    )

"""The fast planner: figures by hand [CALC], the planner's own clock, and the solver beside it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from math import fsum

import numpy as np
import pytest

from fleet.domain.plan import (
    Candidate,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Window,
)
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.distance import great_circle_travel
from fleet.planning.insertion import usable_windows
from fleet.planning.quick_day import alone_possible
from fleet.planning.quick_site import QuickCrew, lay_out_crews, lay_out_sites
from fleet.planning.quick_week import QuickWeek, plan_quickly
from fleet.planning.solver import solve
from fleet.planning.timeline import Route, Visit, time_route

MONDAY = date(2024, 3, 4)
TUESDAY = date(2024, 3, 5)
PRICE = 0.1 / 60.0
WHOLE_DAY = (Window(0, 1440),)


def end_keys(technician_days: Sequence[TechnicianDay]) -> list[str]:
    return list(dict.fromkeys(p.key for day in technician_days for p in (day.start, day.end)))


def quick(problem: PlanProblem, **given: object) -> QuickWeek:
    sites = lay_out_sites(problem.candidates, end_keys(problem.technician_days), problem.travel)
    crews = lay_out_crews(problem.candidates, problem.technician_days, sites)
    worth = np.array([candidate.worth for candidate in problem.candidates])
    return plan_quickly(sites, crews, worth, **{"price_per_min": PRICE, **given})


def visited(problem: PlanProblem, week: QuickWeek) -> list[list[str]]:
    keys = [candidate.place.key for candidate in problem.candidates]
    return [[keys[site] for site in day.stops] for _, day in week.days]


def made_week(seed: int, *, sites: int, days: int = 4) -> PlanProblem:
    """Strew sites about a depot, some with windows, a skill or a second person."""
    dice = np.random.default_rng(seed)
    week = [MONDAY + timedelta(n) for n in range(days)]
    depot = Place("depot:HUB", 10.0, 20.0)
    members = tuple(
        TechnicianDay(code, day, 450, 960, 300, depot, depot, skills, break_min=30)
        for day in week
        for code, skills in (("T1", frozenset({"mast"})), ("T2", frozenset()))
    )
    spans = (WHOLE_DAY, WHOLE_DAY, (Window(540, 720),), (Window(480, 600), Window(780, 1000)), ())
    candidates = tuple(
        Candidate(
            place=Place(f"S{n:03d}", 10.0 + dice.normal(0, 0.3), 20.0 + dice.normal(0, 0.3)),
            worth=float(dice.lognormal(1.0, 1.0)),
            service_min=int(dice.integers(40, 80)),
            windows={day: spans[dice.integers(0, len(spans))] for day in week},
            persons=2 if dice.random() < 0.05 else 1,
            skill="mast" if dice.random() < 0.1 else None,
        )
        for n in range(sites)
    )
    travel = great_circle_travel([depot, *(c.place for c in candidates)])
    return PlanProblem(candidates, members, travel, SearchSettings(iterations=1500))


def test_quick_week_collects_what_lies_on_the_way(site, member, problem) -> None:
    # the road: depot 0, A 30, B 60, C at 200 min; C alone takes 400 min of driving of 300 [CALC]
    line = {"depot:HUB": 0, "A": 30, "B": 60, "C": 200}
    posed = problem([site("A"), site("B"), site("C", worth=1e4)], [member()], line)

    week = quick(posed)

    assert sorted(visited(posed, week)[0]) == ["A", "B"]
    day = week.days[0][1]
    assert (day.driving_min, day.work_min) == (120.0, 120.0)
    assert day.value == pytest.approx(20.0 - 0.2)  # two hours of driving at 0.1 record-days


def test_quick_week_leaves_what_is_not_worth_its_drive(site, member, problem) -> None:
    # B adds 60 min of driving: 0.1 record-days an hour asks for 0.1 [CALC]
    line = {"depot:HUB": 0, "A": 30, "B": 60}
    members = [member()]

    poor = problem([site("A"), site("B", worth=0.09)], members, line)
    rich = problem([site("A"), site("B", worth=0.11)], members, line)

    assert visited(poor, quick(poor)) == [["A"]]
    assert sorted(visited(rich, quick(rich))[0]) == ["A", "B"]


def test_quick_week_keeps_the_limit_of_days(site, member, problem) -> None:
    sites = [
        site(code, service_min=400, windows={MONDAY: WHOLE_DAY, TUESDAY: WHOLE_DAY})
        for code in "AB"
    ]
    members = [member(), member(day=TUESDAY)]
    posed = problem(sites, members, {"depot:HUB": 0, "A": 10, "B": 12})

    assert len(quick(posed).days) == 2
    assert len(quick(posed, most_days=1).days) == 1
    assert quick(posed, most_days=0).days == ()


def test_quick_week_sends_two_where_two_are_needed(site, member, problem) -> None:
    line = {"depot:HUB": 0, "A": 10, "B": 12}
    both = [site("A", persons=2, worth=50.0), site("B", worth=1.0)]
    posed = problem(both, [member("T01"), member("T02")], line)
    alone = problem(both, [member("T01")], line)

    week = quick(posed)

    assert week.days[0][0].members == ("T01", "T02")
    assert sorted(visited(posed, week)[0]) == ["A", "B"]
    assert visited(alone, quick(alone)) == [["B"]]
    assert visited(posed, quick(posed, most_days=1)) == [["B"]]


def test_quick_week_without_worth_or_crew_is_empty(site, member, problem) -> None:
    line = {"depot:HUB": 0, "A": 10}

    assert quick(problem([site("A", worth=0.0)], [member()], line)).days == ()
    assert quick(problem([site("A")], [], {"A": 10})).days == ()


def test_alone_possible_agrees_with_the_clock_of_the_planner() -> None:
    posed = made_week(4, sites=60)
    sites = lay_out_sites(posed.candidates, end_keys(posed.technician_days), posed.travel)

    for quick_crew, crew in _crews(posed):
        told = alone_possible(sites, quick_crew)
        for possible, candidate in zip(told, posed.candidates, strict=True):
            windows = usable_windows(candidate, crew) if crew.serves(candidate) else ()
            longest = max(windows, key=lambda w: w.closes_min - w.opens_min, default=None)
            route = longest and Route(crew, (Visit(candidate, longest),))
            assert possible == (route is not None and time_route(route, posed.travel).over_min == 0)


@pytest.mark.parametrize("seed", range(1, 7))
def test_quick_week_holds_by_the_clock_of_the_planner(seed: int) -> None:
    posed = made_week(seed, sites=70)
    crews = {(crew.day, crew.technician_codes): crew for _, crew in _crews(posed)}

    week = quick(posed)

    assert len(week.sites) == len(set(week.sites)) > 10
    busy = [(crew.day, code) for crew, _ in week.days for code in crew.members]
    assert len(busy) == len(set(busy))
    for quick_crew, day in week.days:
        crew = crews[quick_crew.day, quick_crew.members]
        route = Route(crew, tuple(_visit(posed.candidates[n], crew) for n in day.stops))
        assert time_route(route, posed.travel).over_min == 0
        assert sum(route.drives(posed.travel)) == day.driving_min


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_quick_week_is_close_to_the_solver(seed: int) -> None:
    posed = made_week(seed, sites=40, days=2)
    plan = solve(posed)
    value = plan.worth - PRICE * fsum(day.driving_min for day in plan.days)

    assert 0.93 * value <= quick(posed).value <= 1.03 * value


def _crews(posed: PlanProblem) -> list[tuple[QuickCrew, Crew]]:
    sites = lay_out_sites(posed.candidates, end_keys(posed.technician_days), posed.travel)
    laid_out = lay_out_crews(posed.candidates, posed.technician_days, sites)
    return list(zip(laid_out, possible_crews(posed.technician_days, posed.candidates), strict=True))


def _visit(candidate: Candidate, crew: Crew) -> Visit:
    windows = usable_windows(candidate, crew)
    return Visit(candidate, max(windows, key=lambda w: w.closes_min - w.opens_min))

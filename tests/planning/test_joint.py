"""Joint days, with a search that only looks up what each set of crews would collect."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.plan import Window
from fleet.planning.joint import joint_options, plan_with_joint_days
from fleet.planning.price import set_prices
from fleet.planning.timeline import Route, Visit

TUESDAY = date(2024, 3, 5)


class FakeSearch:
    """Send the first crew that may go to each site, and note who was asked for."""

    def __init__(self, candidates):
        self.candidates = candidates
        self.asked: list[tuple[tuple[tuple[str, ...], ...], int]] = []

    def __call__(self, crews, iterations, *, start=()):
        self.asked.append((tuple(crew.technician_codes for crew in crews), iterations))
        routes = []
        for crew in crews:
            visits = [
                Visit(candidate, candidate.windows[crew.day][0])
                for candidate in self.candidates
                if crew.serves(candidate) and crew.day in candidate.windows
            ][:1]
            if visits:
                routes.append(Route(crew, tuple(visits)))
        return routes


def _plan(week):
    search = FakeSearch(week.candidates)
    return plan_with_joint_days(week, set_prices(week), search), search


def test_joint_days_are_not_tried_where_no_site_needs_them(problem, site, member):
    week = problem([site("A")], [member("T01"), member("T02")], {"A": 20})

    _, search = _plan(week)

    assert search.asked == [((("T01",), ("T02",)), 200)]


def test_joint_day_gets_a_short_trial_then_a_full_search(problem, site, member):
    week = problem([site("A", persons=2)], [member("T01"), member("T02")], {"A": 20})

    routes, search = _plan(week)

    assert [route.crew.technician_codes for route in routes] == [("T01", "T02")]
    assert search.asked == [
        ((("T01",), ("T02",)), 200),
        ((("T01", "T02"),), 12),
        ((("T01", "T02"),), 200),
    ]


def test_joint_day_that_fails_its_short_trial_is_searched_in_full_all_the_same(
    problem, site, member
):
    week = problem([site("A", persons=2)], [member("T01"), member("T02")], {"A": 20})
    found = FakeSearch(week.candidates)

    def slow_search(crews, iterations, *, start=()):
        return found(crews, iterations, start=start) if iterations == 200 else []

    routes = plan_with_joint_days(week, set_prices(week), slow_search)

    assert [route.crew.technician_codes for route in routes] == [("T01", "T02")]


def test_technicians_alike_are_tried_once_a_day(problem, site, member):
    both_days = {date(2024, 3, 4): (Window(0, 1440),), TUESDAY: (Window(0, 1440),)}
    members = [member(code, day=day) for code in ("T01", "T02", "T03") for day in sorted(both_days)]
    week = problem([site("A", persons=2, windows=both_days)], members, {"A": 20})

    _, search = _plan(week)

    tried = [crews[0] for crews, iterations in search.asked if iterations == 12]
    assert tried == [("T01", "T02")] * 3  # Monday, Tuesday, then both


def test_technicians_that_a_site_is_fixed_to_are_not_alike(problem, site, member):
    members = [member(code) for code in ("T01", "T02", "T03")]
    week = problem([site("A", persons=2, technician_code="T03")], members, {"A": 20})

    options = joint_options(week, set_prices(week))

    assert [crew.technician_codes for crew in options] == [("T01", "T03"), ("T02", "T03")]


@pytest.mark.parametrize("position", [20, 300])
def test_joint_options_are_only_those_that_reach_a_site(problem, site, member, position):
    week = problem([site("A", persons=2)], [member("T01"), member("T02")], {"A": position})

    assert len(joint_options(week, set_prices(week))) == (1 if position == 20 else 0)

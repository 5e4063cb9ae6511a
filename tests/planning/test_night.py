"""Nights away from home: when they pay, and what the checker refuses; figures by hand [CALC]."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.domain.plan import Night, NightBase, Place, Window
from fleet.planning.checker import find_violations
from fleet.planning.night_pattern import night_patterns
from fleet.planning.solver import solve

INN = Place("base:INN", 0.0, 0.0)


@pytest.fixture
def days(monday):
    return [monday + timedelta(n) for n in range(3)]


@pytest.fixture
def far_week(problem, site, member, days):
    """Three sites 200 min away and an inn beside them; each takes 200 min of work."""

    def build(most_nights=2, cost_days=1.0, **base):
        open_daily = dict.fromkeys(days, (Window(0, 1440),))
        sites = [site(code, windows=open_daily, service_min=200) for code in ("A", "B", "C")]
        members = [member(day=day, most_nights=most_nights) for day in days]
        inn = NightBase(INN, cost_days, **{"capacity": 1, "first_night": days[0], **base})
        week = problem(sites, members, {"A": 200, "B": 200, "C": 200, INN.key: 200})
        return replace(week, bases=(inn,))

    return build


def _sites(plan):
    return sorted(stop.site_code for day in plan.days for stop in day.stops)


def test_site_beyond_a_day_trip_is_reached_by_a_night_away(far_week):
    week = far_week()

    plan = solve(week)

    assert solve(replace(week, bases=())).days == ()
    assert _sites(plan) == ["A", "B", "C"]
    assert [(n.evening.day, n.base_key, n.cost_days) for n in plan.nights] == [
        (4, "base:INN", 1.0),
        (5, "base:INN", 1.0),
    ]
    assert [day.driving_min for day in plan.days] == [200, 0, 200]
    assert find_violations(week, plan) == []


def test_nights_are_not_spent_away_where_they_cost_more_than_they_buy(far_week):
    assert solve(far_week(cost_days=40.0)).nights == ()


def test_nobody_stays_out_without_leave_to(far_week):
    assert solve(far_week(most_nights=0)).nights == ()


def test_nights_in_a_row_are_limited(far_week):
    plan = solve(far_week(most_nights=1))

    assert len(plan.nights) == 1
    assert _sites(plan) in (["A", "B"], ["A", "C"], ["B", "C"])


def test_base_that_takes_nobody_is_not_used(far_week, days):
    assert solve(far_week(first_night=days[2])).nights == ()
    assert solve(far_week(capacity=0)).nights == ()


def test_day_that_only_leads_home_is_in_the_plan(far_week, days, site):
    week = far_week()
    only = site("A", service_min=250, windows={days[0]: (Window(0, 1440),)})
    week = replace(week, candidates=(only,))

    plan = solve(week)

    assert [(len(day.stops), day.back_drive_min) for day in plan.days] == [(1, 0), (0, 200)]
    assert find_violations(week, plan) == []


def test_patterns_keep_the_nights_in_a_row(far_week):
    patterns = night_patterns(far_week(most_nights=1))["T01"]

    assert [[n.evening.day for n in pattern] for pattern in patterns] == [[], [4], [5]]


DAMAGES = {
    "takes nobody that night": lambda week, plan: (
        replace(week, bases=(replace(week.bases[0], last_night=plan.nights[0].evening),)),
        plan,
    ),
    "2 guests at base:INN, which takes 1": lambda week, plan: (
        week,
        replace(plan, nights=(*plan.nights, replace(plan.nights[0], technician_code="T09"))),
    ),
    "the first of 2 in a row, 1 are allowed": lambda week, plan: (
        replace(
            week, technician_days=tuple(replace(m, most_nights=1) for m in week.technician_days)
        ),
        plan,
    ),
    "it costs 1.0 record-days, not 0.5": lambda week, plan: (
        week,
        replace(plan, nights=(replace(plan.nights[0], cost_days=0.5), plan.nights[1])),
    ),
    "there is no base base:BARN": lambda week, plan: (
        week,
        replace(plan, nights=(replace(plan.nights[0], base_key="base:BARN"), plan.nights[1])),
    ),
    "2 nights in one": lambda week, plan: (
        week,
        replace(plan, nights=(plan.nights[0], *plan.nights)),
    ),
    "no drive from base:INN to depot:HUB": lambda week, plan: (
        week,
        replace(plan, days=plan.days[:-1]),
    ),
    "no work on the day before or after it": lambda week, plan: (
        week,
        replace(
            plan,
            nights=(
                *plan.nights,
                Night("T01", plan.nights[-1].evening + timedelta(1), "base:INN", 1.0),
            ),
        ),
    ),
}


@pytest.mark.parametrize("words", DAMAGES)
def test_checker_refuses_damaged_nights(far_week, words):
    week = far_week()
    plan = solve(week)

    week, plan = DAMAGES[words](week, plan)

    assert any(words in text for text in find_violations(week, plan))


def test_checker_follows_the_days_from_base_to_base(far_week):
    week = far_week()
    plan = solve(week)

    told = find_violations(week, replace(plan, nights=plan.nights[:1]))

    assert any("from A to depot:HUB" in text for text in told), told

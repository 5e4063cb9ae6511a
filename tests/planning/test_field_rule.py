"""Weeks with breaks, loads and homes: what the solver makes holds, and wishes beyond are named.

Places and figures are drawn by seeded dice; the independent checker is the judge.
"""

from __future__ import annotations

import random

import pytest

from fleet.domain.plan import LeftOutReason, Load, Place, RestRule
from fleet.planning.checker import find_violations
from fleet.planning.solver import solve

HOME = Place("home:T01", 0.0, 0.0)


def _drawn_week(seed, problem, site, member, *, rule, capacity):
    dice = random.Random(seed)
    codes = [f"S{number:02d}" for number in range(25)]
    sites = [
        site(
            code,
            worth=dice.uniform(1, 20),
            service_min=dice.randrange(30, 130),
            load=Load(water_ml=dice.randrange(2000, 9000), spares=dice.randrange(2)),
            persons=2 if dice.random() < 0.1 else 1,
        )
        for code in codes
    ]
    places = {code: dice.randrange(-150, 150) for code in codes}
    more = {"rest_rule": rule, "capacity": capacity, "break_min": 30}
    depot = member().start
    members = [
        member("T01", start=HOME, end=HOME, meets=depot, **more),
        member("T02", meets=depot, **more),
    ]
    return problem(sites, members, {HOME.key: 40, **places}, iterations=150)


@pytest.mark.parametrize("seed", range(6))
def test_solver_keeps_breaks_loads_and_meeting_places(seed, problem, site, member):
    rule = RestRule(15, after_driving_min=90, after_duty_min=150)
    week = _drawn_week(
        seed, problem, site, member, rule=rule, capacity=Load(water_ml=20_000, spares=2)
    )

    plan = solve(week)

    assert find_violations(week, plan) == []
    assert plan.worth > 20.0
    assert any(day.pauses for day in plan.days)


def test_rules_cost_worth_and_a_loose_rule_costs_nothing(problem, site, member):
    def worth(rule, capacity):
        week = _drawn_week(3, problem, site, member, rule=rule, capacity=capacity)
        return solve(week).worth

    free = worth(None, None)

    assert worth(RestRule(60, after_duty_min=90), Load(water_ml=9000, spares=1)) < free
    assert worth(RestRule(15, after_duty_min=1440), Load(10**9, 10**6)) == pytest.approx(free)


def test_site_that_no_vehicle_can_supply_is_named_with_what_it_needs(problem, site, member):
    van = member(capacity=Load(water_ml=20_000, spares=3))
    wet = site("A", load=Load(water_ml=25_300, spares=1), must_visit=True)

    plan = solve(problem([wet, site("B")], [van], {"A": 10, "B": 10}))

    (left,) = plan.left_out
    assert (left.reason, left.must_visit) == (LeftOutReason.NO_CAPACITY, True)
    assert left.detail == (
        "needs 26 L of water and 1 spare parts at once; the roomiest vehicle of those who could "
        "go takes 20 L and 3 spare parts"
    )
    assert [stop.site_code for day in plan.days for stop in day.stops] == ["B"]


def test_site_that_finds_no_room_in_the_van_says_so(problem, site, member):
    van = member(capacity=Load(water_ml=10_000))
    wet = [site("A", load=Load(8000), worth=9.0), site("B", load=Load(7500), worth=3.0)]

    plan = solve(problem(wet, [van], {"A": 10, "B": 10}))

    (left,) = plan.left_out
    assert left.reason is LeftOutReason.NO_ROOM
    assert (
        "with T01: 6 L more water than the vehicle carries; would fit in place of A" in left.detail
    )


def test_technicians_from_two_homes_meet_at_the_depot_for_a_pair_day(problem, site, member):
    depot = member().start
    members = [
        member("T01", start=HOME, end=HOME, meets=depot),
        member("T02", meets=depot),
    ]

    plan = solve(problem([site("A", persons=2)], members, {HOME.key: 90, "A": 20}))

    (day,) = plan.days
    assert (day.technician_codes, day.stops[0].drive_min) == (("T01", "T02"), 20)


def test_technician_starts_and_ends_at_home(problem, site, member):
    plan = solve(
        problem([site("A")], [member("T01", start=HOME, end=HOME)], {HOME.key: 90, "A": 100})
    )

    (day,) = plan.days
    assert (day.stops[0].drive_min, day.back_drive_min) == (10, 10)

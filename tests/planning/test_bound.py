"""Bounds of tiny weeks against every plan there is, and of greater ones against plans; [CALC]."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings

from fleet.domain.plan import Bound, NightBase, Place, Window
from fleet.planning.checker import find_violations
from fleet.planning.solver import solve
from tests.planning.every_plan import best_score, score, tiny_week
from tests.planning.test_solver import MONDAY, weeks


def _bounded(week, seconds=2.0):
    return replace(week, settings=replace(week.settings, bound_s=seconds))


@pytest.mark.parametrize("seed", range(8))
def test_bound_lies_between_the_best_of_all_plans_and_a_little_above_it(seed):
    week = _bounded(tiny_week(seed))
    best = best_score(week)

    bound = solve(week).bound

    assert bound.best_days >= best - 1e-6
    assert bound.best_days <= 1.1 * best


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(weeks())
def test_no_plan_is_above_its_bound(week):
    if any(candidate.must_visit for candidate in week.candidates):
        week = replace(
            week, candidates=tuple(replace(c, must_visit=False) for c in week.candidates)
        )

    plan = solve(_bounded(week, seconds=0.2))

    assert plan.bound.plan_days == pytest.approx(score(week, plan), abs=0.01)
    assert plan.bound.best_days >= plan.bound.plan_days


def test_bound_counts_the_must_visits_of_the_plan_at_their_own_worth(problem, site, member):
    sites = [
        site("RICH", worth=900.0, service_min=300),
        site("POOR", worth=1.0, service_min=300, must_visit=True),
    ]
    week = problem(sites, [member()], {"RICH": 10, "POOR": 60}, bound_s=1.0)

    bound = solve(week).bound

    assert bound.plan_days == pytest.approx(1.0 - 0.2)
    assert bound.best_days == pytest.approx(0.8, abs=1e-3)


def test_bound_is_not_computed_unless_it_is_asked_for(problem, site, member):
    assert solve(problem([site("A")], [member()], {"A": 30})).bound is None


def test_bound_of_a_week_without_a_plan_is_nothing(problem, site, member):
    bound = solve(problem([], [member()], {}, bound_s=1.0)).bound

    assert (bound.plan_days, bound.best_days, bound.gap_percent) == (0.0, 0.0, 0.0)


def test_gap_is_the_part_of_the_best_possible_that_the_plan_may_lack():
    assert Bound(98.6, 100.0, "hand").gap_percent == pytest.approx(1.4)
    assert Bound(100.0, 100.0, "hand").gap_percent == 0.0


def test_bound_counts_nights_away(problem, site, member):
    tuesday = MONDAY + timedelta(1)
    windows = {MONDAY: (Window(0, 1440),), tuesday: (Window(0, 1440),)}
    sites = [site(code, windows=windows, service_min=200) for code in ("A", "B")]
    members = [member(day=day, most_nights=1) for day in (MONDAY, tuesday)]
    inn = NightBase(Place("base:INN", 0.0, 0.0), 2.0, 1, MONDAY)
    week = problem(sites, members, {"A": 200, "B": 200, "base:INN": 200}, bound_s=1.0)

    plan = solve(replace(week, bases=(inn,)))

    assert find_violations(replace(week, bases=(inn,)), plan) == []
    assert [night.base_key for night in plan.nights] == ["base:INN"]
    assert plan.bound.plan_days == pytest.approx(20.0 - 2.0 - 0.1 * 400 / 60, abs=1e-3)
    assert plan.bound.best_days == pytest.approx(plan.bound.plan_days, rel=1e-3)

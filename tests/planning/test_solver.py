"""Plans of small weeks, against the independent checker and against figures by hand [CALC]."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.domain.plan import (
    Candidate,
    LeftOutReason,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Window,
)
from fleet.planning.checker import find_violations
from fleet.planning.distance import great_circle_travel
from fleet.planning.solver import solve

MONDAY = date(2024, 3, 4)
SKILLS = ("ladder", "tower")


def _windows(draw, days):
    spans = (
        (Window(0, 1440),),
        (Window(540, 720),),
        (Window(480, 600), Window(780, 1000)),
        (),
    )
    return {day: draw(st.sampled_from(spans)) for day in days}


@st.composite
def weeks(draw, most_sites=8, most_days=3, most_technicians=3) -> PlanProblem:
    days = [MONDAY + timedelta(n) for n in range(draw(st.integers(1, most_days)))]
    depots = [Place("depot:HUB", 10.0, 20.0), Place("lodge:EAST", 10.2, 20.4)]
    codes = [f"T{n:02d}" for n in range(1, draw(st.integers(1, most_technicians)) + 1)]
    members = tuple(
        TechnicianDay(
            technician_code=code,
            day=day,
            starts_min=draw(st.sampled_from((420, 480, 500))),
            ends_min=draw(st.sampled_from((900, 960, 1020))),
            max_driving_min=draw(st.sampled_from((120, 240, 300))),
            start=draw(st.sampled_from(depots)),
            end=depots[0],
            skills=draw(st.frozensets(st.sampled_from(SKILLS))),
            break_min=draw(st.sampled_from((0, 30))),
        )
        for day in days
        for code in codes
        if draw(st.integers(0, 4))
    )
    sites = tuple(
        Candidate(
            place=Place(
                f"S{n:02d}",
                10.0 + draw(st.integers(-60, 60)) / 100,
                20.0 + draw(st.integers(-60, 60)) / 100,
            ),
            worth=draw(st.integers(0, 400)) / 10,
            service_min=draw(st.integers(20, 120)),
            windows=_windows(draw, days),
            persons=draw(st.sampled_from((1, 1, 1, 2, 3))),
            skill=draw(st.sampled_from((None, None, *SKILLS))),
            must_visit=draw(st.booleans()),
            technician_code=draw(st.sampled_from((None, None, None, "T01", "T09"))),
        )
        for n in range(draw(st.integers(0, most_sites)))
    )
    places = [*depots, *(site.place for site in sites)]
    return PlanProblem(
        candidates=sites,
        technician_days=members,
        travel=great_circle_travel(places),
        settings=SearchSettings(seed=draw(st.integers(0, 3)), iterations=40),
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(weeks())
def test_checker_accepts_every_plan_of_the_solver_and_it_is_the_same_again(week):
    plan = solve(week)

    assert find_violations(week, plan) == []
    assert solve(week) == plan


def test_solver_plans_nothing_without_sites_or_people(problem, site, member):
    empty = solve(problem([], [member()], {}))
    nobody = solve(problem([site("A")], [], {"A": 10}))

    assert (empty.days, empty.left_out, empty.worth) == ((), (), 0.0)
    assert nobody.days == ()
    assert [left.reason for left in nobody.left_out] == [LeftOutReason.NO_CREW]


def test_solver_plans_a_single_site(problem, site, member):
    plan = solve(problem([site("A")], [member()], {"A": 30}))

    (day,) = plan.days
    assert [stop.site_code for stop in day.stops] == ["A"]
    assert (day.leave_min, day.back_min, day.driving_min, plan.worth) == (480, 600, 60, 10.0)


def test_solver_says_what_made_the_plan(problem, site, member):
    plan = solve(problem([site("A")], [member()], {"A": 30}, seed=7, iterations=20))

    assert plan.solver.startswith("PyVRP 0.14.")
    assert plan.solver.endswith("seed 7, 20 iterations, driving at 0.1 record-days an hour")


def test_must_visit_comes_before_any_worth(problem, site, member):
    sites = [
        site("RICH", worth=900.0, service_min=300),
        site("POOR", worth=0.0, service_min=300, must_visit=True),
    ]

    plan = solve(problem(sites, [member()], {"RICH": 10, "POOR": 80}))

    assert [stop.site_code for day in plan.days for stop in day.stops] == ["POOR"]
    (left,) = plan.left_out
    assert (left.site_code, left.reason) == ("RICH", LeftOutReason.NO_ROOM)


def test_as_many_must_visits_as_fit_come_before_their_worth(problem, site, member):
    sites = [
        site("LONG", worth=500.0, service_min=400, must_visit=True),
        site("A", worth=1.0, service_min=180, must_visit=True),
        site("B", worth=1.0, service_min=180, must_visit=True),
    ]

    plan = solve(problem(sites, [member()], {"LONG": 10, "A": 10, "B": 10}))

    assert sorted(stop.site_code for day in plan.days for stop in day.stops) == ["A", "B"]


def test_impossible_wishes_are_named_and_the_rest_is_planned(problem, site, member):
    sites = [
        site("FAR", must_visit=True),
        site("SHUT", must_visit=True, windows={}),
        site("TOWER", must_visit=True, skill="tower"),
        site("PAIR", must_visit=True, persons=2),
        site("AWAY", must_visit=True, technician_code="T09"),
        site("NEAR"),
    ]
    positions = {site.place.key: 20 for site in sites}

    plan = solve(problem(sites, [member()], {**positions, "FAR": 400}))

    assert [stop.site_code for day in plan.days for stop in day.stops] == ["NEAR"]
    assert {left.site_code: left.reason for left in plan.left_out} == {
        "FAR": LeftOutReason.TOO_FAR,
        "SHUT": LeftOutReason.CLOSED,
        "TOWER": LeftOutReason.NO_SKILL,
        "PAIR": LeftOutReason.NO_CREW,
        "AWAY": LeftOutReason.TECHNICIAN_AWAY,
    }
    assert all(left.must_visit for left in plan.left_out)


def test_site_that_is_not_worth_the_drive_is_left_out_openly(problem, site, member):
    sites = [site("A", worth=0.2), site("B", worth=0.2)]
    week = problem(sites, [member()], {"A": 30, "B": 120}, drive_price_days_per_h=0.1)

    plan = solve(week)

    assert [stop.site_code for day in plan.days for stop in day.stops] == ["A"]
    (left,) = plan.left_out
    assert left.reason is LeftOutReason.NOT_WORTH_DRIVE
    assert left.detail == (
        "would add 180 min of driving and lengthen the day by 240 min on Mon 2024-03-04 with "
        "T01, and buys 0.20 record-days; at 0.1 record-days an hour of driving it would have "
        "to buy 0.30"
    )
    assert (left.extra_min, left.over_min) == (240, 0)


def test_without_a_price_of_driving_all_worth_that_fits_is_collected(problem, site, member):
    sites = [site("A", worth=0.001), site("B", worth=300.0), site("ZERO", worth=0.0)]
    positions = {"A": 140, "B": 10, "ZERO": 50}

    plan = solve(problem(sites, [member()], positions, drive_price_days_per_h=0.0))

    assert sorted(stop.site_code for day in plan.days for stop in day.stops) == ["A", "B"]
    assert plan.days[0].driving_min == 280


def test_left_out_site_tells_the_cheapest_way_to_add_it(problem, site, member):
    sites = [
        site("A", worth=50.0, service_min=200),
        site("B", worth=50.0, service_min=200),
        site("C", worth=1.0, service_min=50),
    ]

    plan = solve(problem(sites, [member()], {"A": 20, "B": 20, "C": 25}))

    (left,) = plan.left_out
    assert (left.site_code, left.reason) == ("C", LeftOutReason.NO_ROOM)
    assert left.detail == (
        "would add 10 min of driving and lengthen the day by 60 min on Mon 2024-03-04 with T01: "
        "20 min over the shift of 480 min; "
        "would fit in place of A on Mon 2024-03-04 with T01, worth 50.00 record-days against 1.00, "
        "with 10 min more driving"
    )
    assert (left.day, left.technician_codes) == (MONDAY, ("T01",))
    assert (left.extra_min, left.over_min) == (60, 20)


def test_two_go_together_where_that_is_worth_both_their_days(problem, site, member):
    sites = [
        site("PAIR", worth=100.0, persons=2, service_min=300),
        site("A", worth=5.0, service_min=300),
        site("B", worth=5.0, service_min=300),
    ]
    members = [member("T01"), member("T02")]

    plan = solve(problem(sites, members, {"PAIR": 20, "A": 20, "B": 20}))

    assert [day.technician_codes for day in plan.days] == [("T01", "T02")]
    assert [stop.site_code for stop in plan.days[0].stops] == ["PAIR"]


def test_two_do_not_go_together_where_that_costs_more_than_it_buys(problem, site, member):
    sites = [
        site("PAIR", worth=9.0, persons=2, service_min=300),
        site("A", worth=5.0, service_min=300),
        site("B", worth=5.0, service_min=300),
    ]
    members = [member("T01"), member("T02")]

    plan = solve(problem(sites, members, {"PAIR": 20, "A": 20, "B": 20}))

    assert [day.technician_codes for day in plan.days] == [("T01",), ("T02",)]
    (left,) = plan.left_out
    assert left.detail == (
        "would take 340 min on Mon 2024-03-04 with T01 and T02, in place of the 2 stops "
        "planned there, worth 10.00 record-days against 9.00"
    )
    assert (left.extra_min, left.over_min) == (340, None)


def test_two_pairs_go_out_on_one_day_where_both_are_needed(problem, site, member):
    sites = [
        site(code, worth=1.0, persons=2, service_min=400, must_visit=True)
        for code in ("EAST", "WEST")
    ]
    members = [member(code) for code in ("T01", "T02", "T03", "T04")]

    plan = solve(problem(sites, members, {"EAST": 30, "WEST": 30}))

    assert [day.technician_codes for day in plan.days] == [("T01", "T02"), ("T03", "T04")]
    assert plan.left_out == ()


def test_three_go_together_where_a_site_asks_for_three(problem, site, member):
    members = [member(code) for code in ("T01", "T02", "T03")]

    plan = solve(problem([site("CRANE", persons=3)], members, {"CRANE": 30}))

    assert [day.technician_codes for day in plan.days] == [("T01", "T02", "T03")]


def test_day_may_end_elsewhere_than_it_starts(problem, site, member):
    lodge = Place("lodge:EAST", 0.0, 0.0)
    tuesday = MONDAY + timedelta(1)
    open_both = {MONDAY: (Window(0, 1440),), tuesday: (Window(0, 1440),)}
    members = [member(end=lodge), member(day=tuesday, start=lodge)]
    sites = [site(code, windows=open_both, service_min=120) for code in ("A", "B")]
    positions = {"A": 150, "B": 170, "lodge:EAST": 160}

    plan = solve(problem(sites, members, positions))

    assert plan.left_out == ()
    assert find_violations(problem(sites, members, positions), plan) == []


@pytest.mark.parametrize("seed", range(4))
def test_plan_of_any_seed_holds_and_is_the_same_over_two_processes(problem, site, member, seed):
    sites = [site(f"S{n:02d}", worth=1.0 + n % 7, service_min=20 + n) for n in range(40)]
    week = problem(
        sites,
        [member("T01"), member("T02")],
        {f"S{n:02d}": 37 * n % 140 for n in range(40)},
        iterations=20,
        seed=seed,
    )

    plan = solve(week)

    assert find_violations(week, plan) == []
    if seed == 0:
        assert solve(week, processes=2) == plan


def test_clock_that_ends_the_search_is_told_in_the_plan(problem, site, member):
    week = problem([site("A")], [member()], {"A": 30}, seconds=0.5)

    plan = solve(week)

    assert plan.worth == 10.0
    assert "stopped by the clock after 0.5 s (another run may differ)" in plan.solver


def test_solver_needs_at_least_one_process(problem, site, member):
    with pytest.raises(ValueError, match="0 processes, at least 1 is expected"):
        solve(problem([site("A")], [member()], {"A": 30}), processes=0)


def test_solver_refuses_a_problem_that_contradicts_itself(problem, site, member):
    with pytest.raises(ValueError, match="no travel times for A"):
        solve(problem([site("A")], [member()], {}))

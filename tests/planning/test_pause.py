"""Breaks of a rest rule laid into a day. Expected minutes are counted by hand [CALC].

The limits are invented; no number stands for any law.
"""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.plan import Load, Pause, Plan, RestRule, Window
from fleet.planning.checker import find_violations
from fleet.planning.crew import solo_crews
from fleet.planning.thin import thin_out
from fleet.planning.timeline import Route, Visit, plan_day, time_route

ALL_DAY = Window(0, 1440)


def route(member, *sites):
    (crew,) = solo_crews([member])
    return Route(crew, tuple(Visit(candidate, candidate_window(candidate)) for candidate in sites))


def candidate_window(candidate):
    return next(iter(candidate.windows.values()))[0]


def times(day):
    return [(s.arrive_min, s.start_min, s.depart_min) for s in day.stops]


def test_break_is_taken_before_the_drive_that_would_be_too_long(site, member, problem):
    ruled = member(rest_rule=RestRule(20, after_driving_min=100))
    week = problem([site("A"), site("B")], [ruled], {"A": 80, "B": 120})

    day = plan_day(route(ruled, site("A"), site("B")), week.travel)

    # 480 + 80; A 560-620; break 620-640 for 40 more make 120; B 680-740; 120 back: anew on the way
    assert times(day) == [(560, 560, 620), (680, 680, 740)]
    assert day.pauses == (Pause(620, 20), Pause(800, 20))
    assert day.back_min == 880


def test_break_is_taken_on_the_way_where_a_drive_alone_is_too_long(site, member, problem):
    ruled = member(ends_min=1100, rest_rule=RestRule(45, after_driving_min=90))
    week = problem([site("A")], [ruled], {"A": 200})

    day = plan_day(route(ruled, site("A")), week.travel)

    # 90, break, 90, break, 20; work; 70, break, 90, break, 40
    assert day.pauses == (Pause(570, 45), Pause(705, 45), Pause(900, 45), Pause(1035, 45))
    assert times(day) == [(770, 770, 830)]
    assert day.back_min == 1120


def test_break_is_taken_on_arrival_where_the_work_would_be_too_long(site, member, problem):
    ruled = member(rest_rule=RestRule(15, after_duty_min=150))
    week = problem([site("A", service_min=120)], [ruled], {"A": 40})

    day = plan_day(route(ruled, site("A", service_min=120)), week.travel)

    # 40 + 120 are more than 150: break at the gate 520-535; 120 + 40 likewise: break before driving
    assert day.pauses == (Pause(520, 15), Pause(655, 15))
    assert times(day) == [(520, 535, 655)]
    assert day.back_min == 710


def test_waiting_at_the_gate_is_used_for_the_break(site, member, problem, monday):
    ruled = member(rest_rule=RestRule(15, after_duty_min=150))
    early = site("A", windows={monday: (Window(480, 600),)}, service_min=60)
    late = site("B", windows={monday: (Window(640, 800),)}, service_min=60)
    week = problem([early, late], [ruled], {"A": 20, "B": 40})

    day = plan_day(route(ruled, early, late), week.travel)

    assert times(day)[1] == (day.stops[1].arrive_min, 640, 700)
    assert day.back_min == 740 + (15 if day.pauses[-1].starts_min >= 700 else 0)
    assert find_violations(week, _plan(week, day)) == []


def test_work_longer_than_the_limit_is_broken_off(site, member, problem):
    ruled = member(ends_min=1000, rest_rule=RestRule(15, after_duty_min=100))
    long = site("A", service_min=250)
    week = problem([long], [ruled], {"A": 0})

    day = plan_day(route(ruled, long), week.travel)

    assert day.pauses == (Pause(580, 15), Pause(695, 15))
    assert times(day) == [(480, 480, 760)]
    assert find_violations(week, _plan(week, day)) == []


def test_rest_of_the_day_is_one_of_the_breaks_and_no_shorter(site, member, problem):
    ruled = member(break_min=30, rest_rule=RestRule(10, after_duty_min=100))
    week = problem([site("A"), site("B")], [ruled], {"A": 60, "B": 90})

    day = plan_day(route(ruled, site("A"), site("B")), week.travel)

    breaks = sorted(
        [(day.rest_at_min, day.rest_min), *((p.starts_min, p.minutes) for p in day.pauses)]
    )
    assert [minutes for _, minutes in breaks].count(30) == 1
    assert {minutes for _, minutes in breaks} == {10, 30}
    middle = min(breaks, key=lambda one: abs(one[0] - 720))
    assert middle[1] == 30
    assert find_violations(week, _plan(week, day)) == []


def test_rest_is_as_long_as_a_break_where_the_rule_asks_for_more(site, member, problem):
    ruled = member(break_min=20, rest_rule=RestRule(30, after_duty_min=400))
    week = problem([site("A")], [ruled], {"A": 60})

    day = plan_day(route(ruled, site("A")), week.travel)

    assert (day.rest_min, day.rest_at_min, day.pauses) == (30, 600, ())


def test_breaks_lengthen_the_shift_that_a_route_takes(site, member, problem):
    ruled = member(ends_min=760, rest_rule=RestRule(30, after_driving_min=60))
    week = problem([site("A")], [ruled], {"A": 100})

    timing = time_route(route(ruled, site("A")), week.travel)

    # 480 + 100 + 30; 610-670; 100 + 30 (20 driven before: 80 left would be 100): back 800
    assert timing.back_min - timing.leave_min == 100 + 30 + 60 + 60 + 100
    assert timing.over_shift_min == 480 + 350 - 760


def test_load_that_the_vehicle_does_not_take_keeps_a_day_from_holding(site, member, problem):
    van = member(capacity=Load(water_ml=9000, spares=1))
    wet = [site(code, load=Load(water_ml=5000, spares=1)) for code in "AB"]
    week = problem(wet, [van], {"A": 10, "B": 20})

    timing = time_route(route(van, *wet), week.travel)

    assert (timing.over_min, timing.over_load) == (0, Load(water_ml=1000, spares=1))
    assert not timing.holds


def test_thinning_takes_out_the_least_prize_that_mends_the_day(site, member, problem):
    from fleet.planning.price import set_prices

    van = member(capacity=Load(water_ml=9000))
    wet = [
        site("A", load=Load(5000), worth=9.0),
        site("B", load=Load(4000), worth=2.0),
        site("C", load=Load(1000), worth=1.0),
    ]
    week = problem(wet, [van], {"A": 10, "B": 20, "C": 30})

    (kept,) = thin_out([route(van, *wet)], week.travel, set_prices(week))

    assert [visit.key for visit in kept.visits] == ["A", "B"]


def test_thinning_drops_a_day_that_cannot_hold_at_all(site, member, problem):
    from fleet.planning.price import set_prices

    week = problem([site("A")], [member()], {"A": 500})

    assert thin_out([route(member(), site("A"))], week.travel, set_prices(week)) == []


def _plan(week, day):
    worths = {c.place.key: c.worth for c in week.candidates}
    return Plan((day,), (), sum(worths[s.site_code] for s in day.stops), "by hand")


limits = st.one_of(st.none(), st.integers(20, 240))


@given(
    drives=st.lists(st.integers(0, 200), min_size=1, max_size=6),
    services=st.lists(st.integers(1, 200), min_size=6, max_size=6),
    opens=st.lists(st.integers(0, 900), min_size=6, max_size=6),
    rest=st.sampled_from([0, 20, 45]),
    rule=st.builds(RestRule, st.integers(5, 60), after_driving_min=limits, after_duty_min=limits),
)
def test_checker_finds_no_fault_in_the_breaks_of_any_day(
    drives, services, opens, rest, rule, *, problem, site, member, monday
):
    ruled = member(
        starts_min=0, ends_min=9000, max_driving_min=9000, break_min=rest, rest_rule=rule
    )
    sites = [
        site(
            f"S{number}",
            service_min=services[number],
            windows={monday: (Window(opens[number], 9000),)},
        )
        for number in range(len(drives))
    ]
    positions = {f"S{number}": place for number, place in enumerate(drives)}
    week = problem(sites, [ruled], positions)

    day = plan_day(route(ruled, *sites), week.travel)

    assert find_violations(week, _plan(week, day)) == []
    assert find_violations(week, replace(_plan(week, day), worth=-1.0)) != []

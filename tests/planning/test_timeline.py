"""The clock of a day. Expected minutes are counted by hand [CALC]."""

from __future__ import annotations

from fleet.domain.plan import Window
from fleet.planning.crew import solo_crews
from fleet.planning.timeline import Route, Visit, plan_day, time_route


def _route(member, *visits):
    (crew,) = solo_crews([member])
    return Route(crew, tuple(Visit(candidate, window) for candidate, window in visits))


def test_time_route_leaves_late_enough_not_to_wait(site, member, problem):
    week = problem([site("A")], [member()], {"A": 30})

    timing = time_route(_route(member(), (site("A"), Window(600, 700))), week.travel)

    assert (timing.leave_min, timing.starts_min, timing.back_min) == (570, (600,), 690)
    assert timing.over_min == 0


def test_time_route_waits_where_leaving_later_would_miss_a_window(site, member, problem):
    week = problem([site("A"), site("B")], [member()], {"A": 30, "B": 40})
    early, late = (site("A"), Window(480, 600)), (site("B"), Window(700, 800))

    timing = time_route(_route(member(), early, late), week.travel)

    assert (timing.leave_min, timing.starts_min, timing.back_min) == (510, (540, 700), 800)


def test_time_route_counts_what_each_limit_is_exceeded_by(site, member, problem):
    week = problem([site("A")], [member()], {"A": 200})
    short = member(ends_min=900, max_driving_min=350, break_min=30)

    timing = time_route(_route(short, (site("A"), Window(0, 730))), week.travel)

    assert timing.driving_min == 400
    assert timing.over_driving_min == 50
    assert timing.over_shift_min == 70  # 460 min away, 420 - 30 min to use
    assert timing.late_min == 10  # work may begin at 670, the crew arrives at 680
    assert timing.over_min == 70


def test_time_route_of_an_idle_day_drives_nowhere(member, problem):
    week = problem([], [member()], {})

    timing = time_route(_route(member()), week.travel)

    assert (timing.driving_min, timing.length_min, timing.over_min) == (0, 0, 0)


def test_plan_day_places_the_rest_nearest_to_mid_shift(site, member, problem):
    week = problem([site("A"), site("B"), site("C")], [member()], {"A": 60, "B": 90, "C": 60})
    rested = member(break_min=30)
    open_all_day = Window(0, 1440)
    visits = [(site(code), open_all_day) for code in "ABC"]

    day = plan_day(_route(rested, *visits), week.travel)

    # 480 + 60 drive; A 540-600; 30 drive; B 630-690; rest 690-720; 30 drive; C 750-810; back 870
    assert day.rest_at_min == 690
    assert [(s.arrive_min, s.start_min, s.depart_min) for s in day.stops] == [
        (540, 540, 600),
        (630, 630, 690),
        (750, 750, 810),
    ]
    assert (day.back_drive_min, day.back_min, day.rest_min) == (60, 870, 30)
    assert (day.driving_min, day.driving_km) == (180, 180.0)


def test_plan_day_takes_the_rest_while_it_would_wait_anyway(site, member, problem):
    week = problem([site("A"), site("B")], [member()], {"A": 0, "B": 0})
    rested = member(break_min=30)
    visits = [(site("A"), Window(480, 540)), (site("B"), Window(700, 800))]

    day = plan_day(_route(rested, *visits), week.travel)

    assert day.rest_at_min == 760  # after B, nearer to mid-shift at 720 than after A at 540
    assert day.back_min == 790


def test_plan_day_leaves_the_rest_to_the_shift_where_windows_allow_none(site, member, problem):
    week = problem([site("A"), site("B")], [member()], {"A": 100, "B": 120})
    rested = member(ends_min=980, break_min=30)
    visits = [(site("A"), Window(700, 760)), (site("B"), Window(780, 840))]

    day = plan_day(_route(rested, *visits), week.travel)

    # between A and B there is only the drive; after B 840 + 30 + 120 = 990 is past the shift
    assert day.rest_at_min is None
    assert day.rest_min == 30
    assert (day.leave_min, day.back_min) == (600, 960)

"""The independent checker: a plan written by hand is accepted, each kind of damage is found.

The plan and all its minutes are counted by hand [CALC]; no code that makes plans is used.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fleet.domain.plan import (
    DayPlan,
    LeftOut,
    LeftOutReason,
    Load,
    Pause,
    Place,
    Plan,
    PlannedStop,
    RestRule,
    Window,
)
from fleet.errors import InfeasibleError
from fleet.planning.checker import find_violations, require_sound

TUESDAY = date(2024, 3, 5)


@pytest.fixture
def week(problem, site, member, monday):
    """Two technicians; together on Monday, the first alone on Tuesday, one site left out."""
    tuesday = {TUESDAY: (Window(480, 700), Window(800, 960))}
    sites = [
        site("A", worth=5.0, persons=2, skill="tower"),
        site("B", worth=7.0, technician_code="T02"),
        site("C", worth=2.5, windows=tuesday, service_min=50),
        site("D", worth=1.0, must_visit=True, windows={}),
    ]
    skilled = frozenset({"tower"})
    members = [
        member("T01", break_min=30, skills=skilled),
        member("T02", break_min=20, starts_min=490),
        member("T01", day=TUESDAY, break_min=30),
    ]
    return problem(sites, members, {"A": 40, "B": 60, "C": 100, "D": 10})


@pytest.fixture
def plan(monday):
    together = DayPlan(
        technician_codes=("T01", "T02"),
        day=monday,
        leave_min=500,
        stops=(
            PlannedStop("A", 40, 40.0, arrive_min=540, start_min=540, depart_min=600),
            PlannedStop("B", 20, 20.0, arrive_min=650, start_min=650, depart_min=710),
        ),
        back_drive_min=60,
        back_drive_km=60.0,
        back_min=770,
        rest_min=30,
        rest_at_min=600,
    )
    alone = DayPlan(
        technician_codes=("T01",),
        day=TUESDAY,
        leave_min=560,
        stops=(PlannedStop("C", 100, 100.0, arrive_min=660, start_min=800, depart_min=850),),
        back_drive_min=100,
        back_drive_km=100.0,
        back_min=950,
        rest_min=30,
    )
    left = LeftOut("D", LeftOutReason.CLOSED, "no access window", must_visit=True)
    return Plan(days=(together, alone), left_out=(left,), worth=14.5, solver="by hand")


def _day(plan, index, **change):
    days = list(plan.days)
    days[index] = replace(days[index], **change)
    return replace(plan, days=tuple(days))


def _stop(plan, index, stop, **change):
    stops = list(plan.days[index].stops)
    stops[stop] = replace(stops[stop], **change)
    return _day(plan, index, stops=tuple(stops))


def test_checker_accepts_a_sound_plan(week, plan):
    assert find_violations(week, plan) == []
    require_sound(week, plan)


def test_checker_accepts_an_empty_plan_of_an_empty_week(problem):
    assert find_violations(problem([], [], {}), Plan((), (), 0.0, "by hand")) == []


DAMAGES = {
    "leaves before the shift": (
        lambda p: _stop(_day(p, 0, leave_min=480), 0, 0, arrive_min=520),
        ["2024-03-04 T01+T02: leaves at 480, the shift starts at 490 min"],
    ),
    "drives faster than the matrix": (
        lambda p: _stop(p, 0, 0, drive_min=30, arrive_min=530),
        ["2024-03-04 T01+T02: 30 min, 40.0 km from depot:HUB to A, not 40 min, 40.0 km"],
    ),
    "tells a shorter way": (
        lambda p: _day(p, 0, back_drive_km=50.0),
        ["2024-03-04 T01+T02: 60 min, 50.0 km from B to depot:HUB, not 60 min, 60.0 km"],
    ),
    "arrives too soon": (
        lambda p: _stop(p, 1, 0, arrive_min=650),
        ["2024-03-05 T01: arrives at C at 650, not 660"],
    ),
    "works before arriving": (
        lambda p: _day(_stop(p, 1, 0, start_min=650, depart_min=700), 1, back_min=800),
        ["2024-03-05 T01: works at C from 650, before arriving"],
    ),
    "works too short": (
        lambda p: _stop(p, 1, 0, start_min=810),
        ["2024-03-05 T01: site C: 40 min of work, 50 min are needed"],
    ),
    "works between the windows": (
        lambda p: _day(
            _stop(p, 1, 0, start_min=720, depart_min=770),
            1,
            back_min=870,
        ),
        ["2024-03-05 T01: site C: work from 720 to 770 is outside the access windows"],
    ),
    "comes back too soon": (
        lambda p: _day(p, 1, back_min=940),
        ["2024-03-05 T01: back at 940, not 950"],
    ),
    "takes no rest": (
        lambda p: _day(p, 1, rest_min=0),
        ["2024-03-05 T01: rest of 0 min, 30 min are due"],
    ),
    "rests while driving": (
        lambda p: _day(p, 0, rest_at_min=620),
        [
            "2024-03-04 T01+T02: arrives at B at 650, not 620",
            "2024-03-04 T01+T02: the rest at 620 does not fit into the day",
        ],
    ),
    "misses a second person": (
        lambda p: _day(p, 0, technician_codes=("T01",)),
        [
            "2024-03-04 T01: site A: only 1 of 2 persons",
            "2024-03-04 T01: site B: fixed to technician T02, who is not there",
        ],
    ),
    "sends somebody who is away": (
        lambda p: _day(p, 1, technician_codes=("T02",)),
        ["2024-03-05 T02: a technician does not work that day"],
    ),
    "sends nobody": (
        lambda p: _day(p, 1, technician_codes=()),
        ["2024-03-05 : a technician does not work that day"],
    ),
    "visits a site twice": (
        lambda p: replace(p, days=(*p.days, replace(p.days[1], stops=p.days[1].stops))),
        [
            "2024-03-05: technician T01 is in 2 crews",
            "site C: planned 2 times, left out 0 times",
            "the plan says a worth of 14.5, its stops make 17.0",
        ],
    ),
    "drops a site without a word": (
        lambda p: replace(p, left_out=()),
        ["site D: planned 0 times, left out 0 times"],
    ),
    "leaves out what it visits": (
        lambda p: replace(p, left_out=(*p.left_out, LeftOut("A", LeftOutReason.NO_ROOM, "full"))),
        ["site A: planned 1 times, left out 1 times"],
    ),
    "leaves out a site that nobody asked for": (
        lambda p: replace(p, left_out=(*p.left_out, LeftOut("Z", LeftOutReason.NO_ROOM, "full"))),
        ["site Z is left out but not a candidate"],
    ),
    "hides that a site must be visited": (
        lambda p: replace(p, left_out=(replace(p.left_out[0], must_visit=False),)),
        ["site D: whether it must be visited is told wrongly"],
    ),
    "boasts of its worth": (
        lambda p: replace(p, worth=15.5),
        ["the plan says a worth of 15.5, its stops make 14.5"],
    ),
    "sends a crew nowhere": (
        lambda p: replace(p, days=(p.days[0], replace(p.days[1], stops=()))),
        [
            "2024-03-05 T01: no stop",
            "site C: planned 0 times, left out 0 times",
            "the plan says a worth of 14.5, its stops make 12.0",
        ],
    ),
    "mixes up the days": (
        lambda p: replace(p, days=(p.days[1], p.days[0])),
        ["the days are not in order of day and technicians"],
    ),
    "visits an unknown site": (
        lambda p: _stop(p, 1, 0, site_code="Z"),
        [
            "2024-03-05 T01: no travel time from depot:HUB to Z",
            "2024-03-05 T01: no travel time from Z to depot:HUB",
            "2024-03-05 T01: site Z is not a candidate",
            "site C: planned 0 times, left out 0 times",
            "the plan says a worth of 14.5, its stops make 12.0",
        ],
    ),
}


@pytest.mark.parametrize("kind", DAMAGES)
def test_checker_finds_the_damage_and_nothing_else(week, plan, kind):
    damage, expected = DAMAGES[kind]

    assert find_violations(week, damage(plan)) == expected


LIMITS = {
    "driving limit": (
        {"max_driving_min": 119},
        ["2024-03-04 T01+T02: 120 min of driving, the limit is 119 min"],
    ),
    "end of the shift": (
        {"ends_min": 769},
        ["2024-03-04 T01+T02: back at 770, the shift ends at 769 min"],
    ),
    "skill": (
        {"skills": frozenset()},
        ["2024-03-04 T01+T02: site A: nobody holds the skill tower"],
    ),
    "meeting place": (
        {"start": Place("home:T01", 0.0, 0.0)},
        ["2024-03-04 T01+T02: the technicians do not start and end at the same places"],
    ),
    "break after driving": (
        {"rest_rule": RestRule(30, after_driving_min=79)},
        ["2024-03-04 T01+T02: 80 min of driving without a break until 770, the limit is 79 min"],
    ),
    "break after duty": (
        {"rest_rule": RestRule(30, after_duty_min=139)},
        ["2024-03-04 T01+T02: 140 min of duty without a break until 770, the limit is 139 min"],
    ),
    "break that is too short to count": (
        {"rest_rule": RestRule(31, after_driving_min=119)},
        [
            "2024-03-04 T01+T02: rest of 30 min, 31 min are due",
        ],
    ),
    "vehicles": (
        {"capacity": Load(water_ml=100)},
        ["2024-03-04 T01+T02: no vehicle of the crew takes 200 mL of water and 0 spare parts"],
    ),
}


@pytest.mark.parametrize("kind", LIMITS)
def test_checker_holds_each_member_to_the_limit(week, plan, kind):
    limit, expected = LIMITS[kind]
    changed = replace(week.technician_days[0], **limit)
    other = replace(week.technician_days[1], capacity=Load(water_ml=150))
    sites = tuple(replace(site, load=Load(water_ml=100)) for site in week.candidates)
    days = (changed, other, *week.technician_days[2:])
    tighter = replace(week, technician_days=days, candidates=sites)

    assert expected[0] in find_violations(tighter, plan)


def test_checker_finds_a_day_too_long_for_its_rest(week, plan):
    shorter = replace(week.technician_days[2], starts_min=550, ends_min=960)
    tighter = replace(week, technician_days=(*week.technician_days[:2], shorter))
    longer = _stop(_day(plan, 1, leave_min=550), 1, 0, arrive_min=650)

    assert find_violations(tighter, longer) == [
        "2024-03-05 T01: 400 min away leave no rest of 30 min in a shift of 410 min"
    ]


@pytest.fixture
def ruled(problem, site, member):
    """One day with a break on the way, one at the gate, and one within a long work."""
    rule = RestRule(15, after_driving_min=100, after_duty_min=200)
    sites = [site("A", service_min=60), site("B", service_min=260)]
    return problem(sites, [member(ends_min=1100, rest_rule=rule)], {"A": 120, "B": 150})


@pytest.fixture
def broken_off(monday):
    day = DayPlan(
        technician_codes=("T01",),
        day=monday,
        leave_min=480,
        stops=(
            PlannedStop("A", 120, 120.0, arrive_min=615, start_min=615, depart_min=675),
            PlannedStop("B", 30, 30.0, arrive_min=705, start_min=720, depart_min=995),
        ),
        back_drive_min=150,
        back_drive_km=150.0,
        back_min=1160,
        pauses=(Pause(580, 15), Pause(705, 15), Pause(920, 15), Pause(1095, 15)),
    )
    return Plan(days=(day,), left_out=(), worth=20.0, solver="by hand")


def test_checker_follows_breaks_on_the_way_at_the_gate_and_within_a_long_work(ruled, broken_off):
    later = replace(ruled.technician_days[0], ends_min=1160)

    assert find_violations(replace(ruled, technician_days=(later,)), broken_off) == []


BROKEN = {
    "leaves out the break on the way": (
        lambda p: _stop(
            _day(p, 0, leave_min=495, pauses=p.days[0].pauses[1:]), 0, 0, arrive_min=615
        ),
        "150 min of driving without a break until 705, the limit is 100 min",
    ),
    "leaves out the break at the gate": (
        lambda p: _day(p, 0, pauses=(p.days[0].pauses[0], *p.days[0].pauses[2:])),
        "325 min of duty without a break until 920, the limit is 200 min",
    ),
    "works on where the break was": (
        lambda p: _day(p, 0, pauses=(*p.days[0].pauses[:2], p.days[0].pauses[3])),
        "site B: 275 min of work, 260 min are needed",
    ),
    "rests when work has begun": (
        lambda p: _day(p, 0, pauses=(*p.days[0].pauses[:1], Pause(715, 15))),
        "works at B from 720, before the rest there is over",
    ),
    "breaks off for too short": (
        lambda p: _day(p, 0, back_min=1159, pauses=(*p.days[0].pauses[:3], Pause(1095, 14))),
        "150 min of driving without a break until 1159, the limit is 100 min",
    ),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_checker_finds_the_break_that_is_missing(ruled, broken_off, kind):
    damage, expected = BROKEN[kind]

    assert f"2024-03-04 T01: {expected}" in find_violations(ruled, damage(broken_off))


def test_checker_refuses_a_break_within_a_work_that_can_be_done_in_one_go(ruled, broken_off):
    longer = replace(ruled.technician_days[0].rest_rule, after_duty_min=260)
    member = replace(ruled.technician_days[0], ends_min=1160, rest_rule=longer)

    assert find_violations(replace(ruled, technician_days=(member,)), broken_off) == [
        "2024-03-04 T01: site B: a break within a work that can be done without one"
    ]


def test_checker_lets_a_crew_meet_where_its_members_say(week, plan, depot):
    home = Place("home:T01", 0.0, 0.0)
    first = replace(week.technician_days[0], start=home, end=home, meets=depot)
    second = replace(week.technician_days[1], meets=depot)
    meeting = replace(week, technician_days=(first, second, *week.technician_days[2:]))

    assert find_violations(meeting, plan) == []


def test_require_sound_refuses_with_every_violation(week, plan):
    broken = replace(_day(plan, 1, rest_min=0), worth=0.0)

    with pytest.raises(InfeasibleError, match="2 limits or facts are not kept") as caught:
        require_sound(week, broken)

    assert "rest of 0 min, 30 min are due" in str(caught.value)
    assert "a worth of 0.0" in str(caught.value)

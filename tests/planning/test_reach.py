"""Sites out of reach, each with its reason and figures. Minutes are counted by hand [CALC]."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.plan import LeftOutReason, Window
from fleet.planning.crew import possible_crews
from fleet.planning.reach import out_of_reach


def _refusal(problem, candidate, members, position=60):
    week = problem([candidate], members, {candidate.place.key: position})
    crews = possible_crews(week.technician_days, week.candidates)
    return out_of_reach(candidate, crews, week.travel)


def test_site_within_reach_is_not_refused(problem, site, member):
    assert _refusal(problem, site("A"), [member()]) is None


def test_site_whose_window_is_just_as_long_as_the_work_is_within_reach(
    problem, site, member, monday
):
    window = {monday: (Window(600, 660),)}

    assert _refusal(problem, site("A", windows=window), [member()]) is None


def test_site_is_refused_when_nobody_works(problem, site):
    left = _refusal(problem, site("A", must_visit=True), [])

    assert left.reason is LeftOutReason.NO_CREW
    assert left.detail == "nobody works this week"
    assert left.must_visit


@pytest.mark.parametrize("windows", [{}, {date(2024, 3, 4): ()}])
def test_site_without_a_window_is_closed(problem, site, member, windows):
    left = _refusal(problem, site("A", windows=windows), [member()])

    assert left.reason is LeftOutReason.CLOSED
    assert left.detail == "no access window on any day of the week"


def test_site_open_only_when_nobody_works_is_closed(problem, site, member):
    sunday = {date(2024, 3, 10): (Window(480, 960),)}

    left = _refusal(problem, site("A", windows=sunday), [member()])

    assert left.reason is LeftOutReason.CLOSED
    assert left.detail == "open only on Sun 2024-03-10, when nobody who could do it works"


def test_site_whose_windows_are_shorter_than_the_work_is_closed(problem, site, member, monday):
    short = {monday: (Window(480, 520), Window(600, 655))}

    left = _refusal(problem, site("A", windows=short), [member()])

    assert left.reason is LeftOutReason.CLOSED
    assert left.detail == "the work takes 60 min, the longest access window 55 min"


def test_site_fixed_to_somebody_who_is_away_is_refused(problem, site, member):
    left = _refusal(problem, site("A", technician_code="T09"), [member()])

    assert left.reason is LeftOutReason.TECHNICIAN_AWAY
    assert left.detail == "fixed to T09, who does not work this week"


def test_site_that_needs_more_persons_than_can_meet_is_refused(problem, site, member):
    apart = [member("T01"), member("T02", day=date(2024, 3, 5))]

    left = _refusal(problem, site("A", persons=2), apart)

    assert left.reason is LeftOutReason.NO_CREW
    assert left.detail == ("needs 2 persons; on no day can so many leave together from one place")


@pytest.mark.parametrize(
    ("wish", "detail"),
    [
        ({}, "nobody at work this week holds the skill 'tower'"),
        (
            {"technician_code": "T01"},
            "T01, to whom it is fixed, does not hold the skill 'tower'",
        ),
        ({"persons": 2}, "no 2 persons who can go together hold the skill 'tower'"),
    ],
)
def test_site_whose_skill_nobody_holds_is_refused(problem, site, member, wish, detail):
    left = _refusal(problem, site("A", skill="tower", **wish), [member("T01"), member("T02")])

    assert left.reason is LeftOutReason.NO_SKILL
    assert left.detail == detail


def test_site_beyond_the_driving_limit_is_too_far_with_the_kindest_day(problem, site, member):
    longer = member("T02", max_driving_min=340)

    left = _refusal(problem, site("A"), [member(), longer], position=190)

    assert left.reason is LeftOutReason.TOO_FAR
    assert left.detail == (
        "as the only stop on Mon 2024-03-04 with T02: 190 min out, 60 min work, 190 min back; "
        "40 min over the driving limit of 340 min"
    )
    assert (left.day, left.technician_codes) == (date(2024, 3, 4), ("T02",))
    assert (left.extra_min, left.over_min) == (440, 40)


def test_site_beyond_the_shift_is_too_far_with_the_rest_taken_off(problem, site, member):
    tired = member(max_driving_min=600, break_min=30)

    left = _refusal(problem, site("A"), [tired], position=205)

    assert left.reason is LeftOutReason.TOO_FAR
    assert left.detail.endswith("20 min over the shift of 450 min (rest of 30 min taken off)")


def test_site_that_closes_before_anybody_arrives_is_too_far(problem, site, member, monday):
    early = {monday: (Window(300, 590),)}

    left = _refusal(problem, site("A", windows=early), [member()])

    assert left.reason is LeftOutReason.TOO_FAR
    assert left.detail.endswith("10 min too late for the access windows")


def test_site_that_only_two_may_visit_is_reached_by_the_skill_of_one(problem, site, member):
    skilled = member("T02", skills=frozenset({"tower"}))

    assert _refusal(problem, site("A", persons=2, skill="tower"), [member(), skilled]) is None

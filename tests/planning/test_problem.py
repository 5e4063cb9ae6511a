"""Problems that contradict themselves are refused, everything wrong at once."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.domain.plan import Travel, Window
from fleet.planning.problem import require_problem


def test_require_problem_passes_a_sound_problem(problem, site, member):
    require_problem(problem([site("A")], [member()], {"A": 10}))


def test_require_problem_passes_an_empty_week(problem):
    require_problem(problem([], [], {}))


def test_require_problem_names_everything_wrong_at_once(problem, site, member, monday):
    backwards = {monday: (Window(600, 500),)}
    wrong = problem(
        [site("A"), site("A"), site("B", worth=float("nan"), service_min=-1, persons=0)],
        [member(), member(), member("T02", starts_min=900, ends_min=800)],
        {"A": 10},
        iterations=0,
        seed=-1,
        drive_price_days_per_h=1e-9,
    )
    worse = replace(wrong, candidates=(*wrong.candidates, site("C", windows=backwards)))

    with pytest.raises(ValueError, match="site A comes 2 times") as caught:
        require_problem(worse)

    text = str(caught.value)
    for part in (
        "technician-day ('T01', '2024-03-04') comes 2 times",
        "site B: worth nan",
        "site B: service -1 min",
        "site B: 0 persons",
        "site C: window 600 .. 500 min on 2024-03-04",
        "technician T02 on 2024-03-04: shift 900 .. 800 min",
        "no travel times for B",
        "no travel times for C",
        "0 iterations",
        "seed -1: 0 .. 4000000000",
        "price of driving 1e-09",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"break_min": 481}, "rest of 481 min does not fit"),
        ({"break_min": -1}, "rest of -1 min does not fit"),
        ({"max_driving_min": -5}, "driving limit -5 min is negative"),
    ],
)
def test_require_problem_refuses_impossible_days(problem, member, given, text):
    with pytest.raises(ValueError, match=text):
        require_problem(problem([], [member(**given)], {}))


@pytest.mark.parametrize("worth", [-0.1, float("inf"), 1e7])
def test_require_problem_refuses_worth_out_of_range(problem, site, member, worth):
    with pytest.raises(ValueError, match="site A: worth"):
        require_problem(problem([site("A", worth=worth)], [member()], {"A": 10}))


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (((0, 1),), "travel tables are not 2 x 2"),
        (((0, 1), (2,)), "travel tables are not 2 x 2"),
        (((0, -1), (2, 0)), "a travel time is not within"),
        (((0, 1), (1_000_001, 0)), "a travel time is not within"),
        (((0, 1), (2, 3)), "from a place to itself is not 0"),
    ],
)
def test_require_problem_refuses_broken_travel_tables(problem, minutes, text):
    travel = Travel(("depot:HUB", "A"), minutes, ((0.0, 1.0), (1.0, 0.0)), "By hand")

    with pytest.raises(ValueError, match=text):
        require_problem(replace(problem([], [], {}), travel=travel))

"""A week planned again near what was issued. Minutes by hand [CALC]: one straight road."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.domain.plan import Window
from fleet.planning.checker import find_violations
from fleet.planning.stability import Slot, changes, plan_near

FREE = 0.0


@pytest.fixture
def tuesday(monday):
    return monday + timedelta(days=1)


@pytest.fixture
def week(problem, site, member, monday, tuesday):
    """Two days of one technician; A and B lie together, C at the other end of the road."""
    both = {monday: (Window(0, 1440),), tuesday: (Window(0, 1440),)}
    sites = [site(code, windows=both, service_min=100) for code in "ABC"]
    members = [member(day=monday), member(day=tuesday)]
    return problem(sites, members, {"A": 60, "B": 62, "C": -60})


def longer(week):
    """Give A and C with so much work that each takes a day of its own."""
    return tuple(replace(week.candidates[place], service_min=250) for place in (0, 2))


def slots(plan):
    return {s.site_code: Slot(d.day, d.technician_codes) for d in plan.days for s in d.stops}


def test_plan_stays_as_issued_where_a_change_gains_too_little(week, monday, tuesday):
    issued = {
        "A": Slot(monday, ("T01",)),
        "B": Slot(tuesday, ("T01",)),
        "C": Slot(tuesday, ("T01",)),
    }

    plan, change = plan_near(week, issued, price_record_days=1.0)

    assert slots(plan) == issued
    assert (change.kept, change.priced) == (("A", "B", "C"), 0)
    assert find_violations(week, plan) == []


def test_free_plan_puts_together_what_lies_together(week, monday, tuesday):
    issued = {
        "A": Slot(monday, ("T01",)),
        "B": Slot(tuesday, ("T01",)),
        "C": Slot(tuesday, ("T01",)),
    }

    # A and B in one day save 122 min of driving, worth 0.2 record-days at 0.1 an hour
    plan, change = plan_near(week, issued, price_record_days=FREE)

    found = slots(plan)
    assert found["A"] == found["B"] != found["C"]
    assert change.moved


def test_change_that_earns_its_price_is_made(week, monday, tuesday, site):
    both = week.candidates[0].windows
    rich = replace(site("X", worth=50.0, windows=both, service_min=300))
    keys = replace(week.travel, keys=("depot:HUB", "A", "X", "C"))
    richer = replace(week, candidates=(*longer(week), rich), travel=keys)
    issued = {"A": Slot(monday, ("T01",)), "C": Slot(tuesday, ("T01",))}

    plan, change = plan_near(richer, issued, price_record_days=5.0)

    # X takes 300 + 124 of a day of 480: neither A nor C fits beside it; one of them goes for 50
    assert "X" in slots(plan)
    assert change.added == ("X",)
    assert len(change.dropped) == 1
    assert find_violations(richer, plan) == []


def test_addition_that_earns_less_than_the_stop_it_displaces_is_not_made(week, monday, site):
    both = week.candidates[0].windows
    poor = site("X", worth=11.0, windows=both, service_min=300)
    keys = replace(week.travel, keys=("depot:HUB", "A", "X", "C"))
    poorer = replace(week, candidates=(*longer(week), poor), travel=keys)
    issued = {
        "A": Slot(monday, ("T01",)),
        "C": Slot(monday + timedelta(days=1), ("T01",)),
    }

    plan, change = plan_near(poorer, issued, price_record_days=5.0)

    assert (slots(plan), change.priced) == (issued, 0)


def test_stop_of_a_lost_day_moves_for_nothing(week, monday, tuesday):
    later = replace(week, technician_days=week.technician_days[1:])
    issued = {"A": Slot(monday, ("T01",)), "C": Slot(tuesday, ("T01",))}

    plan, change = plan_near(later, issued, price_record_days=100.0)

    assert change.lost == ("A",)
    assert change.priced == 0
    assert slots(plan)["C"] == issued["C"]


def test_changes_are_told_by_kind(week, monday, tuesday):
    issued = {
        "A": Slot(monday, ("T01",)),
        "B": Slot(monday, ("T01",)),
        "D": Slot(tuesday, ("T01",)),
        "E": Slot(tuesday, ("T09",)),
    }
    plan, _ = plan_near(week, {}, price_record_days=FREE)
    (day,) = [day for day in plan.days if "A" in {stop.site_code for stop in day.stops}]
    other = tuesday if day.day == monday else monday
    issued["A"] = Slot(other, ("T01",))
    issued["B"] = Slot(day.day, ("T01",))

    told = changes(plan, issued, lost=frozenset({"E"}))

    assert (told.kept, told.moved, told.dropped) == (("B",), ("A",), ("D",))
    assert (told.lost, told.added, told.priced) == (("E",), ("C",), 2)


def test_same_week_gives_the_same_plan_again(week, monday):
    issued = {"A": Slot(monday, ("T01",))}

    assert plan_near(week, issued, price_record_days=1.0) == plan_near(
        week, issued, price_record_days=1.0
    )

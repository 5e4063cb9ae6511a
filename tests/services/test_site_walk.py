"""Walking beyond the road: counted once, told on the plan and on the sheet. [CALC] 2 x 1.2 km at
4 km/h are 36 min; every site of the small network has 10 min of access."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.domain.plan import Walk
from fleet.planning.distance import great_circle_travel
from fleet.reports.card_words import stop_marks
from fleet.services.route_sheet import route_sheets
from fleet.services.site_walk import told_travel
from tests.week_plan import plan, pose


def walked(minutes, *, straight=()):
    def travel(places):
        walks = (Walk("S05", 1.2, minutes),)
        return replace(great_circle_travel(places), walks=walks, straight=straight)

    return travel


def stop_of(planned, site):
    return next(s for day in planned.plan.days for s in day.stops if s.site_code == site)


@pytest.fixture
def work_min(loaded):
    """The time on site of S05 without a walk beyond its access."""
    candidates = pose(loaded, "SOUTH").problem.candidates
    return next(c.service_min for c in candidates if c.place.key == "S05")


def test_only_what_a_walk_takes_beyond_the_access_is_added(loaded, clock, work_min):
    planned = plan(loaded, clock, "SOUTH", travel=walked(36), dry_run=True)

    stop = stop_of(planned, "S05")
    assert stop.depart_min - stop.start_min == work_min + 26
    assert planned.week.notes == (
        "S05: 1.2 km on foot beyond the last road, 36 min there and back; 26 min added to its "
        "access of 10 min.",
    )


def test_walk_within_the_access_adds_nothing(loaded, clock, work_min):
    planned = plan(loaded, clock, "SOUTH", travel=walked(9), dry_run=True)

    stop = stop_of(planned, "S05")
    assert (stop.depart_min - stop.start_min, planned.week.notes) == (work_min, ())


def test_sheet_tells_the_walk_and_the_straight_line(loaded, clock):
    plan(loaded, clock, "SOUTH", travel=walked(36, straight=("S06",)))

    with loaded() as session:
        (sheet,) = route_sheets(session, "2025-W23-SOUTH")

    stops = {stop.site_code: stop for day in sheet.days for stop in day.stops}
    assert stops["S05"].on_foot == "1.2 km beyond the road, 36 min there and back"
    assert stops["S06"].on_foot == ""
    assert "drive time only estimated" in stop_marks(stops["S06"])
    assert "drive time only estimated" not in stop_marks(stops["S05"])


def test_rounds_kept_before_tell_nothing():
    assert told_travel('{"drivers": [], "tasks": []}') == (False, "")

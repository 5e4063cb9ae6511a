"""What calendars must let go: planned once, not planned any more."""

from __future__ import annotations

from datetime import date

import icalendar
import pytest

from fleet.domain.sheet import DroppedEntry
from fleet.services.route_sheet import route_sheets, write_sheets
from tests.factories import InputFolder
from tests.week_plan import plan

REF = "2025-W23-SOUTH"


def hold(folder, site):
    week = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "owner away"}
    return folder.add("holds", site_code=site, kind="not_this_week", **week)


@pytest.fixture
def sheets_of(loaded):
    def call(**how):
        with loaded() as session:
            return {s.crew_code: s for s in route_sheets(session, REF, **how)}

    return call


def test_first_version_drops_nothing(loaded, clock, sheets_of):
    plan(loaded, clock, "SOUTH")

    assert sheets_of()["T03"].dropped == ()


def test_stop_that_is_not_planned_any_more_is_dropped(loaded, clock, amend, sheets_of):
    plan(loaded, clock, "SOUTH")
    day = sheets_of()["T03"].days[0].day
    amend(hold(InputFolder(), "S05"))
    plan(loaded, clock, "SOUTH")

    now = sheets_of()["T03"]
    gone = () if day in {planned.day for planned in now.days} else (DroppedEntry(day),)
    assert now.dropped == (*gone, DroppedEntry(day, "S05", "麻野台"))
    assert sheets_of(number=1)["T03"].dropped == ()


@pytest.mark.filterwarnings("ignore:.*have no glyph in the fonts at hand")
def test_crew_without_stops_any_more_gets_the_cancellations(loaded, clock, amend, tmp_path):
    plan(loaded, clock, "SOUTH")
    absent = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "course"}
    amend(InputFolder().add("absences", technician_code="T03", **absent))
    plan(loaded, clock, "SOUTH")

    paths = write_sheets(loaded, REF, tmp_path)

    (calendar,) = [path for path in paths if path.suffix == ".ics"]
    events = icalendar.Calendar.from_ical(calendar.read_bytes()).walk("VEVENT")
    assert {str(event["STATUS"]) for event in events} == {"CANCELLED"}
    assert sorted(str(event["UID"]) for event in events) == [
        f"{REF}/T03/2025-06-02@fleet",
        f"{REF}/T03/S04@fleet",
        f"{REF}/T03/S05@fleet",
        f"{REF}/T03/S06@fleet",
    ]
    assert {event["DTSTART"].dt for event in events} == {date(2025, 6, 2)}

"""iCalendar. Source: RFC 5545: CRLF and lines of at most 75 octets (3.1), UID and DTSTAMP (3.6.1),
SEQUENCE (3.8.7.4); facts of S58 in the project's list of standards, read in notes."""

from dataclasses import replace
from datetime import UTC, datetime

import icalendar
import pytest

from fleet.reports.route_calendar import route_calendar


def events_of(text):
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


@pytest.fixture(scope="module")
def text(week):
    return route_calendar(week)


def test_calendar_lines_end_with_crlf_and_fold_at_75_octets_rfc_5545(text):
    assert text.endswith(b"\r\n")
    assert text.count(b"\n") == text.count(b"\r\n")
    assert max(len(line) for line in text.split(b"\r\n")) <= 75
    assert all(line.decode() is not None for line in text.split(b"\r\n"))


def test_calendar_has_what_every_event_requires_rfc_5545(text):
    events = events_of(text)

    assert len(events) == 5
    for event in events:
        assert event["UID"]
        assert event["DTSTAMP"].dt == datetime(2025, 2, 28, 15, 4, tzinfo=UTC)
        assert event["DTSTART"].dt < event["DTEND"].dt


def test_calendar_gives_local_times_with_their_zone(text):
    event = events_of(text)[0]

    assert event["DTSTART"].params["TZID"] == "Atlantic/Azores"
    assert event["DTSTART"].dt.strftime("%H:%M") == "07:30"
    assert event["DTSTART"].dt.astimezone(UTC) == datetime(2025, 3, 3, 8, 30, tzinfo=UTC)
    assert text.count(b"BEGIN:VTIMEZONE\r\nTZID:Atlantic/Azores\r\n") == 1


def test_calendar_lists_the_stops(text):
    description = str(events_of(text)[1]["DESCRIPTION"])

    assert "1 SK005 बादलपुरा टीला, 09:10 to 10:25; 1 gauge; ring first" in description
    assert "3 SK007 Săruța de Sus, 13:10 to 14:25; 1 gauge; 2 persons; skill: roof work" in (
        description
    )


def test_calendar_of_a_later_version_replaces_the_events(week):
    old = events_of(route_calendar(week))
    new = events_of(route_calendar(replace(week, version=3)))

    assert [event["UID"] for event in old] == [event["UID"] for event in new]
    assert old[0]["UID"] == "2025-W10-N/T01/2025-03-03@fleet"
    assert {int(event["SEQUENCE"]) for event in old} == {2}
    assert {int(event["SEQUENCE"]) for event in new} == {3}


def test_calendar_of_a_later_version_cancels_days_without_work(week):
    shorter = replace(week, days=week.days[:4])

    again = events_of(route_calendar(shorter))
    first = events_of(route_calendar(replace(shorter, version=1)))

    assert [str(event["STATUS"]) for event in again] == ["CONFIRMED"] * 4 + ["CANCELLED"]
    assert again[-1]["UID"] == "2025-W10-N/T01/2025-03-07@fleet"
    assert len(first) == 4


def test_calendar_without_instants_reads_the_clock_of_the_zone(week):
    day = replace(week.days[0], leave_at=None, back_at=None)

    event = events_of(route_calendar(replace(week, days=(day,), version=1)))[0]

    assert event["DTSTART"].dt.astimezone(UTC) == datetime(2025, 3, 3, 8, 30, tzinfo=UTC)
    assert event["DTEND"].dt.astimezone(UTC) == datetime(2025, 3, 3, 18, 40, tzinfo=UTC)


def test_calendar_of_a_plan_not_yet_issued_is_tentative(week):
    event = events_of(route_calendar(replace(week, status="planned")))[0]

    assert str(event["STATUS"]) == "TENTATIVE"


def test_calendar_keeps_hostile_texts_within_their_property(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], site_name="x\r\nEND:VEVENT\nUID:evil;,\\ " + "y" * 10_000)

    events = events_of(route_calendar(replace(one_card, days=(replace(day, stops=(stop,)),))))

    assert len(events) == 5
    assert "END:VEVENT UID:evil;,\\ yyy" in str(events[0]["DESCRIPTION"])


def test_calendar_is_the_same_twice(week):
    assert route_calendar(week) == route_calendar(week)

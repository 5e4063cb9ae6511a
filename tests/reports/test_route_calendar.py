"""iCalendar. Source: RFC 5545: CRLF and lines of at most 75 octets (3.1), UID and DTSTAMP (3.6.1),
SEQUENCE (3.8.7.4); facts of S58 in the project's list of standards, read in notes."""

from dataclasses import replace
from datetime import UTC, date, datetime

import icalendar
import pytest

from fleet.domain.sheet import DroppedEntry
from fleet.reports.route_calendar import route_calendar


def every_event(text):
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


def events_of(text):
    """The entries of days: busy time, or cancelled."""
    return [e for e in every_event(text) if "/20" in str(e["UID"])]


def stops_of(text):
    return [e for e in every_event(text) if "/SK" in str(e["UID"])]


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


def test_calendar_cancels_what_an_older_version_had(week):
    dropped = (DroppedEntry(date(2025, 3, 7)), DroppedEntry(date(2025, 3, 7), "SK099", "Grå Klint"))
    shorter = replace(week, days=week.days[:4], version=3, dropped=dropped)

    again = events_of(route_calendar(shorter))
    (stop,) = [e for e in stops_of(route_calendar(shorter)) if "SK099" in str(e["UID"])]

    assert [str(event["STATUS"]) for event in again] == ["CONFIRMED"] * 4 + ["CANCELLED"]
    assert again[-1]["UID"] == "2025-W10-N/T01/2025-03-07@fleet"
    assert (str(stop["UID"]), str(stop["STATUS"]), int(stop["SEQUENCE"])) == (
        "2025-W10-N/T01/SK099@fleet",
        "CANCELLED",
        3,
    )
    assert str(stop["SUMMARY"]) == "Rain gauge round 2025-W10-N: SK099 Grå Klint (dropped)"


def test_calendar_has_an_entry_a_stop_within_its_day(week, text):
    stops = stops_of(text)

    assert len(stops) == 20
    assert {str(event["TRANSP"]) for event in stops} == {"TRANSPARENT"}
    first = stops[0]
    assert str(first["UID"]) == "2025-W10-N/T01/SK001@fleet"
    assert first["DTSTART"].dt.astimezone(UTC) == datetime(2025, 3, 3, 8, 30, tzinfo=UTC)
    assert first["DTEND"].dt.astimezone(UTC) == datetime(2025, 3, 3, 9, 30, tzinfo=UTC)
    assert first["GEO"].latitude == pytest.approx(week.days[0].stops[0].latitude_deg, abs=1e-6)
    assert str(first["DESCRIPTION"]).startswith(
        "Gauges: 00010\nContact: Farm office, ext. 204\nSecond gate after the ford;"
    )


def test_stop_that_moves_to_another_day_stays_one_entry(week):
    moved = replace(week.days[1], stops=week.days[0].stops)
    before = {str(e["UID"]) for e in stops_of(route_calendar(week))}
    after = stops_of(route_calendar(replace(week, days=(moved,), version=3)))

    assert {str(e["UID"]) for e in after} <= before
    assert after[0]["DTSTART"].dt.date() == date(2025, 3, 4)


def test_stop_without_instants_reads_the_clock_of_the_zone(week):
    day = replace(week.days[0], stop_times=())

    event = stops_of(route_calendar(replace(week, days=(day,))))[0]

    assert event["DTSTART"].dt.strftime("%H:%M") == day.stops[0].start


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

    assert len(events) == 1
    assert "END:VEVENT UID:evil;,\\ yyy" in str(events[0]["DESCRIPTION"])


def test_calendar_is_the_same_twice(week):
    assert route_calendar(week) == route_calendar(week)

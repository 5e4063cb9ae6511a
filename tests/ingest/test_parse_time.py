"""Days, instants and clock times; ISO 8601 in full, offsets after RFC 3339 section 4.3.

That February 2025 has 28 days, and that 2000 but not 2100 is a leap year, is the Gregorian rule.
"""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from fleet.ingest.cell import CellError
from fleet.ingest.contract import Column, Horizon, Kind
from fleet.ingest.parse_time import parse_clock, parse_day, parse_instant

TODAY = date(2025, 6, 2)
DAY = Column(name="x", kind=Kind.DAY, meaning="a day")
PAST = Column(name="x", kind=Kind.INSTANT, meaning="", horizon=Horizon.PAST)
OPEN = Column(name="x", kind=Kind.DAY, meaning="", horizon=Horizon.OPEN)


def day_fault(text, column=DAY):
    with pytest.raises(CellError) as error:
        parse_day(text, column, today=TODAY)
    return str(error.value)


def instant_fault(text, column=DAY):
    with pytest.raises(CellError) as error:
        parse_instant(text, column, today=TODAY)
    return str(error.value)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2025-03-01", date(2025, 3, 1)),
        ("2000-02-29", date(2000, 2, 29)),
        ("1950-01-01", date(1950, 1, 1)),
        ("2026-12-31", date(2026, 12, 31)),
    ],
)
def test_parse_day_reads_iso_days(text, day):
    assert parse_day(text, DAY, today=TODAY) == day


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2025-02-30", "there is no such day; 2025-02 has 28 days"),
        ("2025-02-00", "there is no such day; 2025-02 has 28 days"),
        ("2025-13-01", "there is no month 13; year-month-day is expected"),
        ("2025-00-01", "there is no month 00; year-month-day is expected"),
        (
            "01/03/2025",
            "which is the day and which the month cannot be told; write year-month-day",
        ),
        (
            "31.12.2024",
            "which is the day and which the month cannot be told; write year-month-day",
        ),
        (
            "25-03-01",
            "a year of two digits; write year-month-day with four digits for the year",
        ),
        (
            "1/3/25",
            "a year of two digits; write year-month-day with four digits for the year",
        ),
        ("2025/03/01", "year-month-day is expected; write 2025-03-01"),
        ("2025-3-1", "year-month-day is expected; write 2025-03-01"),
        ("20250301", "year-month-day is expected; write 2025-03-01"),
        ("01032025", "a day such as 2025-03-31 is expected"),
        ("2025/13/01", "a day such as 2025-03-31 is expected"),
        ("45717", "a spreadsheet's day number; write year-month-day"),
        ("2025-03-01T09:30+01:00", "a day without a time is expected"),
        ("2025-03-01 00:00:00", "a day without a time is expected"),
        ("1 Mar 2025", "a day such as 2025-03-31 is expected"),
        ("2025-W09-6", "a day such as 2025-03-31 is expected"),
        ("२०२५-०३-०१", "digits other than 0-9; write 2025-03-01"),
        ("1949-12-31", "a day from 1950-01-01 on is expected"),
        ("0000-01-01", "a day from 1950-01-01 on is expected"),
        ("2027-01-01", "a day up to 2026-12-31 is expected"),
    ],
)
def test_parse_day_never_guesses(text, message):
    assert day_fault(text) == message


def test_parse_day_keeps_to_the_horizon_of_its_column():
    assert parse_day("2100-12-31", OPEN, today=TODAY) == date(2100, 12, 31)
    assert day_fault("2101-01-01", OPEN) == "a day up to 2100-12-31 is expected"
    assert parse_day("2025-06-02", PAST, today=TODAY) == TODAY
    assert day_fault("2025-06-03", PAST) == ("in the future; a day up to 2025-06-02 is expected")


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        (
            "2025-03-01T09:30+01:00",
            datetime(2025, 3, 1, 9, 30, tzinfo=timezone(timedelta(hours=1))),
        ),
        (
            "2025-03-01T09:30:15-03:30",
            datetime(2025, 3, 1, 9, 30, 15, tzinfo=timezone(-timedelta(hours=3, minutes=30))),
        ),
        ("2025-03-01T09:30Z", datetime(2025, 3, 1, 9, 30, tzinfo=UTC)),
        ("2025-03-01T09:30+14:00", datetime(2025, 2, 28, 19, 30, tzinfo=UTC)),
    ],
)
def test_parse_instant_reads_local_time_with_offset(text, instant):
    assert parse_instant(text, DAY, today=TODAY) == instant


def test_parse_instant_keeps_the_offset_as_written():
    read = parse_instant("2025-03-01T09:30-12:00", DAY, today=TODAY)

    assert read.isoformat() == "2025-03-01T09:30:00-12:00"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "2025-03-01T09:30",
            "no offset from UTC; add the one of the site's clock, such as +01:00 (Z for UTC)",
        ),
        (
            "2025-03-01 09:30:00",
            "no offset from UTC; add the one of the site's clock, such as +01:00 (Z for UTC)",
        ),
        (
            "2025-03-01 09:30+01:00",
            "T is expected between day and time; write 2025-03-01T09:30+01:00",
        ),
        (
            "2025-03-01T09:30+01",
            "an offset is written with hours and minutes; write 2025-03-01T09:30+01:00",
        ),
        (
            "2025-03-01T09:30+0100",
            "an offset is written with hours and minutes; write 2025-03-01T09:30+01:00",
        ),
        (
            "2025-03-01T09:30:00.250Z",
            "whole seconds are expected; write 2025-03-01T09:30:00Z",
        ),
        ("2025-03-01T24:00Z", "a day has no hour 24; write 23:59, or 00:00 of the next day"),
        ("2025-03-01T23:59:60Z", "leap seconds are not kept; write second 59"),
        ("2025-03-01T25:00Z", "there is no such clock time"),
        ("2025-03-01T09:61Z", "there is no such clock time"),
        ("2025-02-30T09:30Z", "there is no such day; 2025-02 has 28 days"),
        ("2025-03-01T09:30+15:00", "there is no such offset; offsets run from -12:00 to +14:00"),
        ("2025-03-01T09:30-13:00", "there is no such offset; offsets run from -12:00 to +14:00"),
        ("2025-03-01T09:30+01:60", "there is no such offset; offsets run from -12:00 to +14:00"),
        (
            "2025-03-01T09:30-00:00",
            "the offset -00:00 means unknown (RFC 3339); write +00:00 for UTC",
        ),
        (
            "01/03/2025 09:30",
            "which is the day and which the month cannot be told; write year-month-day; a local "
            "time with its offset from UTC, such as 2025-03-31T09:30+01:00, is expected",
        ),
        (
            "2025-03-01",
            "a local time with its offset from UTC, such as 2025-03-31T09:30+01:00, is expected",
        ),
        (
            "half past nine",
            "a local time with its offset from UTC, such as 2025-03-31T09:30+01:00, is expected",
        ),
        ("2025-03-01T११:२३Z", "digits other than 0-9; write 2025-03-01T11:23Z"),
        ("0001-01-01T00:00+14:00", "a day from 1950-01-01 on is expected"),
        ("9999-12-31T23:59-12:00", "a day up to 2100-12-31 is expected"),
    ],
)
def test_parse_instant_never_guesses(text, message):
    assert instant_fault(text) == message


@pytest.mark.parametrize("text", ["2025-06-03T09:00+13:00", "2025-06-02T23:00-10:00"])
def test_parse_instant_takes_what_is_today_on_site_or_in_utc(text):
    assert parse_instant(text, PAST, today=TODAY).date() in (date(2025, 6, 2), date(2025, 6, 3))


def test_parse_instant_refuses_what_is_tomorrow_on_site_and_in_utc():
    assert instant_fault("2025-06-03T01:00+01:00", PAST) == (
        "in the future; a day up to 2025-06-02 is expected"
    )


@pytest.mark.parametrize(("text", "minutes"), [("00:00", 0), ("09:30", 570), ("23:59", 1439)])
def test_parse_clock_gives_minutes_after_midnight(text, minutes):
    assert parse_clock(text) == minutes


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("9:30", "hours and minutes of two digits are expected; write 09:30"),
        ("09:30:00", "hours and minutes of two digits are expected; write 09:30"),
        ("24:00", "a day has no hour 24; write 23:59, or 00:00 of the next day"),
        ("12:60", "there is no such clock time"),
        ("9.30", "a clock time from 00:00 to 23:59 is expected"),
        ("9:30 am", "a clock time from 00:00 to 23:59 is expected"),
        ("०९:३०", "digits other than 0-9; write 09:30"),
    ],
)
def test_parse_clock_never_guesses(text, message):
    with pytest.raises(CellError) as error:
        parse_clock(text)

    assert str(error.value) == message

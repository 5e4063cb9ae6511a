"""The days that the records cover, and local time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FIRST_DAY = date(2023, 11, 20)
LAST_DAY = date(2026, 11, 20)
FIRST_RAIN_DAY = date(2025, 11, 21)
PLAN_MONDAY = date(2026, 11, 23)
ZONE_NAME = "Atlantic/Azores"
"""Only the clock is borrowed from a real zone; the island is invented."""
ZONE = ZoneInfo(ZONE_NAME)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def days(first: date, last: date) -> Iterator[date]:
    """Give every day from first to last, both included."""
    for number in range((last - first).days + 1):
        yield first + timedelta(days=number)


def weekday(day: date) -> str:
    return WEEKDAYS[day.weekday()]


def instant(day: date, minute: float) -> str:
    """Write a minute of a day as a local instant with its offset."""
    start = datetime.combine(day, time(), tzinfo=ZONE)
    wall = start.replace(tzinfo=None) + timedelta(minutes=int(minute))
    return wall.replace(tzinfo=ZONE).isoformat(timespec="minutes")


def clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def year_share(day: date) -> float:
    """Give the part of the calendar year that has passed, 0 to 1."""
    return (day - date(day.year, 1, 1)).days / 365.25

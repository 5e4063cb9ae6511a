"""Cells with days, instants and clock times: ISO 8601 in full, never a guess."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import lru_cache

from fleet.ingest.cell import CellError, ascii_digits
from fleet.ingest.contract import Column, Horizon

FIRST_DAY = date(1950, 1, 1)
"""No record is older; an earlier day is a slip of the pen."""

LAST_OPEN_DAY = date(2100, 12, 31)

_DAYS_REMEMBERED = 40_000
"""Days that need not be looked up again: more than a century."""

_DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_YEAR_LAST = re.compile(r"[0-9]{1,2}[-/. ][0-9]{1,2}[-/. ][0-9]{4}")
_SHORT_YEAR = re.compile(r"[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{2}")
_DAY_NUMBER = re.compile(r"[0-9]{5}(\.[0-9]+)?")
_DAY_AND_TIME = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ].*")
_INSTANT = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})T([0-9]{2}):([0-9]{2})(?::([0-9]{2}))?"
    r"(?:Z|([+-])([0-9]{2}):([0-9]{2}))"
)
_NO_OFFSET = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?")
_SHORT_OFFSET = re.compile(r"(.*[T ][0-9:]+[+-][0-9]{2}):?([0-9]{2})?")
_FRACTION = re.compile(r"(.*T[0-9:]+)[.,][0-9]+(.*)")
_CLOCK = re.compile(r"([0-9]{2}):([0-9]{2})")
_LOOSE_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::[0-9]{2})?")

_WANT_DAY = "a day such as 2025-03-31 is expected"
_DAY_FAULTS = {
    _YEAR_LAST: "which is the day and which the month cannot be told; write year-month-day",
    _SHORT_YEAR: "a year of two digits; write year-month-day with four digits for the year",
    _DAY_NUMBER: "a spreadsheet's day number; write year-month-day",
    _DAY_AND_TIME: "a day without a time is expected",
}
_WANT_INSTANT = "a local time with its offset from UTC, such as 2025-03-31T09:30+01:00, is expected"


def last_day(horizon: Horizon, today: date) -> date:
    """Give the last allowed day of a horizon, seen from today."""
    if horizon is Horizon.PAST:
        return today
    return date(today.year + 1, 12, 31) if horizon is Horizon.NEXT_YEAR else LAST_OPEN_DAY


def parse_day(text: str, column: Column, *, today: date) -> date:
    """Read a day written year-month-day.

    Parameters
    ----------
    text : str
        Cell without blanks around it.
    column : Column
        Gives the horizon.
    today : date
        The day of loading.

    Returns
    -------
    date
        From 1950 up to the column's horizon.

    Raises
    ------
    CellError
        Any other way of writing, a day that does not exist, or one outside the range.
    """
    found = _DAY.fullmatch(text)
    if found is None:
        raise CellError(_day_fault(text))
    day = _real_day(found[1], found[2], found[3])
    _check_day(day, column.horizon, today)
    return day


def parse_instant(text: str, column: Column, *, today: date) -> datetime:
    """Read a local time with its offset from UTC.

    An instant counts as future only when its day is after today both on site and in UTC.

    Parameters
    ----------
    text : str
        Cell without blanks around it.
    column : Column
        Gives the horizon.
    today : date
        The day of loading.

    Returns
    -------
    datetime
        Aware, with the offset that was written.

    Raises
    ------
    CellError
        Any other way of writing, a time that does not exist, or one outside the range.
    """
    found = _INSTANT.fullmatch(text)
    if found is None:
        raise CellError(_instant_fault(text))
    year, month, number, hour, minute, second, *offset = found.groups()
    day = _real_day(year, month, number)
    _check_clock(hour, minute, second or "00")
    _check_day(day, Horizon.OPEN, today)
    clock = time(int(hour), int(minute), int(second or 0), tzinfo=_zone(*offset))
    at = datetime.combine(day, clock)
    _check_day(min(day, at.astimezone(UTC).date()), column.horizon, today)
    return at


def parse_clock(text: str) -> int:
    """Read a clock time ``HH:MM`` as minutes after midnight.

    Raises
    ------
    CellError
        Any other way of writing, or a time that no clock shows.
    """
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise CellError(_clock_fault(text))
    _check_clock(found[1], found[2], "00")
    return int(found[1]) * 60 + int(found[2])


@lru_cache(maxsize=_DAYS_REMEMBERED)
def _real_day(year: str, month: str, day: str) -> date:
    if not 1 <= int(month) <= 12:
        raise CellError(f"there is no month {month}; year-month-day is expected")
    if int(year) == 0:
        raise CellError(f"a day from {FIRST_DAY} on is expected")
    longest = monthrange(int(year), int(month))[1]
    if not 1 <= int(day) <= longest:
        raise CellError(f"there is no such day; {year}-{month} has {longest} days")
    return date(int(year), int(month), int(day))


def _is_day(year: str, month: str, day: str) -> bool:
    try:
        return _real_day(year, month, day) >= FIRST_DAY
    except CellError:
        return False


def _check_day(day: date, horizon: Horizon, today: date) -> None:
    if day < FIRST_DAY:
        raise CellError(f"a day from {FIRST_DAY} on is expected")
    last = last_day(horizon, today)
    if day > last:
        future = "in the future; " if horizon is Horizon.PAST else ""
        raise CellError(f"{future}a day up to {last} is expected")


def _check_clock(hour: str, minute: str, second: str) -> None:
    if hour == "24":
        raise CellError("a day has no hour 24; write 23:59, or 00:00 of the next day")
    if second == "60":
        raise CellError("leap seconds are not kept; write second 59")
    if int(hour) > 23 or int(minute) > 59 or int(second) > 59:
        raise CellError("there is no such clock time")


@lru_cache(maxsize=_DAYS_REMEMBERED)
def _zone(sign: str | None, hours: str | None, minutes: str | None) -> timezone:
    if sign is None or hours is None or minutes is None:
        return UTC
    size = int(hours) * 60 + int(minutes)
    if sign == "-" and size == 0:
        raise CellError("the offset -00:00 means unknown (RFC 3339); write +00:00 for UTC")
    if int(minutes) > 59 or not -12 * 60 <= (size if sign == "+" else -size) <= 14 * 60:
        raise CellError("there is no such offset; offsets run from -12:00 to +14:00")
    return UTC if size == 0 else timezone(timedelta(minutes=size if sign == "+" else -size))


def _day_fault(text: str) -> str:
    turned = ascii_digits(text)
    if turned is not None:
        return f"digits other than 0-9; write {turned}"
    found = _YEAR_FIRST.fullmatch(text) or _COMPACT.fullmatch(text)
    if found is not None and _is_day(*found.groups()):
        return f"year-month-day is expected; write {found[1]}-{found[2]:0>2}-{found[3]:0>2}"
    return next((fault for way, fault in _DAY_FAULTS.items() if way.fullmatch(text)), _WANT_DAY)


def _instant_fault(text: str) -> str:
    turned = ascii_digits(text)
    if turned is not None:
        return f"digits other than 0-9; write {turned}"
    if _NO_OFFSET.fullmatch(text):
        return "no offset from UTC; add the one of the site's clock, such as +01:00 (Z for UTC)"
    near = _near_instant(text)
    if near is not None:
        return near
    first = re.split("[T ]", text)[0]
    if _DAY.fullmatch(first) is None and (fault := _day_fault(first)) != _WANT_DAY:
        return f"{fault}; {_WANT_INSTANT}"
    return _WANT_INSTANT


def _near_instant(text: str) -> str | None:
    """Tell what is to be changed in an instant that is right but for its way of writing."""
    joined = text[:10] + "T" + text[11:]
    if text[10:11] in (" ", "t") and _INSTANT.fullmatch(joined):
        return f"T is expected between day and time; write {joined}"
    short = _SHORT_OFFSET.fullmatch(text)
    if short is not None and _INSTANT.fullmatch(f"{short[1]}:{short[2] or '00'}"):
        return f"an offset is written with hours and minutes; write {short[1]}:{short[2] or '00'}"
    fraction = _FRACTION.fullmatch(text)
    if fraction is not None and _INSTANT.fullmatch(fraction[1] + fraction[2]):
        return f"whole seconds are expected; write {fraction[1]}{fraction[2]}"
    return None


def _clock_fault(text: str) -> str:
    turned = ascii_digits(text)
    if turned is not None:
        return f"digits other than 0-9; write {turned}"
    found = _LOOSE_CLOCK.fullmatch(text)
    if found is not None:
        return f"hours and minutes of two digits are expected; write {found[1]:0>2}:{found[2]}"
    return "a clock time from 00:00 to 23:59 is expected"

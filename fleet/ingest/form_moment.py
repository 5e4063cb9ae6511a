"""Days and clock times of a visit form as instants with the offset of the site's clock."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.ingest.cell import CellError, check_cell
from fleet.ingest.contract import Column, Horizon, Kind
from fleet.ingest.parse_time import parse_clock, parse_day

_DAY = Column(name="day", kind=Kind.DAY, meaning="day of arrival", horizon=Horizon.PAST)
_AHEAD = timedelta(days=1)
"""How far a site's clock may be ahead of the day of loading, which is a day in UTC. Whether the
visit itself lies in the future is told by its instants."""

_DAY_AND_CLOCK = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2})(?::[0-9]{2})?")


def read_day(text: str, *, today: date) -> date:
    """Read the day of arrival.

    Raises
    ------
    CellError
        Empty, not a day, or more than a day in the future.
    """
    if not text:
        raise CellError("a value is required: the day of arrival")
    check_cell(text)
    return parse_day(text, _DAY, today=today + _AHEAD)


def read_moment(text: str, day: date | None, *, zone: ZoneInfo, today: date) -> str:
    """Read a clock time of the visit.

    Parameters
    ----------
    text : str
        A clock time of the day of arrival, a local day and time, or an instant with offset.
    day : date or None
        Day of arrival, None where it could not be read.
    zone : ZoneInfo
        The site's clock.
    today : date
        The day of loading.

    Returns
    -------
    str
        An instant with offset as input tables write it; '' for an empty text, and for a clock
        time whose day could not be read. An instant is given back as it is.

    Raises
    ------
    CellError
        No such time, or the site's clock does not show it, or shows it twice.
    """
    if not text:
        return ""
    check_cell(text)
    both = _DAY_AND_CLOCK.fullmatch(text)
    if both is not None:
        at_day = parse_day(both[1], _DAY, today=today + _AHEAD)
        return _instant(at_day, parse_clock(both[2]), zone)
    if text[10:11] in ("T", " "):
        return text
    minutes = parse_clock(text)
    return "" if day is None else _instant(day, minutes, zone)


def _instant(day: date, minutes: int, zone: ZoneInfo) -> str:
    wall = datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(minutes=minutes)
    later = wall.replace(fold=1)
    if wall.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != wall.replace(tzinfo=None):
        raise CellError(f"the clock of {zone.key} is put forward and never shows this time")
    if wall.utcoffset() != later.utcoffset():
        either = f"{_written(wall)} or {_written(later)}"
        raise CellError(f"the clock of {zone.key} shows this time twice; write {either}")
    return _written(wall)


def _written(at: datetime) -> str:
    return at.isoformat(timespec="minutes")

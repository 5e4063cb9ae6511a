"""A round for a calendar: iCalendar, one event a day, updated when the round is issued again."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fleet.domain.code import RoundStatus
from fleet.domain.sheet import RouteSheet, SheetDay, SheetStop
from fleet.reports.card_words import stop_marks
from fleet.reports.plain_sheet import plain_sheet
from fleet.reports.wording import counted, figure, hours_words

if TYPE_CHECKING:
    from icalendar import Event

SPAN_DAYS = 400
"""Days before and after the round for which the clock changes are told: a year and more."""

PRODUCT = "-//fleet//rain gauge rounds//EN"


def route_calendar(sheet: RouteSheet) -> bytes:
    """Write a route sheet as an iCalendar object.

    Parameters
    ----------
    sheet : RouteSheet
        ``leave_at`` and ``back_at`` of its days are used where given, else the clock times in
        the sheet's time zone.

    Returns
    -------
    bytes
        UTF-8 with CRLF line ends, lines folded at 75 octets; the same for the same sheet.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        The sheet's time zone is unknown.

    Notes
    -----
    Source: RFC 5545. UID (3.8.4.7) is made of round, crew and day, SEQUENCE (3.8.7.4) is the
    version and DTSTAMP (3.8.7.2) the instant of making, so that a calendar that read an older
    version replaces its events. A day between first and last that has no work any more is sent
    as CANCELLED (3.8.1.11) from version 2 on, because an older version may have had it.
    """
    from icalendar import Calendar

    sheet = plain_sheet(sheet)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    worked = {day.day for day in sheet.days}
    for day in sheet.days:
        calendar.add_component(_event(sheet, day))
    if sheet.version > 1:
        for free in _days_between(sheet.first_day, sheet.last_day):
            if free not in worked:
                calendar.add_component(_cancelled(sheet, free))
    margin = timedelta(days=SPAN_DAYS)
    calendar.add_missing_timezones(sheet.first_day - margin, sheet.last_day + margin)
    text: bytes = calendar.to_ical()
    return text


def _event(sheet: RouteSheet, day: SheetDay) -> Event:
    event = _blank_event(sheet, day.day)
    leave, back = _span(sheet, day)
    event.add("dtstart", leave)
    event.add("dtend", back)
    stops = counted(len(day.stops), "stop")
    event.add("summary", f"Rain gauge round {sheet.round_ref}: {stops}")
    event.add("location", day.start_name)
    event.add("geo", (round(day.start_latitude_deg, 6), round(day.start_longitude_deg, 6)))
    event.add("description", _description(day))
    event.add("status", "TENTATIVE" if sheet.status == RoundStatus.PLANNED else "CONFIRMED")
    return event


def _cancelled(sheet: RouteSheet, day: date) -> Event:
    event = _blank_event(sheet, day)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", f"Rain gauge round {sheet.round_ref}: no stops")
    event.add("status", "CANCELLED")
    event.add("transp", "TRANSPARENT")
    return event


def _blank_event(sheet: RouteSheet, day: date) -> Event:
    from icalendar import Event

    event = Event()
    ref, crew = sheet.round_ref, sheet.crew_code
    event.add("uid", f"{ref}/{crew}/{day.isoformat()}@fleet")
    event.add("dtstamp", sheet.made_at.astimezone(UTC))
    event.add("sequence", sheet.version)
    return event


def _span(sheet: RouteSheet, day: SheetDay) -> tuple[datetime, datetime]:
    zone = ZoneInfo(sheet.time_zone)
    leave = day.leave_at or _on_clock(day.day, day.leave, zone)
    back = day.back_at or _on_clock(day.day, day.back, zone)
    return leave.astimezone(zone), back.astimezone(zone)


def _on_clock(day: date, clock: str, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=zone)


def _days_between(first: date, last: date) -> list[date]:
    return [first + timedelta(days=count) for count in range((last - first).days + 1)]


def _description(day: SheetDay) -> str:
    crew = ", ".join(name for name in day.crew)
    driving = f"{hours_words(day.driving_min)}, {figure(day.driving_km, digits=0)} km"
    lines = [f"Crew: {crew}", f"Driving: {driving}", *(_line(stop) for stop in day.stops)]
    lines += [f"Night: {day.night}"] if day.night else []
    return "\n".join(lines)


def _line(stop: SheetStop) -> str:
    place = f"{stop.sequence} {stop.site_code} {stop.site_name}"
    times = f"{stop.start} to {stop.depart}"
    return "; ".join([f"{place}, {times}", counted(len(stop.cards), "gauge"), *stop_marks(stop)])

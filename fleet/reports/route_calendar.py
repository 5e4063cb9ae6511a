"""A round for a calendar: iCalendar, an event a day and a stop, updated when it is issued again."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fleet.domain.code import RoundStatus
from fleet.domain.sheet import DroppedEntry, RouteSheet, SheetDay, SheetStop
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
        ``leave_at``, ``back_at`` and ``stop_times`` of its days are used where given, else the
        clock times in the sheet's time zone.

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
    Source: RFC 5545. UID (3.8.4.7) is made of round, crew and day, or of round, crew and site,
    so that a stop that moves to another day stays one entry; SEQUENCE (3.8.7.4) is the version
    and DTSTAMP (3.8.7.2) the instant of making, so that a calendar that read an older version
    replaces its events. What an older version had and this one has not is sent as CANCELLED
    (3.8.1.11). The day is busy time; its stops lie within it and are not (TRANSP, 3.8.2.7).
    """
    from icalendar import Calendar

    sheet = plain_sheet(sheet)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    for day in sheet.days:
        calendar.add_component(_day_event(sheet, day))
        for index in range(len(day.stops)):
            calendar.add_component(_stop_event(sheet, day, index))
    for dropped in sheet.dropped:
        calendar.add_component(_cancelled(sheet, dropped))
    margin = timedelta(days=SPAN_DAYS)
    calendar.add_missing_timezones(sheet.first_day - margin, sheet.last_day + margin)
    text: bytes = calendar.to_ical()
    return text


def _day_event(sheet: RouteSheet, day: SheetDay) -> Event:
    event = _blank_event(sheet, day.day.isoformat())
    leave, back = _span(sheet, day)
    event.add("dtstart", leave)
    event.add("dtend", back)
    stops = counted(len(day.stops), "stop")
    event.add("summary", f"Rain gauge round {sheet.round_ref}: {stops}")
    event.add("location", day.start_name)
    event.add("geo", _geo(day.start_latitude_deg, day.start_longitude_deg))
    event.add("description", _description(day))
    event.add("status", _status(sheet))
    return event


def _stop_event(sheet: RouteSheet, day: SheetDay, index: int) -> Event:
    stop = day.stops[index]
    event = _blank_event(sheet, stop.site_code)
    start, depart = _stop_span(sheet, day, index)
    event.add("dtstart", start)
    event.add("dtend", depart)
    event.add("summary", f"{stop.sequence} {stop.site_code} {stop.site_name}")
    event.add("location", f"{stop.site_code} {stop.site_name}")
    event.add("geo", _geo(stop.latitude_deg, stop.longitude_deg))
    event.add("description", _stop_words(stop))
    event.add("status", _status(sheet))
    event.add("transp", "TRANSPARENT")
    return event


def _cancelled(sheet: RouteSheet, dropped: DroppedEntry) -> Event:
    event = _blank_event(sheet, dropped.site_code or dropped.day.isoformat())
    event.add("dtstart", dropped.day)
    event.add("dtend", dropped.day + timedelta(days=1))
    what = f"{dropped.site_code} {dropped.site_name}" if dropped.site_code else "no stops"
    event.add("summary", f"Rain gauge round {sheet.round_ref}: {what} (dropped)")
    event.add("status", "CANCELLED")
    event.add("transp", "TRANSPARENT")
    return event


def _blank_event(sheet: RouteSheet, what: str) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", f"{sheet.round_ref}/{sheet.crew_code}/{what}@fleet")
    event.add("dtstamp", sheet.made_at.astimezone(UTC))
    event.add("sequence", sheet.version)
    return event


def _status(sheet: RouteSheet) -> str:
    return "TENTATIVE" if sheet.status == RoundStatus.PLANNED else "CONFIRMED"


def _geo(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    return round(latitude_deg, 6), round(longitude_deg, 6)


def _span(sheet: RouteSheet, day: SheetDay) -> tuple[datetime, datetime]:
    zone = ZoneInfo(sheet.time_zone)
    leave = day.leave_at or _on_clock(day.day, day.leave, zone)
    back = day.back_at or _on_clock(day.day, day.back, zone)
    return leave.astimezone(zone), back.astimezone(zone)


def _on_clock(day: date, clock: str, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=zone)


def _stop_span(sheet: RouteSheet, day: SheetDay, index: int) -> tuple[datetime, datetime]:
    zone = ZoneInfo(sheet.time_zone)
    if day.stop_times:
        start, depart = day.stop_times[index]
        return start.astimezone(zone), depart.astimezone(zone)
    stop = day.stops[index]
    return _on_clock(day.day, stop.start, zone), _on_clock(day.day, stop.depart, zone)


def _stop_words(stop: SheetStop) -> str:
    serials = ", ".join(card.serial for card in stop.cards)
    contact = f"Contact: {stop.contact}" if stop.contact else ""
    hazards = f"Hazards: {stop.hazards}" if stop.hazards else ""
    marks = "; ".join(stop_marks(stop))
    lines = (f"Gauges: {serials}", marks, contact, hazards, stop.access_notes)
    return "\n".join(line for line in lines if line)


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

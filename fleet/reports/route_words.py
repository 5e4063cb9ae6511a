"""The words of a whole route sheet: cover, days and what lies behind the plan."""

from __future__ import annotations

from fleet.domain.sheet import RouteSheet, SheetBreak, SheetDay, SheetStop
from fleet.reports.card_words import Seat, card_words, stop_marks
from fleet.reports.caution import LEAD
from fleet.reports.map_ground import line_key
from fleet.reports.route_text import CardText, DayText, Fact, Grid, RouteText
from fleet.reports.steps import FormText
from fleet.reports.wording import code_words, counted, day_words, figure, hours_words

WEEK_HEADS = ("Day", "Crew", "Leave", "Back", "Stops", "Gauges", "Driving", "Daylight")
STOP_HEADS = ("Stop", "Site", "Arrive", "Start", "Depart", "Drive", "Gauges", "Mind")
LOADING_HEADS = ("Item", "Quantity", "For what")
LEFT_OUT_HEADS = ("Site", "Worth, record-days", "Why it is not in this round")


def route_words(sheet: RouteSheet) -> RouteText:
    """Write out a route sheet.

    Parameters
    ----------
    sheet : RouteSheet
        Any, also one without days; its texts made plain (`plain_sheet`).

    Returns
    -------
    RouteText
        Texts only, in the order of the sheet.
    """
    ref, crew = code_words(sheet.round_ref), code_words(sheet.crew_code)
    status = code_words(sheet.status)
    return RouteText(
        title=f"Route sheet {ref}, crew {crew}",
        identity=f"Round {ref}, version {sheet.version}, {status}, crew {crew}",
        facts=_facts(sheet),
        week=Grid(WEEK_HEADS, tuple(_week_row(day) for day in sheet.days)),
        cautions_lead=LEAD,
        cautions=sheet.cautions,
        loading=Grid(
            LOADING_HEADS,
            tuple((entry.item, entry.quantity, entry.detail) for entry in sheet.loading),
        ),
        days=tuple(_day(sheet, day, number) for number, day in enumerate(sheet.days, start=1)),
        plan_notes=sheet.plan_notes,
        left_out=Grid(
            LEFT_OUT_HEADS,
            tuple(
                (
                    f"{line.site_code} {line.site_name}",
                    figure(line.worth_record_days),
                    line.reason,
                )
                for line in sheet.left_out
            ),
        ),
        form=FormText(),
    )


def _facts(sheet: RouteSheet) -> tuple[Fact, ...]:
    names = ", ".join(name for name in sheet.crew_names)
    return (
        Fact("Round", f"{sheet.round_ref}, version {sheet.version}"),
        Fact("Status", sheet.status),
        Fact("Crew", f"{sheet.crew_code}: {names}"),
        Fact("Depot", f"{sheet.depot_code} {sheet.depot_name}"),
        Fact("Days", f"{day_words(sheet.first_day)} to {day_words(sheet.last_day)}"),
        Fact("Clock times", f"local at the depot ({sheet.time_zone})"),
        Fact("Records seen up to", sheet.evidence_as_of.isoformat()),
        Fact("Made", f"{sheet.made_at:%Y-%m-%d %H:%M} {sheet.made_at.tzname() or ''}".strip()),
    )


def _week_row(day: SheetDay) -> tuple[str, ...]:
    return (
        day_words(day.day),
        _crew(day),
        day.leave,
        day.back,
        str(len(day.stops)),
        str(_gauges(day)),
        _driving(day.driving_min, day.driving_km),
        _daylight(day),
    )


def _day(sheet: RouteSheet, day: SheetDay, number: int) -> DayText:
    return DayText(
        anchor=f"day-{number}",
        title=day_words(day.day),
        facts=_day_facts(day),
        stops=Grid(STOP_HEADS, _rows(day)),
        map_caption=_map_caption(sheet, day),
        map_alt=_map_alt(day),
        cards=_cards(day, number),
    )


def _cards(day: SheetDay, number: int) -> tuple[CardText, ...]:
    seated = [(stop, card) for stop in day.stops for card in stop.cards]
    return tuple(
        card_words(card, Seat(day, stop, f"day-{number}-card-{place}"))
        for place, (stop, card) in enumerate(seated, start=1)
    )


def _day_facts(day: SheetDay) -> tuple[Fact, ...]:
    start = day.start_name
    work = sum(stop.service_min for stop in day.stops)
    return (
        Fact("Crew", _crew(day)),
        Fact("Leave", f"{day.leave} from {start}"),
        Fact("Back", f"{day.back} at {day.end[0]}"),
        Fact("Driving", _driving(day.driving_min, day.driving_km)),
        Fact("At the sites", f"{counted(len(day.stops), 'stop')}, {hours_words(work)}"),
        *([Fact("Rest", _rest(day))] if day.rest_min or day.breaks else []),
        *([Fact("Night", day.night)] if day.night else []),
        Fact("Daylight", _daylight(day)),
    )


def _rest(day: SheetDay) -> str:
    when = f"at {day.rest_at}" if day.rest_at else "within the shift, before or after"
    others = [b for b in day.breaks if b.at != day.rest_at]
    more = "".join(f"; break of {hours_words(b.minutes)} at {b.at}" for b in others)
    return f"{hours_words(day.rest_min)} {when}{more}" if day.rest_min else more.lstrip("; ")


def _rows(day: SheetDay) -> tuple[tuple[str, ...], ...]:
    rows: list[tuple[str, ...]] = []
    for place in range(len(day.stops) + 1):
        rows += (_break_row(one) for one in day.breaks if one.before == place)
        rows.append(_stop_row(day.stops[place]) if place < len(day.stops) else _back_row(day))
    return tuple(rows)


def _break_row(one: SheetBreak) -> tuple[str, ...]:
    return ("", f"Break of {hours_words(one.minutes)} {one.where}", "", one.at, "", "", "", "")


def _stop_row(stop: SheetStop) -> tuple[str, ...]:
    return (
        str(stop.sequence),
        f"{stop.site_code} {stop.site_name}",
        stop.arrive,
        stop.start,
        stop.depart,
        _driving(stop.drive_min, stop.drive_km),
        str(len(stop.cards)),
        ", ".join(stop_marks(stop)),
    )


def _back_row(day: SheetDay) -> tuple[str, ...]:
    back = f"{'Night' if day.night else 'Back'} at {day.end[0]}"
    return ("", back, day.back, "", "", _driving(day.back_drive_min, day.back_drive_km), "", "")


def _map_caption(sheet: RouteSheet, day: SheetDay) -> str:
    sentences = [
        f"Black square: {_ends_words(day)}.",
        "Numbers: stops in driving order; a thick circle must be visited.",
        "Legs are drawn straight, not along the roads.",
        "Marks on one spot are drawn apart, a thin line leads to the true place.",
    ]
    key = line_key(sheet.map_lines)
    return " ".join([*sentences, *([f"Base lines: {key}."] if key else [])])


def _ends_words(day: SheetDay) -> str:
    if day.end_place is None:
        return f"start and end, {day.start_name}"
    return f"start, {day.start_name}; open square: end, {day.end[0]}"


def _map_alt(day: SheetDay) -> str:
    stops = ", ".join(f"{stop.sequence} {stop.site_code}" for stop in day.stops)
    return f"Map: from the start to stops {stops} and back." if stops else "Map: no stops."


def _crew(day: SheetDay) -> str:
    return ", ".join(name for name in day.crew)


def _gauges(day: SheetDay) -> int:
    return sum(len(stop.cards) for stop in day.stops)


def _driving(minutes: int, km: float) -> str:
    return f"{hours_words(minutes)}, {figure(km, digits=0)} km"


def _daylight(day: SheetDay) -> str:
    return " to ".join(text for text in (day.sunrise, day.sunset) if text)

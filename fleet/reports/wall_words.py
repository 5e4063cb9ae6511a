"""The words of a round's week on one page: who is where on which day, for the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.sheet import RouteSheet, SheetDay, SheetStop
from fleet.reports.wording import (
    code_words,
    counted,
    day_words,
    figure,
    hours_words,
    shorten,
)

LONGEST_NAME = 26
LEFT_OUT_SHOWN = 6
"""Sites that are named of those left out; the route sheets have all."""

KEY = (
    "M: must visit. 2P: two persons. R: ring first. S: a skill is asked for. ~: drive estimated "
    "along a straight line."
)


@dataclass(frozen=True, slots=True)
class WallStop:
    """One stop in a cell."""

    number: str
    start: str
    place: str
    marks: str


@dataclass(frozen=True, slots=True)
class WallCell:
    """A technician's day; without a span it is free of rounds."""

    span: str = ""
    driving: str = ""
    company: str = ""
    stops: tuple[WallStop, ...] = ()
    night: str = ""


@dataclass(frozen=True, slots=True)
class WallRow:
    """A technician's week."""

    name: str
    code: str
    totals: tuple[str, ...]
    cells: tuple[WallCell, ...]


@dataclass(frozen=True, slots=True)
class WallText:
    """The whole page."""

    title: str
    identity: str
    days: tuple[str, ...]
    rows: tuple[WallRow, ...]
    left_out: str
    driving: str
    key: str


def wall_words(sheets: Sequence[RouteSheet]) -> WallText:
    """Write out a round's week.

    Parameters
    ----------
    sheets : sequence of RouteSheet
        Every crew's sheet of one version of one round; at least one. Their texts made plain.

    Returns
    -------
    WallText
        A row a technician in the order of the sheets, a cell for each day on which anybody is
        out.
    """
    first = sheets[0]
    days = sorted({day.day for sheet in sheets for day in sheet.days})
    return WallText(
        title=f"{code_words(first.round_ref)}: {first.depot_name}, week of "
        f"{day_words(first.first_day)}",
        identity=f"Version {first.version}, {code_words(first.status)}. Clock times of "
        f"{first.time_zone}. Records seen up to {first.evidence_as_of.isoformat()}.",
        days=tuple(day_words(day) for day in days),
        rows=tuple(_row(sheet, days) for sheet in sheets),
        left_out=_left_out(first),
        driving=next((note for note in first.plan_notes if note.startswith("Driving: ")), ""),
        key=KEY,
    )


def _row(sheet: RouteSheet, days: Sequence[date]) -> WallRow:
    own = {day.day: day for day in sheet.days}
    names = sheet.crew_names[:1] or (sheet.crew_code,)
    return WallRow(
        name=names[0],
        code=code_words(sheet.crew_code),
        totals=_totals(sheet),
        cells=tuple(_cell(own[day], names[0]) if day in own else WallCell() for day in days),
    )


def _totals(sheet: RouteSheet) -> tuple[str, ...]:
    stops = [stop for day in sheet.days for stop in day.stops]
    nights = sum(1 for day in sheet.days if day.night)
    return (
        counted(len(stops), "stop"),
        counted(sum(len(stop.cards) for stop in stops), "gauge"),
        f"{figure(sum(day.driving_km for day in sheet.days), digits=0)} km",
        f"{hours_words(sum(day.driving_min for day in sheet.days))} driving",
        f"{counted(nights, 'night')} out",
    )


def _cell(day: SheetDay, name: str) -> WallCell:
    others = [other for other in day.crew if other != name]
    return WallCell(
        span=f"{day.leave} to {day.back}",
        driving=f"{figure(day.driving_km, digits=0)} km, {hours_words(day.driving_min)}",
        company=f"with {', '.join(others)}" if others else "",
        stops=tuple(_stop(stop) for stop in day.stops),
        night=f"Night at {day.night}" if day.night else "",
    )


def _stop(stop: SheetStop) -> WallStop:
    marks = (
        ("M", stop.must_visit),
        (f"{stop.persons}P", stop.persons > 1),
        ("R", stop.ring_first),
        ("S", stop.skill is not None),
        ("~", stop.straight_line),
    )
    return WallStop(
        number=str(stop.sequence),
        start=stop.start,
        place=f"{code_words(stop.site_code)} {shorten(stop.site_name, longest=LONGEST_NAME)}",
        marks=" ".join(mark for mark, holds in marks if holds),
    )


def _left_out(sheet: RouteSheet) -> str:
    if not sheet.left_out:
        return "Nothing that was ranked was left out."
    shown = [
        f"{code_words(line.site_code)} ({figure(line.worth_record_days)})"
        for line in sheet.left_out[:LEFT_OUT_SHOWN]
    ]
    more = len(sheet.left_out) - len(shown)
    rest = f" and {more} more" if more > 0 else ""
    return f"Left out, with worth in record-days: {', '.join(shown)}{rest}."

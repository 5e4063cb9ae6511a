"""From a kept round to what each technician carries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.access import clock_text
from fleet.domain.code import RoundStatus
from fleet.domain.sheet import LeftOutLine, MapLine, RouteSheet, SheetDay, SheetStop
from fleet.planning.daylight import daylight
from fleet.reports.caution import cautions
from fleet.reports.loading import loading_list
from fleet.reports.route_files import write_route_files
from fleet.reports.typeset import Paper
from fleet.reports.wall_pdf import write_wall
from fleet.services.dropped_entry import dropped_entries
from fleet.services.job_card import CardSource, job_card
from fleet.services.round_night import bound_words
from fleet.services.sheet_break import sheet_breaks
from fleet.services.site_walk import told_travel
from fleet.services.spare_part import with_spares
from fleet.store.queries.crew import KeptDepot, technicians
from fleet.store.queries.crew import depot as kept_depot
from fleet.store.queries.earlier_stop import EarlierStop, earlier_stops
from fleet.store.queries.finding import findings_by_site
from fleet.store.queries.follow_up import follow_ups
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.night import KeptBase, night_bases
from fleet.store.queries.place import KeptSite, open_follow_ups, sites
from fleet.store.queries.policy import policy_book
from fleet.store.queries.round import KeptDay, KeptRound, KeptStop, round_version
from fleet.store.queries.type import type_words


@dataclass(frozen=True, slots=True)
class Printing:
    """How sheets are printed; ``font_dirs`` hold fonts for scripts that are not shipped."""

    paper: Paper = "a4"
    map_lines: tuple[MapLine, ...] = ()
    font_dirs: tuple[Path, ...] = ()


PLAIN = Printing()


_Spot = tuple[str, float, float]
"""Name, latitude and longitude in degrees."""


@dataclass(frozen=True, slots=True)
class _Context:
    """What every day of a round shares."""

    kept: KeptRound
    depot: KeptDepot
    names: Mapping[str, str]
    places: Mapping[str, KeptSite]
    bases: Mapping[str, KeptBase]
    cards: CardSource
    earlier: Sequence[EarlierStop]
    followed: frozenset[str]


def route_sheets(
    session: Session,
    round_ref: str,
    *,
    number: int | None = None,
    map_lines: Sequence[MapLine] = (),
) -> list[RouteSheet]:
    """Make the sheet of every technician of a round.

    Parameters
    ----------
    session : Session
        Only read from.
    round_ref : str
        Code of the round.
    number : int, optional
        A version; None is the newest.
    map_lines : sequence of MapLine
        The user's base map.

    Returns
    -------
    list of RouteSheet
        In order of technician; a day in which two go together stands on both sheets. One who
        had stops in an older version and has none now gets a sheet without days. The same
        version gives the same sheets.
    """
    context = _context(session, round_version(session, round_ref, number=number))
    crews = sorted(
        {code for day in context.kept.days for code in day.crew}
        | {stop.technician_code for stop in context.earlier}
    )
    days = [(day, _sheet_day(day, context)) for day in context.kept.days]
    return [
        _sheet(code, [made for day, made in days if code in day.crew], context, map_lines)
        for code in crews
    ]


def write_sheets(
    sessions: sessionmaker[Session],
    round_ref: str,
    folder: Path,
    *,
    number: int | None = None,
    printing: Printing = PLAIN,
) -> tuple[Path, ...]:
    """Write each technician's printable route and exchange files, and the week for the wall.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    round_ref : str
        Code of the round.
    folder : Path
        Where the files go; made when missing.
    number : int, optional
        A version; None is the newest.
    printing : Printing
        Paper, base map and fonts.

    Returns
    -------
    tuple of Path
        None for a round without stops.
    """
    with sessions() as session:
        sheets = route_sheets(session, round_ref, number=number, map_lines=printing.map_lines)
    paper, fonts = printing.paper, printing.font_dirs
    written = [write_route_files(each, folder, paper=paper, font_dirs=fonts) for each in sheets]
    written.append(write_wall(sheets, folder, paper=paper, font_dirs=fonts))
    return tuple(path for paths in written for path in paths)


def _context(session: Session, kept: KeptRound) -> _Context:
    as_of, known_on = kept.evidence_as_of, kept.planned_at
    depot = kept_depot(session, kept.depot_code, known_on=known_on)
    crew = technicians(session, kept.depot_code, known_on=known_on)
    stops = {stop.site_code for day in kept.days for stop in day.stops}
    histories = gauge_histories(session, as_of=as_of, known_on=known_on, site_codes=stops)
    earlier = earlier_stops(session, kept.round_ref, before=kept.number)
    ends = {key for day in kept.days if day.ends for key in (day.ends.start_key, day.ends.end_key)}
    named = stops | {left.site_code for left in kept.left_out}
    named |= {stop.site_code for stop in earlier} | {key for key in ends if ":" not in key}
    return _Context(
        kept=kept,
        depot=depot,
        names={technician.code: technician.name for technician in crew},
        places=_places(session, kept.depot_code, named, known_on),
        bases=night_bases(session, known_on=known_on),
        cards=CardSource(
            as_of=as_of,
            policies=policy_book(session, known_on=known_on),
            histories={history.gauge.serial: history for history in histories},
            types=type_words(session, known_on=known_on),
            findings=findings_by_site(session, as_of=as_of, known_on=known_on, site_codes=stops),
            follow_ups=open_follow_ups(session, as_of=as_of, known_on=known_on),
        ),
        earlier=earlier,
        followed=frozenset(
            kept.raised_by_visit
            for kept in follow_ups(session, as_of=as_of, known_on=known_on)
            if kept.raised_by_visit
        ),
    )


def _places(
    session: Session, depot_code: str, named: Set[str], known_on: datetime
) -> Mapping[str, KeptSite]:
    """Give the depot's sites, or every site where one of another depot is named."""
    own = sites(session, depot_code=depot_code, known_on=known_on)
    return own if named <= own.keys() else sites(session, known_on=known_on)


def _sheet(
    code: str, days: list[SheetDay], context: _Context, map_lines: Sequence[MapLine]
) -> RouteSheet:
    kept = context.kept
    return RouteSheet(
        round_ref=kept.round_ref,
        version=kept.number,
        status=RoundStatus(kept.status),
        depot_code=context.depot.code,
        depot_name=context.depot.name,
        time_zone=context.depot.time_zone,
        crew_code=code,
        crew_names=(context.names.get(code, code),),
        first_day=kept.first_day,
        last_day=kept.last_day,
        evidence_as_of=kept.evidence_as_of,
        made_at=kept.planned_at,
        days=tuple(days),
        loading=loading_list(days),
        cautions=cautions(days),
        plan_notes=_plan_notes(kept),
        left_out=tuple(
            LeftOutLine(
                left.site_code,
                context.places[left.site_code].name,
                left.worth_record_days,
                left.detail,
            )
            for left in kept.left_out
        ),
        map_lines=tuple(map_lines),
        dropped=dropped_entries(context.earlier, code, days, context.places),
    )


def _plan_notes(kept: KeptRound) -> tuple[str, ...]:
    return (
        f"Ranked on the records up to {kept.evidence_as_of.isoformat()}; worth counts the good "
        f"record of the next {kept.horizon_days} days.",
        f"Driving: {kept.travel_source}.".replace("..", "."),
        f"Planned by {kept.planned_by} with {kept.solver}{_price_words(kept)}.",
        bound_words(kept.bound),
        *kept.notes,
    )


def _price_words(kept: KeptRound) -> str:
    if kept.drive_price_days_per_h == 0:
        return ""
    return "; a site that buys less than that for the driving it costs is left out"


def _sheet_day(day: KeptDay, context: _Context) -> SheetDay:
    depot = context.depot
    light = daylight(
        depot.latitude_deg, depot.longitude_deg, day=day.day, time_zone=depot.time_zone
    )
    start, end = _day_ends(day, context)
    return SheetDay(
        day=day.day,
        crew=tuple(context.names.get(code, code) for code in day.crew),
        leave=clock_text(day.leave_min),
        back=clock_text(day.back_min),
        back_drive_min=day.back_drive_min,
        back_drive_km=day.back_drive_km,
        driving_min=day.back_drive_min + sum(stop.drive_min for stop in day.stops),
        driving_km=day.back_drive_km + sum(stop.drive_km for stop in day.stops),
        start_name=start[0],
        start_latitude_deg=start[1],
        start_longitude_deg=start[2],
        end_place=None if end == start else end,
        night=_night_words(day, context),
        sunrise="" if light.polar else clock_text(light.rise_min),
        sunset="" if light.polar else clock_text(light.set_min),
        rest_min=day.rest_min,
        rest_at="" if day.rest_at_min is None else clock_text(day.rest_at_min),
        stops=tuple(_sheet_stop(stop, context) for stop in day.stops),
        leave_at=_instant(day.day, day.leave_min, depot),
        back_at=_instant(day.day, day.back_min, depot),
        stop_times=tuple(
            (_instant(day.day, s.start_min, depot), _instant(day.day, s.depart_min, depot))
            for s in day.stops
        ),
        breaks=sheet_breaks(day),
    )


def _base_of(day: KeptDay, evening: date, context: _Context) -> KeptBase | None:
    for night in context.kept.nights:
        if night.evening == evening and night.technician_code in day.crew:
            return context.bases[night.base_code]
    return None


def _day_ends(day: KeptDay, context: _Context) -> tuple[_Spot, _Spot]:
    """Give name and position of where a day starts and ends: at the depot unless it is kept."""
    depot, ends = context.depot, day.ends
    if ends is None:
        home = (depot.name, depot.latitude_deg, depot.longitude_deg)
        return home, home
    return (
        (_place_name(ends.start_key, context), ends.start_latitude_deg, ends.start_longitude_deg),
        (_place_name(ends.end_key, context), ends.end_latitude_deg, ends.end_longitude_deg),
    )


def _night_words(day: KeptDay, context: _Context) -> str:
    base = _base_of(day, day.day, context)
    if base is None:
        return ""
    return f"{base.name} ({base.code})" + (f", {base.contact}" if base.contact else "")


def _place_name(key: str, context: _Context) -> str:
    """Name where a day starts or ends: the depot, somebody's home, a place to sleep, a site."""
    kind, _, code = key.rpartition(":")
    if kind == "depot":
        return context.depot.name
    if kind == "base":
        return context.bases[code].name
    if kind == "home":
        return f"home of {context.names.get(code, code)}"
    site = context.places.get(key)
    return f"{key} {site.name}" if site else key


def _sheet_stop(stop: KeptStop, context: _Context) -> SheetStop:
    site = context.places[stop.site_code]
    cards = with_spares(
        [job_card(gauge, context.cards) for gauge in stop.gauges],
        context.cards.findings.get(stop.site_code, ()),
        context.followed,
    )
    straight_line, on_foot = told_travel(stop.gauges[0].evidence) if stop.gauges else (False, "")
    return SheetStop(
        sequence=stop.sequence,
        site_code=site.code,
        site_name=site.name,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
        arrive=clock_text(stop.arrive_min),
        start=clock_text(stop.start_min),
        depart=clock_text(stop.depart_min),
        drive_min=stop.drive_min,
        drive_km=stop.drive_km,
        service_min=stop.depart_min - stop.start_min,
        access_minutes=site.access_minutes,
        persons=site.persons_required,
        skill=site.required_skill,
        ring_first=site.ring_first,
        contact=site.contact,
        hazards=site.hazards,
        access_notes=site.access_notes,
        access_rules=tuple(str(span) for span in site.spans),
        must_visit=stop.must_visit,
        cards=cards,
        straight_line=straight_line,
        on_foot=on_foot,
    )


def _instant(day: date, minutes: int, depot: KeptDepot) -> datetime:
    midnight = datetime.combine(day, time(0), tzinfo=ZoneInfo(depot.time_zone))
    wall = midnight.replace(tzinfo=None) + timedelta(minutes=minutes)
    return wall.replace(tzinfo=ZoneInfo(depot.time_zone))

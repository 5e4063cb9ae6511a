"""From the ranking to a week's planning problem: who can drive, which sites, when, how long."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from fleet.domain.access import clip_windows, open_windows, shift_windows
from fleet.domain.code import HoldKind
from fleet.domain.plan import (
    Candidate,
    LeftOut,
    LeftOutReason,
    Place,
    PlanProblem,
    TechnicianDay,
    Travel,
    Window,
)
from fleet.planning.daylight import daylight
from fleet.planning.shortlist import Preselected, preselect
from fleet.services.crew_days import crew_days, days_between, depot_place
from fleet.services.hold_week import SiteHolds, site_holds, still_asked
from fleet.services.network_week import read_network_week
from fleet.services.ranking import RankedGauge
from fleet.services.round_night import open_bases, with_nights_out
from fleet.services.round_request import RoundRequest
from fleet.services.site_walk import extra_walks, walk_notes
from fleet.services.site_work import SiteWork, site_works
from fleet.services.standing import NOTHING_STANDS, Standing
from fleet.store.queries.crew import KeptDepot
from fleet.store.queries.place import KeptHold, KeptSite, holds, sites

TravelSource = Callable[[Sequence[Place]], Travel]
"""Gives the drives between all places of a plan."""

Windows = Mapping[date, tuple[Window, ...]]


@dataclass(frozen=True, slots=True)
class WeekProblem:
    """A depot's week ready for the solver, with what stands outside it.

    ``held`` are the sites that a hold keeps out or that were passed over; ``notes`` say who is
    away, when the depot is closed, and which holds contradict each other.
    """

    problem: PlanProblem
    work: Mapping[str, SiteWork]
    held: tuple[LeftOut, ...]
    must_visit: frozenset[str]
    notes: tuple[str, ...]


def week_problem(
    session: Session,
    depot: KeptDepot,
    ranked: Sequence[RankedGauge],
    request: RoundRequest,
    *,
    travel: TravelSource,
    standing: Standing = NOTHING_STANDS,
) -> WeekProblem:
    """Make the planning problem of one depot and week.

    Parameters
    ----------
    session : Session
        Only read from.
    depot : KeptDepot
        Start and end of every day.
    ranked : sequence of RankedGauge
        The depot's gauges.
    request : RoundRequest
        Days, evidence day and search settings.
    travel : callable
        Gives the drives between the places.
    standing : Standing
        What stands already where the week is planned again.

    Returns
    -------
    WeekProblem
        Every site of the depot with an installed gauge is a candidate, held or done. Of thousands
        the most promising are looked at; those with a hold, an acceptance or dated windows always.
    """
    first, last = request.first_day, request.last_day
    guests, elsewhere = standing.boundary.guests, standing.boundary.elsewhere
    places = _sites_within_reach(session, depot, guests)
    network = standing.network or read_network_week(session, request)
    serials = [gauge.state.gauge.serial for gauge in ranked]
    works = site_works(ranked, places, network.follow_ups.about(places, serials))
    works = {code: work for code, work in works.items() if code not in standing.done}
    crew, notes = crew_days(session, depot, first, last)
    crew = with_nights_out(session, standing.seats(crew), first, last)
    bases = open_bases(session, first, last) if any(day.most_nights for day in crew) else ()
    bound = site_holds(
        hold for hold in binding_holds(session, request, works) if hold not in standing.lifted
    )
    candidates: list[Candidate] = []
    held: list[LeftOut] = []
    for code, work in works.items():
        wished = bound.get(code, SiteHolds())
        opened = _windows(work.site, depot, days_between(first, last))
        windows = {day: spans for day, spans in opened.items() if wished.allows(day)}
        if code in elsewhere:
            held.append(_elsewhere(code, elsewhere[code], wished))
        elif not windows and (wished.away or ((wished.must or wished.only) and opened)):
            held.append(_held(code, wished))
        else:
            candidates.append(standing.bind(_candidate(work, wished, windows)))
    dated = {code for code, work in works.items() if work.site.dated}
    promised = standing.planned | standing.fixed.keys()
    looked = preselect(candidates, crew, always=promised | dated | bound.keys())
    held += looked.passed_over
    driven = travel([*_places(depot, looked.candidates, crew), *(base.place for base in bases)])
    extra_min = extra_walks(driven, places)
    return WeekProblem(
        problem=PlanProblem(
            candidates=tuple(
                replace(c, service_min=c.service_min + extra_min.get(c.place.key, 0))
                for c in looked.candidates
            ),
            technician_days=tuple(crew),
            travel=driven,
            settings=request.settings,
            bases=bases,
        ),
        work=works,
        held=tuple(held),
        must_visit=frozenset(code for code, wished in bound.items() if wished.must),
        notes=(
            *notes,
            *_passed_over_words(looked),
            *standing.words(),
            *(text for wished in bound.values() for text in wished.conflicts()),
            *_ended_lists(works, first),
            *walk_notes(driven, places),
        ),
    )


def _sites_within_reach(
    session: Session, depot: KeptDepot, guests: Collection[str]
) -> dict[str, KeptSite]:
    """Give the depot's sites and its guests, in order of code."""
    if not guests:
        return sites(session, depot_code=depot.code)
    every = sites(session).items()
    return {code: site for code, site in every if site.depot_code == depot.code or code in guests}


def _passed_over_words(looked: Preselected) -> Iterable[str]:
    """Say how many sites were left out before the search, where any were."""
    passed, searched = len(looked.passed_over), len(looked.candidates)
    if passed:
        yield (
            f"{passed + searched} sites were weighed by worth and straight lines: {searched} were "
            f"looked at with their drives, {passed} left out before the search. A proven bound "
            "speaks of those looked at."
        )


def _ended_lists(works: Mapping[str, SiteWork], first: date) -> Iterable[str]:
    """Tell of sites whose list of dated access windows has come to its end."""
    for code, work in works.items():
        last = max(work.site.dated, default=None)
        if last is not None and last < first:
            yield (
                f"{code}: its list of access windows ended on {last}; it is closed until more "
                "are loaded."
            )


def binding_holds(
    session: Session, request: RoundRequest, works: Mapping[str, SiteWork]
) -> Iterable[KeptHold]:
    """Give the holds that bind sites with work; days named bind their week also when over."""
    monday = request.first_day - timedelta(days=request.first_day.weekday())
    depot_codes = {work.site.depot_code for work in works.values()}
    only = depot_codes.pop() if len(depot_codes) == 1 else None
    for hold in holds(session, monday, request.last_day, depot_code=only):
        if hold.last_day < request.first_day and hold.kind is not HoldKind.THESE_DAYS:
            continue
        work = works.get(hold.site_code)
        if work and still_asked(hold, [gauge.state.last_service_on for gauge in work.gauges]):
            yield hold


def _candidate(work: SiteWork, wished: SiteHolds, windows: Windows) -> Candidate:
    site = work.site
    return Candidate(
        place=Place(site.code, site.latitude_deg, site.longitude_deg),
        worth=work.worth,
        service_min=work.service_min,
        windows=windows,
        persons=site.persons_required,
        skill=site.required_skill,
        must_visit=bool(wished.must),
        technician_code=wished.technician_code,
        load=work.load,
    )


def _elsewhere(site_code: str, detail: str, wished: SiteHolds) -> LeftOut:
    must = bool(wished.must)
    return LeftOut(site_code, LeftOutReason.ELSEWHERE, detail, must_visit=must)


def _held(site_code: str, wished: SiteHolds) -> LeftOut:
    return LeftOut(
        site_code=site_code,
        reason=LeftOutReason.HELD,
        detail=wished.words(),
        must_visit=bool(wished.must),
    )


def _places(
    depot: KeptDepot, candidates: Sequence[Candidate], crew: Sequence[TechnicianDay]
) -> list[Place]:
    start = depot_place(depot)
    ends = {place.key: place for day in crew for place in (day.start, day.end)}
    return list({start.key: start, **ends, **{c.place.key: c.place for c in candidates}}.values())


def _windows(site: KeptSite, depot: KeptDepot, days: Sequence[date]) -> Windows:
    """Give the spans on the depot's clock in which there is access and daylight."""
    windows: dict[date, tuple[Window, ...]] = {}
    for day in days:
        light = daylight(site.latitude_deg, site.longitude_deg, day=day, time_zone=depot.time_zone)
        opened = shift_windows(
            open_windows(site.spans, day, dated=site.dated),
            _clock_difference(site.time_zone, depot.time_zone, day),
        )
        clipped = clip_windows(opened, light.rise_min, light.set_min)
        if clipped:
            windows[day] = clipped
    return windows


def _clock_difference(site_zone: str, depot_zone: str, day: date) -> int:
    """Give the minutes by which the depot's clock is ahead of the site's at noon."""
    if site_zone == depot_zone:
        return 0
    noon = datetime.combine(day, time(12), tzinfo=ZoneInfo(site_zone))
    there, here = noon.utcoffset(), noon.astimezone(ZoneInfo(depot_zone)).utcoffset()
    if there is None or here is None:
        return 0
    return round((here - there).total_seconds() / 60)

"""From the ranking to a week's planning problem: who can drive, which sites, when, how long."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from fleet.domain.access import clip_windows, open_windows, shift_windows
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
from fleet.services.crew_days import crew_days, days_between
from fleet.services.hold_week import SiteHolds, site_holds, still_asked
from fleet.services.ranking import RankedGauge
from fleet.services.round_night import open_bases, with_nights_out
from fleet.services.round_request import RoundRequest
from fleet.services.site_walk import extra_walks, walk_notes
from fleet.services.site_work import SiteWork, site_works
from fleet.store.queries.crew import KeptDepot
from fleet.store.queries.place import KeptHold, KeptSite, holds, open_follow_ups, sites

TravelSource = Callable[[Sequence[Place]], Travel]
"""Gives the drives between all places of a plan."""

Windows = Mapping[date, tuple[Window, ...]]


@dataclass(frozen=True, slots=True)
class WeekProblem:
    """A depot's week ready for the solver, with what stands outside it.

    ``held`` are the sites that a hold keeps out; ``notes`` say who is away, when the depot is
    closed, and which holds contradict each other.
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

    Returns
    -------
    WeekProblem
        Every site of the depot with an installed gauge is a candidate or held.
    """
    first, last = request.first_day, request.last_day
    places = sites(session, depot_code=depot.code)
    works = site_works(ranked, places, open_follow_ups(session, as_of=request.evidence_as_of))
    crew, notes = crew_days(session, depot, first, last)
    crew = with_nights_out(session, crew, first, last)
    bases = open_bases(session, first, last) if any(day.most_nights for day in crew) else ()
    bound = site_holds(_binding(holds(session, first, last), works))
    candidates: list[Candidate] = []
    held: list[LeftOut] = []
    for code, work in works.items():
        wished = bound.get(code, SiteHolds())
        opened = _windows(work.site, depot, days_between(first, last))
        windows = {day: spans for day, spans in opened.items() if wished.allows(day)}
        if not windows and (wished.away or (wished.must and opened)):
            held.append(_held(code, wished))
        else:
            candidates.append(_candidate(work, wished, windows))
    driven = travel([*_places(depot, candidates, crew), *(base.place for base in bases)])
    extra_min = extra_walks(driven, places)
    return WeekProblem(
        problem=PlanProblem(
            candidates=tuple(
                replace(c, service_min=c.service_min + extra_min.get(c.place.key, 0))
                for c in candidates
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
            *(text for wished in bound.values() for text in wished.conflicts()),
            *walk_notes(driven, places),
        ),
    )


def _binding(kept: Iterable[KeptHold], works: Mapping[str, SiteWork]) -> Iterable[KeptHold]:
    for hold in kept:
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
    )


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
    start = Place(f"depot:{depot.code}", depot.latitude_deg, depot.longitude_deg)
    ends = {place.key: place for day in crew for place in (day.start, day.end)}
    return list({start.key: start, **ends, **{c.place.key: c.place for c in candidates}}.values())


def _windows(site: KeptSite, depot: KeptDepot, days: Sequence[date]) -> Windows:
    """Give the spans on the depot's clock in which there is access and daylight."""
    windows: dict[date, tuple[Window, ...]] = {}
    for day in days:
        light = daylight(site.latitude_deg, site.longitude_deg, day=day, time_zone=depot.time_zone)
        opened = shift_windows(
            open_windows(site.spans, day), _clock_difference(site.time_zone, depot.time_zone, day)
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

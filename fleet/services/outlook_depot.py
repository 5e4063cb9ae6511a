"""One depot as the outlook sees it: sites, drives, and who works when in each week to come."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from sqlalchemy.orm import Session

from fleet.domain.access import clip_windows, open_windows
from fleet.domain.plan import Candidate, Place, TechnicianDay, Window
from fleet.planning.daylight import daylight
from fleet.planning.quick_site import QuickCrew, QuickSites, lay_out_crews, lay_out_sites
from fleet.services.crew_days import crew_days, days_between
from fleet.services.outlook_case import DepotCase, Weeks
from fleet.services.outlook_order import CrewVariant, OutlookOrder
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import DAYS_IN_WEEK
from fleet.services.site_work import SiteWork
from fleet.store.queries.crew import KeptDepot

Works = Mapping[str, SiteWork]


@dataclass(frozen=True, slots=True)
class CaseAsk:
    """What is asked of every depot: the order, the first Monday, and whence the drives come."""

    order: OutlookOrder
    first_day: date
    travel: TravelSource


def depot_case(
    session: Session, kept: KeptDepot, works: Works, placed: Mapping[int, int], *, ask: CaseAsk
) -> tuple[DepotCase, str] | None:
    """Lay one depot out.

    Parameters
    ----------
    session : Session
        Only read from.
    kept : KeptDepot
        The depot.
    works : mapping
        Its sites by code, with their gauges and the minutes of a service.
    placed : mapping
        Number of each gauge in the network by its installation.
    ask : CaseAsk
        Weeks, crews and the source of drives.

    Returns
    -------
    tuple of DepotCase and str
        With the sentence on its drives; None for a depot without a gauge. Daylight is taken at
        the depot, access hours on its clock.
    """
    if not works:
        return None
    first, last = ask.first_day, ask.first_day + timedelta(DAYS_IN_WEEK * ask.order.weeks - 1)
    roster, _ = crew_days(session, kept, first, last)
    home = Place(f"depot:{kept.code}", kept.latitude_deg, kept.longitude_deg)
    ends = {p.key: p for p in (home, *(p for day in roster for p in (day.start, day.end)))}
    drives = ask.travel([*map(_place, works.values()), *ends.values()])
    sites = lay_out_sites(_candidates(works, {}), ends, drives)
    pairs = [
        (placed[gauge.state.gauge.installation_id], place)
        for place, work in enumerate(works.values())
        for gauge in work.gauges
    ]
    case = DepotCase(
        code=kept.code,
        site_codes=tuple(works),
        sites=sites,
        gauges=np.array([gauge for gauge, _ in pairs], dtype=np.int64),
        site_of=np.array([place for _, place in pairs], dtype=np.int64),
        weeks=_weeks(kept, works, roster, sites, ask=ask),
    )
    return case, drives.source


def changed_roster(roster: Sequence[TechnicianDay], crew: CrewVariant) -> list[TechnicianDay]:
    """Give the days of a crew variant.

    Parameters
    ----------
    roster : sequence of TechnicianDay
        Of one depot, as recorded.
    crew : CrewVariant
        A technician more works on the days and in the hours of the first of the depot, absences
        included; fewer takes the last ones away. Hours count from the start of the shift.

    Returns
    -------
    list of TechnicianDay
        In order of day and technician.
    """
    codes = sorted({day.technician_code for day in roster})
    kept = set(codes[: max(0, len(codes) + min(0, crew.technicians))])
    days = [day for day in roster if day.technician_code in kept]
    for number in range(1, crew.technicians + 1):
        first = [day for day in roster if day.technician_code == codes[0]]
        days += [replace(d, technician_code=f"{d.technician_code}+{number}") for d in first]
    if crew.hours is not None:
        length = round(60.0 * crew.hours)
        days = [replace(day, ends_min=day.starts_min + length) for day in days]
    return sorted(days, key=lambda day: (day.day, day.technician_code))


def _weeks(
    kept: KeptDepot,
    works: Works,
    roster: Sequence[TechnicianDay],
    sites: QuickSites,
    *,
    ask: CaseAsk,
) -> dict[CrewVariant, Weeks]:
    """Lay out every week's crews, for each variant of the crew."""
    variants = list(dict.fromkeys(variant.crew for variant in ask.order.choices.variants()))
    rosters = {crew: changed_roster(roster, crew) for crew in variants}
    weeks: dict[CrewVariant, list[tuple[QuickCrew, ...]]] = {crew: [] for crew in variants}
    for number in range(ask.order.weeks):
        monday = ask.first_day + timedelta(DAYS_IN_WEEK * number)
        days = days_between(monday, monday + timedelta(DAYS_IN_WEEK - 1))
        candidates = _candidates(works, dict(_open(kept, works, days)))
        for crew in variants:
            own = [day for day in rosters[crew] if days[0] <= day.day <= days[-1]]
            weeks[crew].append(tuple(lay_out_crews(candidates, own, sites)))
    return {crew: tuple(every) for crew, every in weeks.items()}


def _open(
    kept: KeptDepot, works: Works, days: Sequence[date]
) -> Iterator[tuple[str, dict[date, tuple[Window, ...]]]]:
    """Give for each site the spans of each day with access and light."""
    place = (kept.latitude_deg, kept.longitude_deg)
    light = {day: daylight(*place, day=day, time_zone=kept.time_zone) for day in days}
    for code, work in works.items():
        spans = work.site.spans
        yield (
            code,
            {
                day: clip_windows(open_windows(spans, day), sun.rise_min, sun.set_min)
                for day, sun in light.items()
            },
        )


def _candidates(
    works: Works, windows: Mapping[str, Mapping[date, tuple[Window, ...]]]
) -> list[Candidate]:
    return [
        Candidate(
            place=_place(work),
            worth=0.0,
            service_min=work.service_min,
            windows=windows.get(code, {}),
            persons=work.site.persons_required,
            skill=work.site.required_skill,
        )
        for code, work in works.items()
    ]


def _place(work: SiteWork) -> Place:
    return Place(work.site.code, work.site.latitude_deg, work.site.longitude_deg)

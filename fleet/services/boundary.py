"""Sites near another depot: which may be offered to it for a week, and which it has already."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from fleet.errors import ConflictError
from fleet.planning.distance import haversine_km
from fleet.planning.wording import day_words
from fleet.services.crew_days import crew_days
from fleet.services.round_request import RoundRequest, round_code
from fleet.store.queries.crew import KeptDepot, depots
from fleet.store.queries.place import KeptSite, sites
from fleet.store.queries.round import newest_version
from fleet.store.queries.week_stop import WeekStop, week_stops

Stops = Mapping[str, Sequence[WeekStop]]

CHEAPER = 0.8
"""A site is offered to another depot where that is nearer than this share of the way from its own
(straight lines; our own choice, so that a near tie does not change sides every week)."""


@dataclass(frozen=True, slots=True)
class Boundary:
    """What a depot's week has to do with its neighbours.

    ``guests`` are sites of other depots that may be planned from here, with the way that this
    saves in words; ``elsewhere`` own sites that another depot has or is offered, with why.
    """

    guests: Mapping[str, str] = field(default_factory=dict)
    elsewhere: Mapping[str, str] = field(default_factory=dict)


def find_boundary(
    session: Session,
    depot: KeptDepot,
    request: RoundRequest,
    own: Mapping[str, KeptSite],
    stops: Stops,
) -> Boundary:
    """Sort out which sites a depot may plan in a week.

    Parameters
    ----------
    session : Session
        Only read from.
    depot : KeptDepot
        The depot whose week is planned.
    request : RoundRequest
        The week; whether sites may be served from the cheaper side.
    own : mapping
        The depot's sites by code.
    stops : mapping
        Stops of the rounds of the week by site, as `week_stops` gives them.

    Returns
    -------
    Boundary
        A site that is a stop of another depot's round of the week is never planned again. Where
        sharing is asked for, a site that lies nearer to another depot is offered to it until that
        depot has planned its week; what it then leaves out goes back.
    """
    taken = {code: words for code in own if (words := _taken_words(stops, code, depot))}
    if not request.share_sites:
        return Boundary(elsewhere=taken)
    others = {other.code: other for other in depots(session) if other.code != depot.code}
    offered: dict[str, str] = {}
    guests: dict[str, str] = {}
    for code, site in sites(session).items():
        if _taken_words(stops, code, depot):
            continue
        if site.depot_code == depot.code:
            nearer = _nearer(site, depot, others)
            if (
                nearer is not None
                and code not in stops
                and _still_to_plan(session, nearer, request)
            ):
                offered[code] = f"{_saving(site, depot, nearer)}: offered to it, plan it next"
        elif _nearer(site, others[site.depot_code], {depot.code: depot}) is not None:
            guests[code] = _saving(site, others[site.depot_code], depot)
    return Boundary(guests, {**offered, **taken})


def guest_notes(boundary: Boundary, planned: Set[str]) -> list[str]:
    """Say which planned sites belong to another depot, and what serving them from here saves."""
    return [
        f"{code} belongs to another depot and is served from here this week: {saving}."
        for code, saving in sorted(boundary.guests.items())
        if code in planned
    ]


def require_not_elsewhere(
    session: Session, depot: KeptDepot, request: RoundRequest, planned: Set[str]
) -> None:
    """Refuse a plan with a site that another depot's round of the week has by now.

    Raises
    ------
    ConflictError
        Naming the sites and where they are.
    """
    stops = week_stops(session, request.first_day, site_codes=planned)
    twice = [
        f"{code} ({words})"
        for code in sorted(planned)
        if (words := _taken_words(stops, code, depot))
    ]
    if twice:
        raise ConflictError(
            f"Planned by another depot meanwhile: {', '.join(twice)}. Nothing was written; plan "
            "again."
        )


def _taken_words(stops: Stops, site_code: str, depot: KeptDepot) -> str:
    """Say in which other depot's round a site is, the last one that has it; '' for none."""
    elsewhere = [stop for stop in stops.get(site_code, ()) if stop.depot_code != depot.code]
    if not elsewhere:
        return ""
    stop = elsewhere[-1]
    when = f"on {day_words(stop.day)} with {' and '.join(stop.crew)}"
    return f"in round {stop.round_ref} version {stop.number} {when}"


def _nearer(site: KeptSite, own: KeptDepot, others: Mapping[str, KeptDepot]) -> KeptDepot | None:
    """Give the nearest of other depots that is clearly nearer than the own one."""
    ways = {code: _km(site, other) for code, other in others.items()}
    best = min(ways, key=lambda code: (ways[code], code), default=None)
    if best is None or ways[best] >= CHEAPER * _km(site, own):
        return None
    return others[best]


def _still_to_plan(session: Session, other: KeptDepot, request: RoundRequest) -> bool:
    """Tell whether a depot has people at work in the week and no plan for it yet."""
    if newest_version(session, round_code(other.code, request.first_day)) is not None:
        return False
    days, _ = crew_days(session, other, request.first_day, request.last_day)
    return bool(days)


def _saving(site: KeptSite, own: KeptDepot, other: KeptDepot) -> str:
    saved = _km(site, own) - _km(site, other)
    return f"{saved:.0f} km nearer to {other.code} than to {own.code} in a straight line"


def _km(site: KeptSite, depot: KeptDepot) -> float:
    latitudes = (site.latitude_deg, depot.latitude_deg)
    return float(haversine_km(latitudes, (site.longitude_deg, depot.longitude_deg))[0, 1])

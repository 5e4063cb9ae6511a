"""Plan the rest of a week again: from where people are, near what was issued."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.plan import Place, SearchSettings
from fleet.errors import ConflictError, NotFoundError
from fleet.planning.distance import great_circle_travel
from fleet.planning.stability import Change, Slot, plan_near
from fleet.services.compare_round import Comparison, hold_against, kept_side, planned_side
from fleet.services.crew_days import depot_place
from fleet.services.plan_round import PlannedRound, keep_plan, pose_week
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import RoundRequest
from fleet.services.standing import DayStart, Seat, Standing, accepted_stops
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot as kept_depot
from fleet.store.queries.crew import technicians
from fleet.store.queries.place import sites
from fleet.store.queries.round import (
    KeptDay,
    KeptRound,
    done_sites,
    round_version,
    versions_in_the_field,
)

STABILITY_RECORD_DAYS = 1.0
"""What moving or dropping an issued stop has to gain: a low bar of our own, no published source."""

ITERATIONS = 2000
"""Of each of the two searches; a rest of a week is quickly searched."""


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a technician stands, and from which minute of the day he or she can go on.

    ``place`` is a site code, or ``depot``. A stop of the day at which somebody stands counts as
    done.
    """

    technician_code: str
    place: str
    from_min: int


@dataclass(frozen=True, slots=True)
class ReplanOrder:
    """Which round is planned again, on which evidence.

    ``as_of`` is the last day whose records count; the days after it are planned, and that day
    itself for those whose ``whereabouts`` are told. ``away`` adds to the absences on record.
    """

    round_ref: str
    as_of: date
    settings: SearchSettings = field(default_factory=lambda: SearchSettings(iterations=ITERATIONS))
    stability_record_days: float = STABILITY_RECORD_DAYS
    whereabouts: tuple[Whereabouts, ...] = ()
    away: frozenset[Seat] = frozenset()


@dataclass(frozen=True, slots=True)
class ReplannedRound:
    """The new version, the version that it departs from, and how."""

    planned: PlannedRound
    base: KeptRound
    change: Change
    comparison: Comparison


def replan_round(
    sessions: sessionmaker[Session],
    order: ReplanOrder,
    wish: Wish,
    *,
    clock: Clock,
    travel: Callable[[str], TravelSource] = lambda depot_code: great_circle_travel,
) -> ReplannedRound:
    """Plan the rest of a round's week again and keep it as the next version.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    order : ReplanOrder
        What to plan again.
    wish : Wish
        Who and why; a dry run keeps nothing, but tells what differs.
    clock : Clock
        Gives the instant of the ledger entry.
    travel : callable
        Where the driving times of a depot come from.

    Returns
    -------
    ReplannedRound
        What is done is no candidate any more; accepted stops keep day and crew; the other stops
        of the version in the field (else the newest) change only where that earns its price.

    Raises
    ------
    NotFoundError
        No such round, or a technician or place that nobody knows; all are named.
    ConflictError
        The week is over, or the records changed meanwhile.
    InfeasibleError
        The independent checker refuses the plan.
    """
    with sessions() as session:
        base = _base(session, order.round_ref)
        standing = _standing(session, order, base)
        request = _request(order, base)
        posed = pose_week(session, request, travel=travel(base.depot_code), standing=standing)
        names = {code: site.name for code, site in sites(session).items()}
    issued = _issued(base, request.first_day)
    plan, change = plan_near(
        posed.week.problem, issued, price_record_days=order.stability_record_days
    )
    posed = replace(posed, remarks=(_summary(base, order, change),))
    planned = keep_plan(sessions, posed, plan, wish, clock=clock)
    compared = hold_against(kept_side(base, standing.done), planned_side(planned), names)
    return ReplannedRound(planned, base, change, compared)


def search_settings(seed: int, iterations: int | None, drive_price: float | None) -> SearchSettings:
    """Make the settings of a search again from what a person names; None takes the default."""
    default = SearchSettings()
    price = default.drive_price_days_per_h if drive_price is None else drive_price
    return SearchSettings(seed, iterations or ITERATIONS, price)


def _base(session: Session, round_ref: str) -> KeptRound:
    """Give the version in the field, else the newest."""
    newest = round_version(session, round_ref)
    number = versions_in_the_field(session).get(round_ref)
    return newest if number is None else round_version(session, round_ref, number=number)


def _request(order: ReplanOrder, base: KeptRound) -> RoundRequest:
    first = order.as_of if order.whereabouts else order.as_of + timedelta(days=1)
    first = max(first, base.first_day)
    if first > base.last_day:
        raise ConflictError(
            f"Round {base.round_ref} ends on {base.last_day}: no day after {order.as_of} is left "
            "to plan. Name an earlier --as-of, or plan the next week."
        )
    return RoundRequest(
        depot_code=base.depot_code,
        first_day=first,
        evidence_as_of=order.as_of,
        settings=order.settings,
    )


def _issued(base: KeptRound, first_day: date) -> dict[str, Slot]:
    """Give the stops that are still to be driven, by site."""
    return {
        stop.site_code: Slot(day.day, day.crew)
        for day in base.days
        if day.day >= first_day
        for stop in day.stops
        if stop.result is None
    }


def _standing(session: Session, order: ReplanOrder, base: KeptRound) -> Standing:
    places = _places(session, base)
    known = {technician.code for technician in technicians(session, base.depot_code)}
    _require_known(order, places, known)
    newest = round_version(session, base.round_ref)
    accepted = {
        **accepted_stops(base, order.as_of),
        **accepted_stops(newest, order.as_of),
    }
    done = done_sites(session, base.round_ref) | _being_done(order, base)
    days = {code: day for day in base.days if day.day == order.as_of for code in day.crew}
    return Standing(
        done=done,
        fixed={code: stop for code, stop in accepted.items() if code not in done},
        away=order.away,
        starts={
            (one.technician_code, order.as_of): _start(
                one, places[one.place], days.get(one.technician_code)
            )
            for one in order.whereabouts
        },
        planned=frozenset(stop.site_code for day in base.days for stop in day.stops),
    )


def _being_done(order: ReplanOrder, base: KeptRound) -> frozenset[str]:
    """Give the stops of the day at which somebody stands: they are done, whatever is on record."""
    standing_at = {one.place for one in order.whereabouts}
    today = (stop for day in base.days if day.day == order.as_of for stop in day.stops)
    return frozenset(
        stop.site_code for stop in today if stop.site_code in standing_at and stop.result is None
    )


def _places(session: Session, base: KeptRound) -> Mapping[str, Place]:
    depot = depot_place(kept_depot(session, base.depot_code))
    here = {
        code: Place(code, site.latitude_deg, site.longitude_deg)
        for code, site in sites(session).items()
    }
    return {"depot": depot, **here}


def _require_known(order: ReplanOrder, places: Mapping[str, Place], known: Iterable[str]) -> None:
    crew = set(known)
    named = [one.technician_code for one in order.whereabouts]
    named += [code for code, _ in sorted(order.away)]
    strangers = [f"technician {code}" for code in named if code not in crew]
    strangers += [f"place {one.place}" for one in order.whereabouts if one.place not in places]
    if strangers:
        raise NotFoundError(
            f"Not known here: {', '.join(strangers)}. Technicians of the depot: "
            f"{', '.join(sorted(crew)) or 'none'}; a place is a site code or: depot."
        )


def _start(one: Whereabouts, place: Place, day: KeptDay | None) -> DayStart:
    """Count what was driven by plan until the stop at which somebody stands."""
    if day is None:
        return DayStart(place, one.from_min)
    codes = [stop.site_code for stop in day.stops]
    if one.place in codes:
        passed = day.stops[: codes.index(one.place) + 1]
    else:
        passed = tuple(stop for stop in day.stops if stop.result is not None)
    rested = day.rest_at_min is not None and day.rest_at_min + day.rest_min <= one.from_min
    return DayStart(
        place, one.from_min, driven_min=sum(stop.drive_min for stop in passed), rested=rested
    )


def _summary(base: KeptRound, order: ReplanOrder, change: Change) -> str:
    return (
        f"Planned again from version {base.number} ({base.status}) on the records up to "
        f"{order.as_of}: {len(change.kept)} stops as they were, {len(change.moved)} moved, "
        f"{len(change.dropped)} dropped, {len(change.lost)} whose day or crew is gone, "
        f"{len(change.added)} new; a change had to gain {order.stability_record_days:g} "
        "record-days."
    )

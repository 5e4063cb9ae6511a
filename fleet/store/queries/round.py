"""Rounds as they were planned and what became of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.code import NotDoneReason, RoundStatus, StopOutcome
from fleet.domain.plan import LeftOutReason, Pause
from fleet.errors import NotFoundError
from fleet.store.models.instrument import Instrument
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.people import Depot, Technician
from fleet.store.models.round import (
    Round,
    RoundCrew,
    RoundDay,
    RoundEvent,
    RoundLeftOut,
    RoundStop,
    RoundStopGauge,
    RoundVersion,
    StopResult,
)
from fleet.store.models.site import Site
from fleet.store.models.visit import Visit
from fleet.store.queries.night import KeptBound, KeptNight, round_bound, round_nights
from fleet.store.queries.round_part import (
    KeptCost,
    KeptEnds,
    KeptOffer,
    acceptances,
    day_ends,
    notes,
    offers,
    pauses,
    stop_costs,
)


@dataclass(frozen=True, slots=True)
class KeptStopGauge:
    """A gauge of a stop, with the evidence as it stood (JSON text)."""

    serial: str
    position: str
    worth_record_days: float
    unfit_probability: float
    evidence: str


@dataclass(frozen=True, slots=True)
class KeptResult:
    """What became of a stop."""

    row_id: int
    outcome: StopOutcome
    reason: NotDoneReason | None
    note: str | None
    visit_ref: str | None


@dataclass(frozen=True, slots=True)
class KeptStop:
    """One planned stop; minutes after local midnight at the depot."""

    stop_id: int
    sequence: int
    site_code: str
    drive_min: int
    drive_km: float
    arrive_min: int
    start_min: int
    depart_min: int
    worth_record_days: float
    must_visit: bool
    gauges: tuple[KeptStopGauge, ...]
    result: KeptResult | None
    cost: KeptCost | None = None
    acceptance_id: int | None = None


@dataclass(frozen=True, slots=True)
class KeptDay:
    """One crew's planned day."""

    day: date
    crew: tuple[str, ...]
    leave_min: int
    back_drive_min: int
    back_drive_km: float
    back_min: int
    rest_min: int
    rest_at_min: int | None
    stops: tuple[KeptStop, ...]
    pauses: tuple[Pause, ...] = ()
    ends: KeptEnds | None = None
    """Where the day starts and ends; None is the depot."""


@dataclass(frozen=True, slots=True)
class KeptLeftOut:
    """A site that was weighed and not taken."""

    site_code: str
    reason: LeftOutReason
    detail: str
    worth_record_days: float
    must_visit: bool
    offer: KeptOffer | None = None


@dataclass(frozen=True, slots=True)
class KeptRound:
    """One version of a round, whole; ``planned_at`` and ``planned_by`` are of its ledger entry."""

    version_id: int
    round_ref: str
    number: int
    status: RoundStatus
    depot_code: str
    first_day: date
    last_day: date
    evidence_as_of: date
    horizon_days: int
    seed: int
    iterations: int
    drive_price_days_per_h: float
    solver: str
    travel_source: str
    worth_record_days: float
    planned_at: datetime
    planned_by: str
    days: tuple[KeptDay, ...]
    left_out: tuple[KeptLeftOut, ...]
    nights: tuple[KeptNight, ...] = ()
    bound: KeptBound | None = None
    notes: tuple[str, ...] = ()


def rounds(session: Session, *, depot_code: str | None = None) -> list[KeptRound]:
    """Give the current version of every round, newest week first, without days."""
    query = _heads().where(RoundVersion.known_until.is_(None))
    if depot_code is not None:
        query = query.where(Depot.code == depot_code)
    rows = session.execute(query.order_by(RoundVersion.first_day.desc(), Round.code)).all()
    return [_round(row, _status(session, row.RoundVersion.id), (), ()) for row in rows]


def round_version(session: Session, round_ref: str, *, number: int | None = None) -> KeptRound:
    """Give one round whole.

    Parameters
    ----------
    session : Session
        Only read from.
    round_ref : str
        Code of the round.
    number : int, optional
        A version; None is the current one.

    Raises
    ------
    NotFoundError
        No such round or version.
    """
    query = _heads().where(Round.code == round_ref)
    if number is None:
        query = query.where(RoundVersion.known_until.is_(None))
    else:
        query = query.where(RoundVersion.number == number)
    row = session.execute(query).first()
    if row is None:
        version = "" if number is None else f" version {number}"
        raise NotFoundError(
            f"There is no round {round_ref!r}{version}. List them with: fleet round list"
        )
    version_id = row.RoundVersion.id
    kept = _round(
        row,
        _status(session, version_id),
        _days(session, version_id),
        _left_out(session, version_id),
    )
    return replace(
        kept,
        notes=notes(session, version_id),
        nights=round_nights(session, version_id),
        bound=round_bound(session, version_id),
    )


def newest_version(session: Session, round_ref: str) -> KeptRound | None:
    """Give the newest version of a round, None where it was never planned."""
    try:
        return round_version(session, round_ref)
    except NotFoundError:
        return None


def done_sites(session: Session, round_ref: str) -> frozenset[str]:
    """Give the sites whose stop was done in any version of a round."""
    rows = session.execute(
        select(Site.code)
        .join(RoundStop, RoundStop.site_id == Site.id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .join(RoundVersion, RoundVersion.id == RoundDay.round_version_id)
        .join(Round, Round.id == RoundVersion.round_id)
        .join(StopResult, StopResult.round_stop_id == RoundStop.id)
        .where(Round.code == round_ref, StopResult.known_until.is_(None))
        .where(StopResult.outcome == StopOutcome.DONE)
    ).scalars()
    return frozenset(rows)


def versions_in_the_field(session: Session, *, prefix: str = "") -> dict[str, int]:
    """Give each round that is being driven with the number of the version that was issued last.

    With ``prefix`` only rounds whose code begins so.
    A newer version that is only planned does not count; a round whose last issued version was
    closed is not being driven.
    """
    rows = session.execute(
        select(Round.code, RoundVersion.number, RoundEvent.status)
        .join(RoundVersion, RoundVersion.id == RoundEvent.round_version_id)
        .join(Round, Round.id == RoundVersion.round_id)
        .where(RoundEvent.status != RoundStatus.PLANNED)
        .where(Round.code.startswith(prefix, autoescape=True))
        .order_by(Round.code, RoundVersion.number, RoundEvent.id)
    )
    last = {code: (number, status) for code, number, status in rows}
    return {code: number for code, (number, status) in last.items() if status is RoundStatus.ISSUED}


def _heads() -> Any:
    return (
        select(RoundVersion, Round.code.label("ref"), Depot.code.label("depot"), LedgerEntry)
        .join(Round, Round.id == RoundVersion.round_id)
        .join(Depot, Depot.id == RoundVersion.depot_id)
        .join(LedgerEntry, LedgerEntry.id == RoundVersion.entry_id)
    )


def _round(
    row: Any, status: RoundStatus, days: tuple[KeptDay, ...], left: tuple[KeptLeftOut, ...]
) -> KeptRound:
    version = row.RoundVersion
    return KeptRound(
        version_id=version.id,
        round_ref=row.ref,
        number=version.number,
        status=status,
        depot_code=row.depot,
        first_day=version.first_day,
        last_day=version.last_day,
        evidence_as_of=version.evidence_as_of,
        horizon_days=version.horizon_days,
        seed=version.seed,
        iterations=version.iterations,
        drive_price_days_per_h=version.drive_price_days_per_h,
        solver=version.solver,
        travel_source=version.travel_source,
        worth_record_days=version.worth_record_days,
        planned_at=row.LedgerEntry.at,
        planned_by=row.LedgerEntry.actor,
        days=days,
        left_out=left,
    )


def _status(session: Session, version_id: int) -> RoundStatus:
    return session.execute(
        select(RoundEvent.status)
        .where(RoundEvent.round_version_id == version_id)
        .order_by(RoundEvent.id.desc())
        .limit(1)
    ).scalar_one()


def _days(session: Session, version_id: int) -> tuple[KeptDay, ...]:
    crews: dict[int, tuple[str, ...]] = {}
    for day_id, code in session.execute(
        select(RoundCrew.round_day_id, Technician.code)
        .join(Technician, Technician.id == RoundCrew.technician_id)
        .join(RoundDay, RoundDay.id == RoundCrew.round_day_id)
        .where(RoundDay.round_version_id == version_id)
        .order_by(RoundCrew.id)
    ):
        crews[day_id] = (*crews.get(day_id, ()), code)
    stops = _stops(session, version_id)
    breaks, ends = pauses(session, version_id), day_ends(session, version_id)
    rows = session.execute(
        select(RoundDay)
        .where(RoundDay.round_version_id == version_id)
        .order_by(RoundDay.day, RoundDay.id)
    ).scalars()
    return tuple(
        KeptDay(
            day=row.day,
            crew=crews.get(row.id, ()),
            leave_min=row.leave_min,
            back_drive_min=row.back_drive_min,
            back_drive_km=row.back_drive_km,
            back_min=row.back_min,
            rest_min=row.rest_min,
            rest_at_min=row.rest_at_min,
            stops=stops.get(row.id, ()),
            pauses=breaks.get(row.id, ()),
            ends=ends.get(row.id),
        )
        for row in rows
    )


def _stops(session: Session, version_id: int) -> dict[int, tuple[KeptStop, ...]]:
    gauges = _gauges(session, version_id)
    results = _results(session, version_id)
    costs, accepted = stop_costs(session, version_id), acceptances(session, version_id)
    stops: dict[int, tuple[KeptStop, ...]] = {}
    for stop, site_code in session.execute(
        select(RoundStop, Site.code)
        .join(Site, Site.id == RoundStop.site_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .where(RoundDay.round_version_id == version_id)
        .order_by(RoundStop.round_day_id, RoundStop.sequence)
    ):
        kept = KeptStop(
            stop_id=stop.id,
            sequence=stop.sequence,
            site_code=site_code,
            drive_min=stop.drive_min,
            drive_km=stop.drive_km,
            arrive_min=stop.arrive_min,
            start_min=stop.start_min,
            depart_min=stop.depart_min,
            worth_record_days=stop.worth_record_days,
            must_visit=stop.must_visit,
            gauges=gauges.get(stop.id, ()),
            result=results.get(stop.id),
            cost=costs.get(stop.id),
            acceptance_id=accepted.get(stop.id),
        )
        stops[stop.round_day_id] = (*stops.get(stop.round_day_id, ()), kept)
    return stops


def _gauges(session: Session, version_id: int) -> dict[int, tuple[KeptStopGauge, ...]]:
    found: dict[int, tuple[KeptStopGauge, ...]] = {}
    for row, serial in session.execute(
        select(RoundStopGauge, Instrument.code)
        .join(Instrument, Instrument.id == RoundStopGauge.instrument_id)
        .join(RoundStop, RoundStop.id == RoundStopGauge.round_stop_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .where(RoundDay.round_version_id == version_id)
        .order_by(RoundStopGauge.id)
    ):
        kept = KeptStopGauge(
            serial, row.position, row.worth_record_days, row.unfit_probability, row.evidence
        )
        found[row.round_stop_id] = (*found.get(row.round_stop_id, ()), kept)
    return found


def _results(session: Session, version_id: int) -> dict[int, KeptResult]:
    rows = session.execute(
        select(StopResult, Visit.code)
        .outerjoin(Visit, Visit.id == StopResult.visit_id)
        .join(RoundStop, RoundStop.id == StopResult.round_stop_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .where(RoundDay.round_version_id == version_id, StopResult.known_until.is_(None))
    )
    return {
        row.round_stop_id: KeptResult(row.id, row.outcome, row.reason, row.note, visit_ref)
        for row, visit_ref in rows
    }


def _left_out(session: Session, version_id: int) -> tuple[KeptLeftOut, ...]:
    rows = session.execute(
        select(RoundLeftOut, Site.code)
        .join(Site, Site.id == RoundLeftOut.site_id)
        .where(RoundLeftOut.round_version_id == version_id)
        .order_by(RoundLeftOut.id)
    )
    ways = offers(session, version_id)
    return tuple(
        KeptLeftOut(
            site_code=code,
            reason=row.reason,
            detail=row.detail,
            worth_record_days=row.worth_record_days,
            must_visit=row.must_visit,
            offer=ways.get(row.id),
        )
        for row, code in rows
    )

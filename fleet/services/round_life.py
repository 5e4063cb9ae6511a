"""A round after planning: issue it, tell what became of its stops, close it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.code import NotDoneReason, RoundStatus, StopOutcome, VisitOutcome
from fleet.errors import ConflictError, NotFoundError
from fleet.services.record_map import Codes
from fleet.store.journal import Wish, Work, writing
from fleet.store.models.round import RoundDay, RoundEvent, RoundStop, RoundVersion, StopResult
from fleet.store.models.visit import Visit, VisitVersion
from fleet.store.queries.round import KeptRound, KeptStop, round_version, versions_in_the_field


@dataclass(frozen=True, slots=True)
class StopUpdate:
    """What became of one stop, and why when it was not done."""

    site_code: str
    outcome: StopOutcome
    reason: NotDoneReason | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class VisitRow:
    """A visit that falls on a stop."""

    visit_id: int
    outcome: VisitOutcome
    not_done_reason: NotDoneReason | None
    stop_id: int


def issue_round(
    sessions: sessionmaker[Session], round_ref: str, wish: Wish, *, clock: Clock
) -> KeptRound:
    """Issue the current version of a round: from now on it is what the crews drive.

    Raises
    ------
    NotFoundError
        No such round.
    ConflictError
        The version was issued or closed already.
    """
    with writing(sessions, wish, clock) as work:
        kept = round_version(work.session, round_ref)
        if kept.status is not RoundStatus.PLANNED:
            raise ConflictError(
                f"Round {round_ref} version {kept.number} is {kept.status} already. "
                "Plan it again to make a version that can be issued."
            )
        _add_event(work, kept, RoundStatus.ISSUED)
        return round_version(work.session, round_ref)


def update_stop(
    sessions: sessionmaker[Session],
    round_ref: str,
    update: StopUpdate,
    wish: Wish,
    *,
    clock: Clock,
) -> KeptRound:
    """Tell what became of one stop of an issued round.

    Raises
    ------
    NotFoundError
        No such round, or the site is no stop of it.
    ConflictError
        The round is not issued, or a skipped stop has no reason.
    """
    if update.outcome is StopOutcome.SKIPPED and update.reason is None:
        raise ConflictError("A skipped stop needs a reason; see --help for the words.")
    with writing(sessions, wish, clock) as work:
        kept = _in_the_field(work.session, round_ref)
        _write_result(work, _stop_at(kept, update.site_code), update, visit_id=None)
        return round_version(work.session, round_ref, number=kept.number)


def close_round(
    sessions: sessionmaker[Session],
    round_ref: str,
    wish: Wish,
    *,
    clock: Clock,
    rest: NotDoneReason | None = None,
) -> KeptRound:
    """Close an issued round; every stop must have a result.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    round_ref : str
        Code of the round.
    wish : Wish
        Who and why.
    clock : Clock
        Gives the instant of the ledger entry.
    rest : NotDoneReason, optional
        Skip every stop that has no result yet, for this reason.

    Raises
    ------
    ConflictError
        The round is not issued, or stops are open and no reason is given for them.
    """
    with writing(sessions, wish, clock) as work:
        kept = _in_the_field(work.session, round_ref)
        open_stops = [stop for day in kept.days for stop in day.stops if stop.result is None]
        if open_stops and rest is None:
            names = ", ".join(stop.site_code for stop in open_stops)
            raise ConflictError(
                f"{len(open_stops)} stop(s) of round {round_ref} have no result: {names}. "
                "Record their visits, mark them with: fleet round stop, or give --rest REASON."
            )
        for stop in open_stops:
            update = StopUpdate(stop.site_code, StopOutcome.SKIPPED, rest, wish.reason or None)
            _write_result(work, stop, update, visit_id=None)
        _add_event(work, kept, RoundStatus.CLOSED)
        return round_version(work.session, round_ref, number=kept.number)


def match_stops(work: Work, visit_refs: Iterable[str], *, codes: Codes) -> tuple[str, ...]:
    """Give open stops of issued rounds the results that newly written visits bring.

    Parameters
    ----------
    work : Work
        The open transaction, with the visits already written.
    visit_refs : iterable of str
        Visits that were added or changed.
    codes : Codes
        Of this transaction.

    Returns
    -------
    tuple of str
        A sentence for each stop that got a result. A visit belongs to a stop when it is at the
        stop's site within the days of an issued round that is not closed; of several, the last
        arrival counts.
    """
    wanted = [codes.id_of(Visit, ref) for ref in visit_refs]
    if not wanted:
        return ()
    said: list[str] = []
    for round_ref, number in versions_in_the_field(work.session).items():
        kept = round_version(work.session, round_ref, number=number)
        stops = {stop.stop_id: stop for day in kept.days for stop in day.stops}
        for visit in _visits_within(work, kept.version_id, wanted):
            stop = stops[visit.stop_id]
            update = _update_from(stop.site_code, visit.outcome, visit.not_done_reason)
            if _write_result(work, stop, update, visit_id=visit.visit_id):
                ref = codes.code_of(Visit, visit.visit_id)
                said.append(f"{round_ref} stop {stop.site_code}: {update.outcome} by visit {ref}")
    return tuple(said)


def _visits_within(work: Work, version_id: int, visit_ids: list[int]) -> list[VisitRow]:
    rows = work.session.execute(
        select(
            VisitVersion.visit_id,
            VisitVersion.outcome,
            VisitVersion.not_done_reason,
            RoundStop.id,
        )
        .join(RoundStop, RoundStop.site_id == VisitVersion.site_id)
        .join(RoundDay, RoundDay.id == RoundStop.round_day_id)
        .join(RoundVersion, RoundVersion.id == RoundDay.round_version_id)
        .where(
            RoundVersion.id == version_id,
            VisitVersion.known_until.is_(None),
            VisitVersion.visited_on.between(RoundVersion.first_day, RoundVersion.last_day),
        )
        .order_by(VisitVersion.arrived_at, VisitVersion.id)
    )
    last = {row[3]: VisitRow(*row) for row in rows}
    wanted = set(visit_ids)
    return [visit for visit in last.values() if visit.visit_id in wanted]


def _update_from(site_code: str, outcome: VisitOutcome, reason: NotDoneReason | None) -> StopUpdate:
    if outcome is VisitOutcome.NOT_DONE:
        return StopUpdate(site_code, StopOutcome.SKIPPED, reason)
    return StopUpdate(site_code, StopOutcome.DONE, reason)


def _in_the_field(session: Session, round_ref: str) -> KeptRound:
    newest = round_version(session, round_ref)
    number = versions_in_the_field(session).get(round_ref)
    if number is None:
        raise ConflictError(
            f"Round {round_ref} version {newest.number} is {newest.status}, not issued."
        )
    return round_version(session, round_ref, number=number)


def _stop_at(kept: KeptRound, site_code: str) -> KeptStop:
    for day in kept.days:
        for stop in day.stops:
            if stop.site_code == site_code:
                return stop
    raise NotFoundError(f"Site {site_code!r} is no stop of round {kept.round_ref}.")


def _add_event(work: Work, kept: KeptRound, status: RoundStatus) -> None:
    work.add(RoundEvent, [{"round_version_id": kept.version_id, "status": status}])


def _write_result(work: Work, stop: KeptStop, update: StopUpdate, *, visit_id: int | None) -> bool:
    old = stop.result
    current = work.session.execute(
        select(StopResult).where(
            StopResult.round_stop_id == stop.stop_id, StopResult.known_until.is_(None)
        )
    ).scalar_one_or_none()
    new = {
        "outcome": update.outcome,
        "reason": update.reason,
        "note": update.note,
        "visit_id": visit_id,
    }
    if current is not None:
        fields = {
            name: (getattr(current, name), value)
            for name, value in new.items()
            if getattr(current, name) != value
        }
        if not fields:
            return False
        key = f"{update.site_code} (was {old.outcome if old else current.outcome})"
        work.supersede(StopResult, current.id, key=key, fields=fields)
    work.add(StopResult, [{"round_stop_id": stop.stop_id, **new}])
    return True

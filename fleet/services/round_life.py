"""A round after planning: issue it, tell what became of its stops, close it."""

from __future__ import annotations

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.code import NotDoneReason, RoundStatus, StopOutcome
from fleet.errors import ConflictError, NotFoundError
from fleet.services.gauge_write import writing
from fleet.services.stop_result import StopUpdate, settle_stops, stops_of, write_result
from fleet.store.journal import Wish, Work
from fleet.store.models.round import RoundEvent
from fleet.store.queries.round import KeptRound, KeptStop, round_version, versions_in_the_field


def issue_round(
    sessions: sessionmaker[Session], round_ref: str, wish: Wish, *, clock: Clock
) -> KeptRound:
    """Issue the current version of a round: from now on it is what the crews drive.

    Stops whose visits are on record already get their results at once.

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
        tuple(settle_stops(work, kept, None))
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
        The round is not issued, a skipped stop has no reason, or a visit tells what became of
        the stop.
    """
    if update.outcome is StopOutcome.SKIPPED and update.reason is None:
        raise ConflictError("A skipped stop needs a reason; see --help for the words.")
    with writing(sessions, wish, clock) as work:
        kept = _in_the_field(work.session, round_ref)
        stop = _stop_at(kept, update.site_code)
        if stop.result is not None and stop.result.visit_ref is not None:
            raise ConflictError(
                f"Stop {update.site_code} of round {round_ref} has its result, "
                f"{stop.result.outcome}, from visit {stop.result.visit_ref}. Correct the visit: "
                "the stop follows it."
            )
        write_result(work, stop, update, visit_id=None)
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
        open_stops = [stop for stop in stops_of(kept) if stop.result is None]
        if open_stops and rest is None:
            names = ", ".join(stop.site_code for stop in open_stops)
            raise ConflictError(
                f"{len(open_stops)} stop(s) of round {round_ref} have no result: {names}. "
                "Record their visits, mark them with: fleet round stop, or give --rest REASON."
            )
        for stop in open_stops:
            update = StopUpdate(stop.site_code, StopOutcome.SKIPPED, rest, wish.reason or None)
            write_result(work, stop, update, visit_id=None)
        _add_event(work, kept, RoundStatus.CLOSED)
        return round_version(work.session, round_ref, number=kept.number)


def _in_the_field(session: Session, round_ref: str) -> KeptRound:
    newest = round_version(session, round_ref)
    number = versions_in_the_field(session).get(round_ref)
    if number is None:
        raise ConflictError(
            f"Round {round_ref} version {newest.number} is {newest.status}, not issued."
        )
    return round_version(session, round_ref, number=number)


def _stop_at(kept: KeptRound, site_code: str) -> KeptStop:
    for stop in stops_of(kept):
        if stop.site_code == site_code:
            return stop
    named = ", ".join(stop.site_code for stop in stops_of(kept))
    raise NotFoundError(
        f"Site {site_code!r} is no stop of round {kept.round_ref} version {kept.number}. "
        f"Stops: {named or 'none'}."
    )


def _add_event(work: Work, kept: KeptRound, status: RoundStatus) -> None:
    work.add(RoundEvent, [{"round_version_id": kept.version_id, "status": status}])

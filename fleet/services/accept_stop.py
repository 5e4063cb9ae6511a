"""Accept stops of a plan: planning the week again leaves them on their day and with their crew."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import ConflictError, NotFoundError
from fleet.services.gauge_write import writing
from fleet.services.stop_result import stops_of
from fleet.store.journal import Wish, Work
from fleet.store.models.round import StopAcceptance
from fleet.store.queries.round import KeptRound, KeptStop, round_version


def accept_stops(
    sessions: sessionmaker[Session],
    round_ref: str,
    site_codes: Collection[str],
    wish: Wish,
    *,
    clock: Clock,
    withdraw: bool = False,
) -> tuple[KeptRound, tuple[str, ...]]:
    """Accept stops of the newest version of a round, or take that back.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    round_ref : str
        Code of the round.
    site_codes : collection of str
        Sites of the stops; empty means every stop that has no result yet.
    wish : Wish
        Who and why; a dry run writes nothing.
    clock : Clock
        Gives the instant of the ledger entry.
    withdraw : bool
        Whether an acceptance is taken back instead.

    Returns
    -------
    KeptRound
        As it stands then.
    tuple of str
        The sites whose acceptance changed: the same again changes nothing.

    Raises
    ------
    NotFoundError
        No such round, or sites that are no stops of it; all are named.
    ConflictError
        A stop that is named has its result already.
    """
    with writing(sessions, wish, clock) as work:
        kept = round_version(work.session, round_ref)
        wanted = _wanted(kept, site_codes)
        changed = tuple(
            stop.site_code for stop in wanted if (stop.acceptance_id is None) is not withdraw
        )
        for stop in wanted:
            if stop.site_code in changed:
                _change(work, stop)
        return round_version(work.session, round_ref), changed


def _wanted(kept: KeptRound, site_codes: Collection[str]) -> Sequence[KeptStop]:
    stops = {stop.site_code: stop for stop in stops_of(kept)}
    strangers = [code for code in site_codes if code not in stops]
    if strangers:
        raise NotFoundError(
            f"No stop(s) of round {kept.round_ref} version {kept.number}: "
            f"{', '.join(strangers)}. Stops: {', '.join(stops) or 'none'}."
        )
    over = [code for code in site_codes if stops[code].result is not None]
    if over:
        raise ConflictError(f"Stop(s) with a result already: {', '.join(over)}.")
    named = set(site_codes)
    return [
        stop for code, stop in stops.items() if (code in named if named else stop.result is None)
    ]


def _change(work: Work, stop: KeptStop) -> None:
    if stop.acceptance_id is None:
        work.add(StopAcceptance, [{"round_stop_id": stop.stop_id}])
        return
    ended: dict[str, tuple[object, object]] = {"accepted": (True, False)}
    work.supersede(StopAcceptance, stop.acceptance_id, key=stop.site_code, fields=ended)

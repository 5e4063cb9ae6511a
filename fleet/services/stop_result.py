"""What became of the stops of a round: told by hand, or by the visits that are recorded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from sqlalchemy import select

from fleet.domain.code import NotDoneReason, StopOutcome, VisitOutcome
from fleet.store.journal import Work
from fleet.store.models.round import RoundDay, RoundStop, RoundVersion, StopResult
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
class _StopVisit:
    """The visit that counts for a stop."""

    stop_id: int
    visit_id: int
    visit_ref: str
    outcome: VisitOutcome
    not_done_reason: NotDoneReason | None


def match_stops(work: Work, visit_refs: Iterable[str]) -> tuple[str, ...]:
    """Give open stops of issued rounds the results that newly written visits bring.

    Parameters
    ----------
    work : Work
        The open transaction, with the visits already written.
    visit_refs : iterable of str
        Visits that were added or changed.

    Returns
    -------
    tuple of str
        A sentence for each stop whose result changed. A visit belongs to a stop when it is at the
        stop's site within the days of an issued round that is not closed; of several, one that
        was done counts before one that was not, then the last arrival. A stop whose visit was
        amended away is open again.
    """
    wanted = set(visit_refs)
    if not wanted:
        return ()
    return tuple(
        sentence
        for round_ref, number in versions_in_the_field(work.session).items()
        for sentence in settle_stops(
            work, round_version(work.session, round_ref, number=number), wanted
        )
    )


def settle_stops(work: Work, kept: KeptRound, wanted: set[str] | None) -> Iterator[str]:
    """Bring the stops in line with the visits that are wanted, or with all of them."""
    visits = _visits_within(work, kept.version_id)
    for stop in stops_of(kept):
        visit = visits.get(stop.stop_id)
        former = stop.result.visit_ref if stop.result else None
        named = {ref for ref in (former, visit.visit_ref if visit else None) if ref}
        if wanted is not None and wanted.isdisjoint(named):
            continue
        if visit is not None:
            update = _update_from(stop.site_code, visit)
            if write_result(work, stop, update, visit_id=visit.visit_id):
                yield (
                    f"{kept.round_ref} stop {stop.site_code}: {update.outcome} "
                    f"by visit {visit.visit_ref}"
                )
        elif former is not None:
            _reopen(work, stop)
            yield f"{kept.round_ref} stop {stop.site_code}: open again, visit {former} was amended"


def _visits_within(work: Work, version_id: int) -> dict[int, _StopVisit]:
    rows = work.session.execute(
        select(
            RoundStop.id,
            VisitVersion.visit_id,
            Visit.code,
            VisitVersion.outcome,
            VisitVersion.not_done_reason,
        )
        .join(Visit, Visit.id == VisitVersion.visit_id)
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
    visits = [_StopVisit(*row) for row in rows]
    visits.sort(key=lambda visit: visit.outcome is not VisitOutcome.NOT_DONE)
    return {visit.stop_id: visit for visit in visits}


def _update_from(site_code: str, visit: _StopVisit) -> StopUpdate:
    done = visit.outcome is not VisitOutcome.NOT_DONE
    outcome = StopOutcome.DONE if done else StopOutcome.SKIPPED
    return StopUpdate(site_code, outcome, visit.not_done_reason)


def stops_of(kept: KeptRound) -> list[KeptStop]:
    """Give every stop of a round in driving order."""
    return [stop for day in kept.days for stop in day.stops]


def write_result(work: Work, stop: KeptStop, update: StopUpdate, *, visit_id: int | None) -> bool:
    """Keep what became of a stop, superseding what was said before; tell if anything changed."""
    new: dict[str, object] = {
        "outcome": update.outcome,
        "reason": update.reason,
        "note": update.note,
        "visit_id": visit_id,
    }
    current = _current_result(work, stop)
    if current is not None:
        changed = {
            name: (getattr(current, name), value)
            for name, value in new.items()
            if getattr(current, name) != value
        }
        if not changed:
            return False
        work.supersede(StopResult, current.id, key=stop.site_code, fields=changed)
    work.add(StopResult, [{"round_stop_id": stop.stop_id, **new}])
    return True


def _reopen(work: Work, stop: KeptStop) -> None:
    current = _current_result(work, stop)
    if current is not None:
        ended: dict[str, tuple[object, object]] = {"outcome": (current.outcome, None)}
        work.supersede(StopResult, current.id, key=stop.site_code, fields=ended)


def _current_result(work: Work, stop: KeptStop) -> StopResult | None:
    return work.session.execute(
        select(StopResult).where(
            StopResult.round_stop_id == stop.stop_id, StopResult.known_until.is_(None)
        )
    ).scalar_one_or_none()

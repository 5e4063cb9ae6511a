"""Defects that wait to be mended: list them, close one."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import ConflictError, NotFoundError
from fleet.services.gauge_write import writing
from fleet.services.record_map import FOLLOW_UP_MAP, Codes
from fleet.services.record_write import write_rows
from fleet.store.journal import Wish
from fleet.store.models.site import Site
from fleet.store.models.visit import Visit, VisitVersion
from fleet.store.queries.follow_up import KeptFollowUp, follow_ups

COLUMNS = (
    "severity",
    "follow_up_ref",
    "site_code",
    "site_name",
    "depot_code",
    "serial",
    "raised_on",
    "raised_by_visit",
    "due_on",
    "days_past_due",
    "description",
    "needs",
    "closed_on",
    "closed_by_visit",
)


@dataclass(frozen=True, slots=True)
class Closure:
    """By what a follow-up is closed: a visit of the records, or a day alone."""

    visit_ref: str | None = None
    on: date | None = None


def list_follow_ups(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
    closed_too: bool = False,
) -> pd.DataFrame:
    """List follow-ups.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    as_of : date
        What was open at the end of this day.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code : str, optional
        Only sites of this depot.
    closed_too : bool
        Whether those that were closed by then are listed as well.

    Returns
    -------
    DataFrame
        Columns as in `COLUMNS`, urgent first, then by the day due; days past due (Int64) are
        missing where none is due or it is closed.
    """
    with sessions() as session:
        every = follow_ups(session, as_of=as_of, known_on=known_on, depot_code=depot_code)
    rows = [_row(kept, as_of) for kept in every if closed_too or kept.open_at(as_of)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return frame.astype({"days_past_due": "Int64"})


def _row(kept: KeptFollowUp, as_of: date) -> dict[str, object]:
    row: dict[str, object] = {**asdict(kept), "severity": kept.severity.value}
    waits = kept.open_at(as_of)
    past = None if kept.due_on is None or not waits else (as_of - kept.due_on).days
    row["days_past_due"] = None if past is None else max(past, 0)
    if waits:
        row["closed_on"] = row["closed_by_visit"] = None
    return row


def close_follow_up(
    sessions: sessionmaker[Session],
    follow_up_ref: str,
    closure: Closure,
    wish: Wish,
    *,
    clock: Clock,
    today: date,
) -> KeptFollowUp:
    """Close an open follow-up.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    follow_up_ref : str
        Its reference.
    closure : Closure
        A visit closes it on the visit's local day; either a visit or a day is needed.
    wish : Wish
        Who and why; the reason is required. A dry run writes nothing.
    clock : Clock
        Gives the instant of the ledger entry.
    today : date
        A later day of closing is refused.

    Returns
    -------
    KeptFollowUp
        As closed.

    Raises
    ------
    NotFoundError
        No such follow-up or visit.
    ConflictError
        It is closed already, no reason is given, the visit was at another site, or the day lies
        before it was raised or in the future.
    """
    if not wish.reason.strip():
        raise ConflictError("Closing a follow-up needs a reason: --reason TEXT.")
    with writing(sessions, wish, clock) as work:
        codes = Codes(work.session)
        kept = _find(work.session, follow_up_ref)
        if kept.closed_on is not None:
            by = f" by visit {kept.closed_by_visit}" if kept.closed_by_visit else ""
            raise ConflictError(f"{follow_up_ref} was closed on {kept.closed_on}{by} already.")
        on = _closing_day(work.session, kept, closure)
        _require_day(kept, on, today)
        row = {
            "follow_up_ref": follow_up_ref,
            "closed_on": on,
            "closed_by_visit": closure.visit_ref,
        }
        write_rows(work, FOLLOW_UP_MAP, [row], codes=codes)
        return _find(work.session, follow_up_ref)


def _find(session: Session, ref: str) -> KeptFollowUp:
    for kept in follow_ups(session, as_of=date.max):
        if kept.follow_up_ref == ref:
            return kept
    raise NotFoundError(
        f"There is no follow-up {ref!r}. List them with: fleet follow-up list --all"
    )


def _closing_day(session: Session, kept: KeptFollowUp, closure: Closure) -> date:
    if closure.visit_ref is None:
        if closure.on is None:
            raise ConflictError("Name the visit that mended it, or the day: --visit or --on.")
        return closure.on
    found = session.execute(
        select(VisitVersion.visited_on, Site.code)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Site, Site.id == VisitVersion.site_id)
        .where(Visit.code == closure.visit_ref, VisitVersion.known_until.is_(None))
    ).first()
    if found is None:
        raise NotFoundError(f"There is no visit {closure.visit_ref!r}.")
    visited_on, site_code = found
    if site_code != kept.site_code:
        raise ConflictError(
            f"Visit {closure.visit_ref} was at site {site_code}, "
            f"{kept.follow_up_ref} is about site {kept.site_code}."
        )
    if closure.on is not None and closure.on != visited_on:
        raise ConflictError(f"Visit {closure.visit_ref} was on {visited_on}, not {closure.on}.")
    day: date = visited_on
    return day


def _require_day(kept: KeptFollowUp, on: date, today: date) -> None:
    if on < kept.raised_on:
        raise ConflictError(
            f"{kept.follow_up_ref} was raised on {kept.raised_on}; it cannot be closed on {on}."
        )
    if on > today:
        raise ConflictError(f"{on} lies in the future; today is {today}.")

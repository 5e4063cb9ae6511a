"""Follow-ups, open and closed, in the order in which they are to be dealt with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from fleet.domain.code import Severity
from fleet.store.models.instrument import Instrument
from fleet.store.models.people import Depot
from fleet.store.models.site import Site, SiteVersion
from fleet.store.models.visit import FollowUp, FollowUpVersion, Visit
from fleet.store.queries.known import known

_ORDER = {severity: number for number, severity in enumerate(Severity)}
"""The word list runs from urgent to next_visit."""


@dataclass(frozen=True, slots=True)
class KeptFollowUp:
    """A follow-up with its site; ``closed_on`` is None while it waits."""

    follow_up_ref: str
    severity: Severity
    site_code: str
    site_name: str
    depot_code: str
    serial: str | None
    raised_on: date
    raised_by_visit: str | None
    due_on: date | None
    description: str
    needs: str | None
    closed_on: date | None
    closed_by_visit: str | None

    def open_at(self, day: date) -> bool:
        """Tell whether it waited at the end of a day."""
        return self.closed_on is None or self.closed_on > day


def follow_ups(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> list[KeptFollowUp]:
    """Give every follow-up raised up to a day, open or closed.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Those raised later are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code : str, optional
        Only sites of this depot.

    Returns
    -------
    list of KeptFollowUp
        Urgent first; within a severity by the day due, those without one last, then by the day
        raised, site and reference.
    """
    query = _follow_ups(known_on).where(FollowUpVersion.raised_on <= as_of)
    if depot_code is not None:
        query = query.where(Depot.code == depot_code)
    found = [
        KeptFollowUp(
            follow_up_ref=row.ref,
            severity=row.FollowUpVersion.severity,
            site_code=row.site,
            site_name=row.site_name,
            depot_code=row.depot,
            serial=row.serial,
            raised_on=row.FollowUpVersion.raised_on,
            raised_by_visit=row.raised_by,
            due_on=row.FollowUpVersion.due_on,
            description=row.FollowUpVersion.description,
            needs=row.FollowUpVersion.needs,
            closed_on=row.FollowUpVersion.closed_on,
            closed_by_visit=row.closed_by,
        )
        for row in session.execute(query)
    ]
    return sorted(found, key=_urgency)


def _urgency(kept: KeptFollowUp) -> tuple[object, ...]:
    due = kept.due_on or date.max
    return (_ORDER[kept.severity], due, kept.raised_on, kept.site_code, kept.follow_up_ref)


def _follow_ups(known_on: datetime | None) -> Any:  # a Select of a version and seven words
    raiser, closer = aliased(Visit), aliased(Visit)
    return (
        select(
            FollowUpVersion,
            FollowUp.code.label("ref"),
            Site.code.label("site"),
            SiteVersion.name.label("site_name"),
            Depot.code.label("depot"),
            Instrument.code.label("serial"),
            raiser.code.label("raised_by"),
            closer.code.label("closed_by"),
        )
        .join(FollowUp, FollowUp.id == FollowUpVersion.follow_up_id)
        .join(Site, Site.id == FollowUpVersion.site_id)
        .join(SiteVersion, (SiteVersion.site_id == Site.id) & known(SiteVersion, known_on))
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .outerjoin(Instrument, Instrument.id == FollowUpVersion.instrument_id)
        .outerjoin(raiser, raiser.id == FollowUpVersion.raised_by_visit_id)
        .outerjoin(closer, closer.id == FollowUpVersion.closed_by_visit_id)
        .where(known(FollowUpVersion, known_on))
        .order_by(FollowUp.code)
    )

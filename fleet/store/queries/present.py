"""Sites at which some gauge has what a question about the present state is about.

They only narrow what is read: whether a gauge is listed is said by the rule, from its history.
"""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import ColumnElement, and_, exists, func, not_, or_, select
from sqlalchemy.orm import Session, aliased

from fleet.domain.code import Phase, VisitOutcome
from fleet.store.models.instrument import Installation
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, VisitVersion
from fleet.store.queries.known import known
from fleet.store.queries.service import any_visit, newest_visit, served, standing, tested


def never_tested_sites(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> set[str]:
    """Give the sites with a gauge of which no test run is on record since its installation.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Gauges are those that stand there on the day; later visits are not seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    """
    seen = any_visit(tested(*Phase), as_of=as_of, known_on=known_on)
    return _codes(session, *standing(as_of, known_on), not_(seen))


def off_logger_sites(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> set[str]:
    """Give the sites with a gauge whose newest word on its connection is that proof is missing.

    Parameters are those of `never_tested_sites`.
    """
    tells = or_(_proof_missing(), GaugeCheck.restoration_proven.is_(True))
    newest = newest_visit(tells, as_of=as_of, known_on=known_on)
    lost = exists().where(
        GaugeCheck.visit_version_id == newest,
        GaugeCheck.instrument_id == Installation.instrument_id,
        _proof_missing(),
    )
    return _codes(session, *standing(as_of, known_on), lost.correlate(Installation))


def failed_visit_sites(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> set[str]:
    """Give the sites with a visit not wholly done since the last service of some gauge there.

    Parameters are those of `never_tested_sites`.
    """
    last = served(as_of, known_on)
    later = aliased(VisitVersion)
    failed = exists().where(
        later.site_id == Installation.site_id,
        later.visited_on >= func.coalesce(VisitVersion.visited_on, Installation.installed_on),
        or_(VisitVersion.id.is_(None), later.visited_on > VisitVersion.visited_on),
        later.visited_on <= as_of,
        later.outcome != VisitOutcome.DONE,
        known(later, known_on),
    )
    rows = session.execute(
        select(Site.code)
        .select_from(last)
        .join(Installation, Installation.id == last.c.installation_id)
        .join(Site, Site.id == Installation.site_id)
        .outerjoin(VisitVersion, VisitVersion.id == last.c.version_id)
        .where(failed.correlate(Installation, VisitVersion))
    ).scalars()
    return set(rows)


def _codes(session: Session, *which: ColumnElement[bool]) -> set[str]:
    rows = session.execute(
        select(Site.code).join(Installation, Installation.site_id == Site.id).where(*which)
    ).scalars()
    return set(rows)


def _proof_missing() -> ColumnElement[bool]:
    """Tell whether a check leaves the connection unproven, as `proof_missing` does."""
    off = or_(GaugeCheck.isolated_at.is_not(None), tested(*Phase))
    return or_(
        GaugeCheck.restoration_proven.is_(False), and_(GaugeCheck.restoration_proven.is_(None), off)
    )

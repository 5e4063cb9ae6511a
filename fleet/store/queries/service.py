"""The last service of each gauge, found by its newest visits and not by its whole history.

Each question walks the visits of a gauge's site backward in time along one index and stops at the
first that answers it. Of a gauge that stands there, every check of its instrument at its site
since its installation was made at its position, since installations never overlap.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import (
    CTE,
    ColumnElement,
    and_,
    exists,
    func,
    or_,
    select,
    tuple_,
)
from sqlalchemy.orm import Session, aliased

from fleet.domain.audit.kept import LastService, ServiceTold
from fleet.domain.code import Phase, VisitOutcome
from fleet.store.models.instrument import GaugeType, Installation, Instrument, InstrumentVersion
from fleet.store.models.people import Depot, Technician
from fleet.store.models.site import Site, SiteVersion
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitTechnician, VisitVersion
from fleet.store.queries.ids import IDS_A_STATEMENT, written
from fleet.store.queries.known import known


def last_services(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> list[LastService]:
    """Give the last service of every gauge that is installed on a day.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Visits after this day are not seen; an instrument removed on it no longer counts.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code : str, optional
        Only gauges of that depot.

    Returns
    -------
    list of LastService
        In order of installation; the same day that `derive_state` gives of the whole history.
    """
    last = served(as_of, known_on)
    query = (
        select(
            last.c.installation_id,
            Site.code,
            GaugeType.code,
            Depot.code,
            Installation.installed_on,
            VisitVersion.visited_on,
        )
        .select_from(last)
        .join(Installation, Installation.id == last.c.installation_id)
        .join(Site, Site.id == Installation.site_id)
        .join(SiteVersion, (SiteVersion.site_id == Site.id) & known(SiteVersion, known_on))
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .join(
            InstrumentVersion,
            (InstrumentVersion.instrument_id == Installation.instrument_id)
            & known(InstrumentVersion, known_on),
        )
        .join(GaugeType, GaugeType.id == InstrumentVersion.gauge_type_id)
        .outerjoin(VisitVersion, VisitVersion.id == last.c.version_id)
        .order_by(last.c.installation_id)
    )
    if depot_code is not None:
        query = query.where(Depot.code == depot_code)
    return [LastService(*row) for row in session.connection().execute(query).all()]


def services_told(
    session: Session,
    installation_ids: Sequence[int],
    *,
    as_of: date,
    known_on: datetime | None = None,
) -> dict[int, ServiceTold]:
    """Give what is said of the last services of some gauges that are installed on a day.

    Parameters
    ----------
    session : Session
        Only read from.
    installation_ids : sequence of int
        From `last_services` of the same day and instant.
    as_of, known_on
        As for `last_services`.

    Returns
    -------
    dict
        By id of installation.
    """
    told: dict[int, ServiceTold] = {}
    for start in range(0, len(installation_ids), IDS_A_STATEMENT):
        ids = installation_ids[start : start + IDS_A_STATEMENT]
        last = served(as_of, known_on, Installation.id.in_(written(ids)))
        rows = session.execute(
            select(
                last.c.installation_id,
                last.c.version_id,
                SiteVersion.name,
                Installation.position,
                Instrument.code,
                Visit.code,
                _attempts(as_of, known_on),
            )
            .select_from(last)
            .join(Installation, Installation.id == last.c.installation_id)
            .join(Instrument, Instrument.id == Installation.instrument_id)
            .join(
                SiteVersion,
                (SiteVersion.site_id == Installation.site_id) & known(SiteVersion, known_on),
            )
            .outerjoin(VisitVersion, VisitVersion.id == last.c.version_id)
            .outerjoin(Visit, Visit.id == VisitVersion.visit_id)
            .order_by(last.c.installation_id)
        ).all()
        crews = _crews(session, [row.version_id for row in rows if row.version_id is not None])
        for number, version_id, site_name, position, serial, ref, attempts in rows:
            by = " ".join(crews[version_id])
            told[number] = ServiceTold(site_name, position, serial, ref, by, attempts)
    return told


def served(as_of: date, known_on: datetime | None, *which: ColumnElement[bool]) -> CTE:
    """Give each gauge standing there with the version of the visit that serviced it last."""
    return (
        select(
            Installation.id.label("installation_id"),
            newest_visit(serviced(), as_of=as_of, known_on=known_on).label("version_id"),
        )
        .where(*standing(as_of, known_on), *which)
        .cte("served")
        .prefix_with("MATERIALIZED")
    )


def standing(as_of: date, known_on: datetime | None) -> tuple[ColumnElement[bool], ...]:
    """Give the conditions that keep the installations that stand on a day."""
    still = or_(Installation.removed_on.is_(None), Installation.removed_on > as_of)
    return (known(Installation, known_on), Installation.installed_on <= as_of, still)


def newest_visit(
    check_counts: ColumnElement[bool], *, as_of: date, known_on: datetime | None
) -> ColumnElement[int]:
    """Give the newest visit of an installation in which its check counts, as a version's id."""
    return (
        select(VisitVersion.id)
        .where(*_reached(check_counts, as_of, known_on))
        .order_by(
            VisitVersion.visited_on.desc(), VisitVersion.arrived_at.desc(), VisitVersion.id.desc()
        )
        .limit(1)
        .correlate(Installation)
        .scalar_subquery()
    )


def any_visit(
    check_counts: ColumnElement[bool], *, as_of: date, known_on: datetime | None
) -> ColumnElement[bool]:
    """Tell whether there is a visit of an installation in which its check counts."""
    reached = _reached(check_counts, as_of, known_on)
    return exists().where(*reached).correlate(Installation)


def serviced() -> ColumnElement[bool]:
    """Tell whether a check serviced the gauge, as `CheckRecord.serviced` does."""
    return or_(
        GaugeCheck.cleaned,
        GaugeCheck.adjusted,
        tested(Phase.AS_LEFT),
    )


def tested(*phases: Phase) -> ColumnElement[bool]:
    """Tell whether a check has a test run of one of some phases."""
    return exists().where(TipRun.gauge_check_id == GaugeCheck.id, TipRun.phase.in_(phases))


def _at_site(as_of: date, known_on: datetime | None) -> tuple[ColumnElement[bool], ...]:
    return (
        VisitVersion.site_id == Installation.site_id,
        VisitVersion.visited_on >= Installation.installed_on,
        VisitVersion.visited_on <= as_of,
        known(VisitVersion, known_on),
    )


def _reached(
    check_counts: ColumnElement[bool], as_of: date, known_on: datetime | None
) -> tuple[ColumnElement[bool], ...]:
    own = (
        exists()
        .where(
            GaugeCheck.visit_version_id == VisitVersion.id,
            GaugeCheck.instrument_id == Installation.instrument_id,
            check_counts,
        )
        .correlate(VisitVersion, Installation)
    )
    return (*_at_site(as_of, known_on), VisitVersion.outcome != VisitOutcome.NOT_DONE, own)


def _attempts(as_of: date, known_on: datetime | None) -> ColumnElement[int]:
    """Count the visits after the last service (`VisitVersion`) that did not reach the gauge."""
    later = aliased(VisitVersion)
    since_service = tuple_(later.visited_on, later.arrived_at, later.id) > tuple_(
        VisitVersion.visited_on, VisitVersion.arrived_at, VisitVersion.id
    )
    missed = and_(
        later.outcome == VisitOutcome.NOT_DONE,
        or_(
            GaugeCheck.instrument_id == Installation.instrument_id,
            _stood_here(later, known_on),
        ),
    )
    return (
        select(func.count())
        .select_from(later)
        .outerjoin(GaugeCheck, GaugeCheck.visit_version_id == later.id)
        .where(
            later.site_id == Installation.site_id,
            later.visited_on >= func.coalesce(VisitVersion.visited_on, Installation.installed_on),
            later.visited_on <= as_of,
            known(later, known_on),
            or_(VisitVersion.id.is_(None), since_service),
            or_(GaugeCheck.id.is_(None), missed),
        )
        .correlate(Installation, VisitVersion)
        .scalar_subquery()
    )


def _stood_here(visit: type[VisitVersion], known_on: datetime | None) -> ColumnElement[bool]:
    """Tell whether the checked instrument was at the gauge's position on the day of a visit.

    Another instrument may have been, on the day on which it made room.
    """
    stay, place = aliased(Installation), aliased(Installation)
    newest = (
        select(stay.id)
        .where(
            stay.instrument_id == GaugeCheck.instrument_id,
            stay.installed_on <= visit.visited_on,
            or_(stay.removed_on.is_(None), stay.removed_on >= visit.visited_on),
            known(stay, known_on),
        )
        .order_by(stay.installed_on.desc())
        .limit(1)
        .correlate(GaugeCheck, visit)
        .scalar_subquery()
    )
    return (
        exists()
        .where(
            place.id == newest,
            place.site_id == Installation.site_id,
            place.position == Installation.position,
        )
        .correlate(Installation, GaugeCheck, visit)
    )


def _crews(session: Session, version_ids: Sequence[int]) -> dict[int | None, list[str]]:
    rows = session.execute(
        select(VisitTechnician.visit_version_id, Technician.code)
        .join(Technician, Technician.id == VisitTechnician.technician_id)
        .where(VisitTechnician.visit_version_id.in_(written(version_ids)))
        .order_by(VisitTechnician.id)
    )
    crews: dict[int | None, list[str]] = defaultdict(list)
    for version_id, code in rows:
        crews[version_id].append(code)
    return crews

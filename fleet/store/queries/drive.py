"""Recorded drives: from leaving one site to arriving at the next, by the same technician."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby, pairwise
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.store.models.people import Depot, Technician
from fleet.store.models.site import Site, SiteVersion
from fleet.store.models.visit import Visit, VisitTechnician, VisitVersion
from fleet.store.queries.known import known


@dataclass(frozen=True, slots=True)
class RecordedDrive:
    """The time between two visits that followed each other on one day.

    ``minutes`` is negative where the records let the visits overlap.
    """

    from_visit: str
    to_visit: str
    from_site: str
    to_site: str
    day: date
    minutes: float


def recorded_drives(
    session: Session, depot_code: str, *, as_of: date, known_on: datetime | None = None
) -> list[RecordedDrive]:
    """Give the drives between sites of a depot, oldest first.

    Parameters
    ----------
    session : Session
        Only read from.
    depot_code : str
        Both sites belong to it.
    as_of : date
        Last local day of arrival that is seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    list of RecordedDrive
        One for two who drove together. A visit of another depot between two is no drive.
    """
    rows = session.execute(
        select(
            Technician.code.label("technician"),
            VisitVersion.visited_on,
            VisitVersion.arrived_at,
            VisitVersion.departed_at,
            Visit.code.label("visit_ref"),
            Site.code.label("site_code"),
            Depot.code.label("depot_code"),
        )
        .join(VisitTechnician, VisitTechnician.visit_version_id == VisitVersion.id)
        .join(Technician, Technician.id == VisitTechnician.technician_id)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Site, Site.id == VisitVersion.site_id)
        .join(SiteVersion, SiteVersion.site_id == Site.id)
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .where(VisitVersion.visited_on <= as_of)
        .where(known(VisitVersion, known_on), known(SiteVersion, known_on))
        .order_by(Technician.code, VisitVersion.visited_on, VisitVersion.arrived_at, Visit.code)
    ).all()
    found = {
        (drive.from_visit, drive.to_visit): drive
        for _, visits in groupby(rows, key=lambda row: (row.technician, row.visited_on))
        for drive in _drives(list(visits), depot_code)
    }
    return sorted(found.values(), key=lambda drive: (drive.day, drive.from_visit, drive.to_visit))


def _drives(visits: list[Any], depot_code: str) -> Iterator[RecordedDrive]:
    for before, after in pairwise(visits):
        same = before.site_code == after.site_code
        if not same and before.depot_code == after.depot_code == depot_code:
            yield RecordedDrive(
                from_visit=before.visit_ref,
                to_visit=after.visit_ref,
                from_site=before.site_code,
                to_site=after.site_code,
                day=after.visited_on,
                minutes=(after.arrived_at - before.departed_at).total_seconds() / 60.0,
            )

"""What was found and done at a gauge, in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.code import Action, Component, Condition
from fleet.store.models.instrument import Instrument
from fleet.store.models.site import Site
from fleet.store.models.visit import Finding, Visit, VisitVersion
from fleet.store.queries.known import known


@dataclass(frozen=True, slots=True)
class KeptFinding:
    """One finding; no serial means that it is about the site."""

    visit_ref: str
    visited_on: date
    site_code: str
    serial: str | None
    component: Component
    condition_found: Condition
    action: Action
    condition_left: Condition
    note: str

    def __str__(self) -> str:
        words = (
            f"{self.visited_on.isoformat()} {self.component}: found {self.condition_found}, "
            f"{self.action}, left {self.condition_left}"
        ).replace("_", " ")
        return f"{words} ({self.note})" if self.note else words


def findings_by_site(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    site_codes: Collection[str] | None = None,
) -> dict[str, list[KeptFinding]]:
    """Give the findings of every site, or of these, up to a day, newest first."""
    query = (
        select(Finding, Visit.code, VisitVersion.visited_on, Site.code, Instrument.code)
        .join(VisitVersion, VisitVersion.id == Finding.visit_version_id)
        .join(Visit, Visit.id == VisitVersion.visit_id)
        .join(Site, Site.id == VisitVersion.site_id)
        .outerjoin(Instrument, Instrument.id == Finding.instrument_id)
        .where(VisitVersion.visited_on <= as_of, known(VisitVersion, known_on))
        .order_by(VisitVersion.visited_on.desc(), VisitVersion.id.desc(), Finding.finding_number)
    )
    rows = session.execute(query if site_codes is None else query.where(Site.code.in_(site_codes)))
    found: dict[str, list[KeptFinding]] = defaultdict(list)
    for finding, visit_ref, visited_on, site_code, serial in rows:
        found[site_code].append(
            KeptFinding(
                visit_ref=visit_ref,
                visited_on=visited_on,
                site_code=site_code,
                serial=serial,
                component=finding.component,
                condition_found=finding.condition_found,
                action=finding.action,
                condition_left=finding.condition_left,
                note=finding.note or "",
            )
        )
    return found

"""Sites with what a visitor must know, their access rules, holds and open follow-ups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from fleet.domain.access import AccessSpan, DatedWindows
from fleet.domain.code import HoldKind, Severity
from fleet.domain.plan import Window
from fleet.store.models.instrument import Instrument
from fleet.store.models.people import Depot, Technician
from fleet.store.models.site import AccessRule, AccessWindow, Hold, Site, SiteVersion
from fleet.store.models.visit import FollowUp, FollowUpVersion
from fleet.store.queries.known import known


@dataclass(frozen=True, slots=True)
class KeptSite:
    """A site as it is known, with its access rules in their order."""

    code: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    time_zone: str
    depot_code: str
    access_minutes: int
    persons_required: int
    required_skill: str | None
    ring_first: bool
    contact: str
    hazards: str
    access_notes: str
    spans: tuple[AccessSpan, ...]
    dated: DatedWindows = field(default_factory=dict)
    """Windows of single days, in minutes; a site with any is closed on all other days."""


@dataclass(frozen=True, slots=True)
class KeptHold:
    """A hold that binds on some day of a span."""

    site_code: str
    kind: HoldKind
    first_day: date
    last_day: date
    technician_code: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class OpenFollowUp:
    """A defect that waits on a day."""

    follow_up_ref: str
    site_code: str
    serial: str | None
    severity: Severity
    raised_on: date
    due_on: date | None
    description: str
    needs: str | None


def sites(
    session: Session,
    *,
    depot_code: str | None = None,
    known_on: datetime | None = None,
    site_codes: Collection[str] | None = None,
) -> dict[str, KeptSite]:
    """Give every site, or those of a depot or of some codes, by code in order of code."""
    query = (
        select(Site.code, SiteVersion, Depot.code)
        .join(SiteVersion, SiteVersion.site_id == Site.id)
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .where(known(SiteVersion, known_on))
        .order_by(Site.code)
    )
    if depot_code is not None:
        query = query.where(Depot.code == depot_code)
    if site_codes is not None:
        query = query.where(Site.code.in_(site_codes))
    spans, dated = _spans(session, depot_code, known_on), _dated(session, depot_code, known_on)
    return {
        code: KeptSite(
            code=code,
            name=site.name,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            time_zone=site.time_zone,
            depot_code=depot,
            access_minutes=site.access_minutes,
            persons_required=site.persons_required,
            required_skill=site.required_skill,
            ring_first=site.ring_first,
            contact=site.contact or "",
            hazards=site.hazards or "",
            access_notes=site.access_notes or "",
            spans=tuple(spans.get(code, ())),
            dated={day: tuple(windows) for day, windows in dated.get(code, {}).items()},
        )
        for code, site, depot in session.execute(query)
    }


def _of_depot(query: Any, depot_code: str | None, known_on: datetime | None) -> Any:
    """Keep the rows of a depot's sites; None keeps all."""
    if depot_code is None:
        return query
    return (
        query.join(SiteVersion, SiteVersion.site_id == Site.id)
        .join(Depot, Depot.id == SiteVersion.depot_id)
        .where(known(SiteVersion, known_on), Depot.code == depot_code)
    )


def _spans(
    session: Session, depot_code: str | None, known_on: datetime | None
) -> dict[str, list[AccessSpan]]:
    query = (
        select(Site.code, AccessRule)
        .join(AccessRule, AccessRule.site_id == Site.id)
        .where(known(AccessRule, known_on))
        .order_by(Site.code, AccessRule.rule_number)
    )
    rows = session.execute(_of_depot(query, depot_code, known_on))
    found: dict[str, list[AccessSpan]] = defaultdict(list)
    for code, rule in rows:
        found[code].append(
            AccessSpan(
                weekdays=frozenset((rule.weekdays or "").split()),
                opens_min=rule.opens,
                closes_min=rule.closes,
                first_day=rule.first_day,
                last_day=rule.last_day,
                note=rule.note or "",
            )
        )
    return found


def _dated(
    session: Session, depot_code: str | None, known_on: datetime | None
) -> dict[str, dict[date, list[Window]]]:
    query = (
        select(Site.code, AccessWindow.day, AccessWindow.opens, AccessWindow.closes)
        .join(AccessWindow, AccessWindow.site_id == Site.id)
        .where(known(AccessWindow, known_on))
        .order_by(Site.code, AccessWindow.day, AccessWindow.opens)
    )
    rows = session.execute(_of_depot(query, depot_code, known_on))
    found: dict[str, dict[date, list[Window]]] = defaultdict(lambda: defaultdict(list))
    for code, day, opens, closes in rows:
        found[code][day].append(Window(opens, closes))
    return found


def holds(
    session: Session,
    first: date,
    last: date,
    *,
    depot_code: str | None = None,
    known_on: datetime | None = None,
) -> list[KeptHold]:
    """Give the holds that bind on some day of a span, in order of site, kind and day.

    With ``depot_code`` only those of the sites of a depot.
    """
    query = (
        select(Site.code, Hold, Technician.code)
        .join(Site, Site.id == Hold.site_id)
        .outerjoin(Technician, Technician.id == Hold.technician_id)
        .where(known(Hold, known_on), Hold.first_day <= last, Hold.last_day >= first)
        .order_by(Site.code, Hold.kind, Hold.first_day)
    )
    rows = session.execute(_of_depot(query, depot_code, known_on))
    return [
        KeptHold(code, hold.kind, hold.first_day, hold.last_day, technician, hold.reason)
        for code, hold, technician in rows
    ]


def open_follow_ups(
    session: Session, *, as_of: date, known_on: datetime | None = None
) -> list[OpenFollowUp]:
    """Give the follow-ups that were open at the end of a day, in order of site and reference."""
    rows = session.execute(
        select(FollowUp.code, FollowUpVersion, Site.code, Instrument.code)
        .join(FollowUp, FollowUp.id == FollowUpVersion.follow_up_id)
        .join(Site, Site.id == FollowUpVersion.site_id)
        .outerjoin(Instrument, Instrument.id == FollowUpVersion.instrument_id)
        .where(known(FollowUpVersion, known_on), FollowUpVersion.raised_on <= as_of)
        .where(FollowUpVersion.closed_on.is_(None) | (FollowUpVersion.closed_on > as_of))
        .order_by(Site.code, FollowUp.code)
    )
    return [
        OpenFollowUp(
            follow_up_ref=ref,
            site_code=site,
            serial=serial,
            severity=kept.severity,
            raised_on=kept.raised_on,
            due_on=kept.due_on,
            description=kept.description,
            needs=kept.needs,
        )
        for ref, kept, site, serial in rows
    ]

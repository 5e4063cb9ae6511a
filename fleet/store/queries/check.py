"""Everything that was measured and found, visit by visit, as the forecasts and audits read it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, select, union
from sqlalchemy.orm import Session

from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord
from fleet.store.models.instrument import Installation, Instrument
from fleet.store.models.people import Technician
from fleet.store.models.site import Site
from fleet.store.models.visit import GaugeCheck, Visit, VisitTechnician, VisitVersion
from fleet.store.queries.gauge import InstalledGauge
from fleet.store.queries.ids import written
from fleet.store.queries.known import Conditions, known
from fleet.store.queries.switch_reading import readings_by_check, switch_by_phase
from fleet.store.queries.tip_run import runs_by_phase
from fleet.store.queries.water_path import blocked_water, water_at
from fleet.store.queries.whereabouts import Whereabouts

_FOUND, _LEFT = Phase.AS_FOUND.value, Phase.AS_LEFT.value


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """A check, or a visit in which no gauge was reached, with its ids and place.

    ``instrument_id`` is None for a visit without checks; ``position`` is where the instrument
    stood on that day, None where no installation says so.
    """

    record: CheckRecord
    visit_version_id: int
    site_id: int
    instrument_id: int | None
    position: str | None


def kept_checks(
    session: Session,
    *,
    as_of: date,
    known_on: datetime | None = None,
    visit_refs: Collection[str] | None = None,
    about: Sequence[InstalledGauge] | None = None,
) -> list[KeptCheck]:
    """Give every check up to a day.

    Parameters
    ----------
    session : Session
        Only read from.
    as_of : date
        Last local day of arrival that is seen.
    known_on : datetime, optional
        As the records were known then; None is now.
    visit_refs : collection of str, optional
        Only these visits; None is every visit.
    about : sequence of InstalledGauge, optional
        Only the visits to the sites of these gauges, or in which one of their instruments was
        checked; None is every visit.

    Returns
    -------
    list of KeptCheck
        In order of day, arrival and id.
    """
    seen = (
        VisitVersion.visited_on <= as_of,
        known(VisitVersion, known_on),
        *_named(visit_refs),
        *_about(about),
    )
    whereabouts = Whereabouts(session, known_on, () if about is None else (_checked(seen),))
    heads = _heads(session, seen)
    days = {row.check_id: row.visited_on for row in heads}
    runs = runs_by_phase(session, seen, days, known_on)
    readings = readings_by_check(session, seen)
    blocked = blocked_water(session, seen)
    crews = _crews(session, seen)
    checks: list[KeptCheck] = []
    for row in heads:
        phases = runs.get(row.check_id, {})
        place = whereabouts.of(row.instrument_id, row.visited_on)
        switch = switch_by_phase(readings.get(row.check_id, ()), place.loop_ohm if place else None)
        found, left, partly = water_at(blocked, row.version_id, row.instrument_id)
        record = CheckRecord(
            visit_ref=row.visit_ref,
            visited_on=row.visited_on,
            outcome=row.outcome,
            purpose=row.purpose,
            site_code=row.site_code,
            serial=row.serial or "",
            not_done_reason=row.not_done_reason,
            checked=row.check_id is not None,
            cleaned=bool(row.cleaned),
            adjusted=bool(row.adjusted),
            isolated=row.isolated_at is not None,
            restoration_proven=row.restoration_proven,
            blocked_found=found,
            blocked_left=left,
            partly_found=partly and not found,
            as_found=phases.get(_FOUND),
            as_left=phases.get(_LEFT),
            switch_found=switch.get(_FOUND),
            switch_left=switch.get(_LEFT),
            technicians=crews.get(row.version_id, ()),
        )
        position = place.position if place and place.site_id == row.site_id else None
        checks.append(KeptCheck(record, row.version_id, row.site_id, row.instrument_id, position))
    return checks


def _named(visit_refs: Collection[str] | None) -> Conditions:
    if visit_refs is None:
        return ()
    return (VisitVersion.visit_id.in_(select(Visit.id).where(Visit.code.in_(visit_refs))),)


def _about(gauges: Sequence[InstalledGauge] | None) -> Conditions:
    """Keep the visits about some gauges; each half of the union goes along an index."""
    if gauges is None:
        return ()
    own = written({gauge.instrument_id for gauge in gauges})
    checked = select(GaugeCheck.visit_version_id).where(GaugeCheck.instrument_id.in_(own))
    at = written({gauge.site_id for gauge in gauges})
    there = select(VisitVersion.id).where(VisitVersion.site_id.in_(at))
    return (VisitVersion.id.in_(union(checked, there)),)


def _checked(seen: Conditions) -> ColumnElement[bool]:
    """Keep the installations of the instruments that were checked."""
    checked = select(GaugeCheck.instrument_id).join(VisitVersion).where(*seen)
    return Installation.instrument_id.in_(checked)


def _heads(session: Session, seen: Conditions) -> Sequence[Any]:
    return (
        session.connection()
        .execute(
            select(
                VisitVersion.id.label("version_id"),
                Visit.code.label("visit_ref"),
                VisitVersion.visited_on,
                VisitVersion.outcome,
                VisitVersion.purpose,
                VisitVersion.not_done_reason,
                VisitVersion.site_id,
                Site.code.label("site_code"),
                GaugeCheck.id.label("check_id"),
                GaugeCheck.instrument_id,
                Instrument.code.label("serial"),
                GaugeCheck.isolated_at,
                GaugeCheck.restoration_proven,
                GaugeCheck.cleaned,
                GaugeCheck.adjusted,
            )
            .join(Visit, Visit.id == VisitVersion.visit_id)
            .join(Site, Site.id == VisitVersion.site_id)
            .outerjoin(GaugeCheck, GaugeCheck.visit_version_id == VisitVersion.id)
            .outerjoin(Instrument, Instrument.id == GaugeCheck.instrument_id)
            .where(*seen)
            .order_by(
                VisitVersion.visited_on, VisitVersion.arrived_at, VisitVersion.id, GaugeCheck.id
            )
        )
        .all()
    )


def _crews(session: Session, seen: Conditions) -> dict[int, tuple[str, ...]]:
    rows = session.execute(
        select(VisitTechnician.visit_version_id, Technician.code)
        .join(Technician, Technician.id == VisitTechnician.technician_id)
        .join(VisitVersion, VisitVersion.id == VisitTechnician.visit_version_id)
        .where(*seen)
        .order_by(VisitTechnician.id)
    )
    crews: dict[int, tuple[str, ...]] = {}
    for version_id, code in rows:
        crews[version_id] = (*crews.get(version_id, ()), code)
    return crews

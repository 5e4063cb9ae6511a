"""Everything that was measured and found, visit by visit, as the forecasts and audits read it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from fleet.domain.code import (
    WATER_PATH,
    Condition,
    MeasuredAt,
    Phase,
    StartState,
    SwitchReadingKind,
)
from fleet.domain.history import CheckRecord, PhaseRuns, SwitchReadings
from fleet.store.models.instrument import Certificate, Installation, Instrument
from fleet.store.models.people import Technician
from fleet.store.models.site import Site
from fleet.store.models.visit import (
    Finding,
    GaugeCheck,
    SwitchReading,
    TipRun,
    Visit,
    VisitTechnician,
    VisitVersion,
)
from fleet.store.queries.gauge import InstalledGauge
from fleet.store.queries.known import known

Conditions = tuple[ColumnElement[bool], ...]

Water = tuple[bool, bool, bool]
"""Whether the way of the water was blocked as found, is blocked as left, was partly so as found."""

CLEAR: Water = (False, False, False)


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
    instrument_ids: Collection[int] | None = None,
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
    instrument_ids : collection of int, optional
        Only the visits in which one of these instruments was checked; None is every visit.
    visit_refs : collection of str, optional
        Only these visits; None is every visit.
    about : sequence of InstalledGauge, optional
        Only the visits to the sites of these gauges, or in which one of them was checked.

    Returns
    -------
    list of KeptCheck
        In order of day, arrival and id.
    """
    seen = (*_seen(as_of, known_on, instrument_ids), *_named(visit_refs), *_about(about))
    heads = _heads(session, seen)
    checked = None if about is None else {row.instrument_id for row in heads}
    places = _Places(session, known_on, checked)
    runs = _runs(session, seen, known_on)
    readings = _readings(session, seen)
    blocked = _blocked(session, seen)
    crews = _crews(session, seen)
    checks: list[KeptCheck] = []
    for row in heads:
        phases = runs.get(row.check_id, {})
        place = places.of(row.instrument_id, row.visited_on)
        switch = _switch(readings.get(row.check_id, ()), place.loop_ohm if place else None)
        found, left, partly = _either(blocked, row.version_id, row.instrument_id)
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
            as_found=phases.get(Phase.AS_FOUND),
            as_left=phases.get(Phase.AS_LEFT),
            switch_found=switch.get(Phase.AS_FOUND),
            switch_left=switch.get(Phase.AS_LEFT),
            technicians=crews.get(row.version_id, ()),
        )
        position = place.position if place and place.site_id == row.site_id else None
        checks.append(KeptCheck(record, row.version_id, row.site_id, row.instrument_id, position))
    return checks


def _seen(
    as_of: date, known_on: datetime | None, instrument_ids: Collection[int] | None
) -> Conditions:
    seen = (VisitVersion.visited_on <= as_of, known(VisitVersion, known_on))
    if instrument_ids is None:
        return seen
    checked = select(GaugeCheck.visit_version_id).where(
        GaugeCheck.instrument_id.in_(instrument_ids)
    )
    return (*seen, VisitVersion.id.in_(checked))


def _named(visit_refs: Collection[str] | None) -> Conditions:
    if visit_refs is None:
        return ()
    return (VisitVersion.visit_id.in_(select(Visit.id).where(Visit.code.in_(visit_refs))),)


def _about(gauges: Sequence[InstalledGauge] | None) -> Conditions:
    if gauges is None:
        return ()
    own = {gauge.instrument_id for gauge in gauges}
    checked = select(GaugeCheck.visit_version_id).where(GaugeCheck.instrument_id.in_(own))
    there = VisitVersion.site_id.in_({gauge.site_id for gauge in gauges})
    return (or_(there, VisitVersion.id.in_(checked)),)


def _heads(session: Session, seen: Conditions) -> Sequence[Any]:
    return session.execute(
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
        .order_by(VisitVersion.visited_on, VisitVersion.arrived_at, VisitVersion.id, GaugeCheck.id)
    ).all()


def _runs(
    session: Session, seen: Conditions, known_on: datetime | None
) -> dict[int, dict[Phase, PhaseRuns]]:
    uncertainty = _volume_uncertainty(session, known_on)
    rows = session.execute(
        select(
            TipRun.gauge_check_id,
            TipRun.phase,
            TipRun.volume_ml,
            TipRun.tips,
            TipRun.start_state,
            TipRun.device_id,
            VisitVersion.visited_on,
            TipRun.duration_s,
        )
        .join(GaugeCheck, GaugeCheck.id == TipRun.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(TipRun.gauge_check_id, TipRun.phase, TipRun.run_number)
    )
    phases: dict[int, dict[Phase, PhaseRuns]] = defaultdict(dict)
    for (check_id, phase), group in groupby(rows, key=itemgetter(0, 1)):
        _, _, volumes_ml, tips, starts, devices, days, durations_s = zip(*group, strict=True)
        phases[check_id][phase] = PhaseRuns(
            phase=phase,
            runs=len(tips),
            emptied_runs=starts.count(StartState.EMPTIED),
            volume_ml=sum(volumes_ml),
            tips=sum(tips),
            volume_u_ml=max(map(uncertainty, devices, days)),
            run_tips=tips,
            run_volumes_ml=volumes_ml,
            run_durations_s=durations_s,
        )
    return phases


def _volume_uncertainty(session: Session, known_on: datetime | None) -> Any:
    rows = session.execute(
        select(
            Certificate.device_id,
            Certificate.valid_from,
            Certificate.expanded_uncertainty_ml,
        )
        .where(known(Certificate, known_on), Certificate.expanded_uncertainty_ml.is_not(None))
        .order_by(Certificate.device_id, Certificate.valid_from)
    )
    by_device: dict[int, list[tuple[date, float]]] = defaultdict(list)
    for device_id, valid_from, expanded in rows:
        by_device[device_id].append((valid_from, (expanded or 0.0) / 2.0))

    def uncertainty(device_id: int | None, on: date) -> float:
        """Give the standard uncertainty by the newest certificate of that day, else 0."""
        if device_id is None:
            return 0.0
        seen = [u for start, u in by_device.get(device_id, ()) if start <= on]
        return seen[-1] if seen else 0.0

    return uncertainty


def _readings(session: Session, seen: Conditions) -> Mapping[int, Sequence[Any]]:
    rows = session.execute(
        select(
            SwitchReading.gauge_check_id,
            SwitchReading.phase,
            SwitchReading.kind,
            SwitchReading.value,
            SwitchReading.over_range,
            SwitchReading.measured_at,
        )
        .join(GaugeCheck, GaugeCheck.id == SwitchReading.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(SwitchReading.gauge_check_id, SwitchReading.phase, SwitchReading.kind)
    )
    grouped: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        grouped[row.gauge_check_id].append(row)
    return grouped


def _switch(rows: Sequence[Any], loop_ohm: float | None) -> dict[Phase, SwitchReadings]:
    by_phase: dict[Phase, dict[SwitchReadingKind, Any]] = defaultdict(dict)
    for row in rows:
        by_phase[row.phase][row.kind] = row
    return {phase: _one_phase(phase, kinds, loop_ohm) for phase, kinds in by_phase.items()}


def _one_phase(
    phase: Phase, kinds: Mapping[SwitchReadingKind, Any], loop_ohm: float | None
) -> SwitchReadings:
    closed = kinds.get(SwitchReadingKind.CLOSED_OHM)
    opened = kinds.get(SwitchReadingKind.OPEN_OHM)
    manual = kinds.get(SwitchReadingKind.MANUAL_TIPS)
    return SwitchReadings(
        phase=phase,
        closed_ohm=None if closed is None else _at_terminals(closed, loop_ohm),
        no_closure=closed is not None and bool(closed.over_range),
        measured_at=None if closed is None else closed.measured_at,
        open_ohm=None if opened is None else opened.value,
        manual_tips=None if manual is None or manual.value is None else round(manual.value),
    )


def _at_terminals(closed: Any, loop_ohm: float | None) -> float | None:
    if closed.over_range or closed.measured_at is not MeasuredAt.LOGGER:
        return None if closed.over_range else float(closed.value)
    return None if loop_ohm is None else max(0.0, closed.value - loop_ohm)


def _blocked(session: Session, seen: Conditions) -> dict[tuple[int, int | None], Water]:
    rows = session.execute(
        select(
            Finding.visit_version_id,
            Finding.instrument_id,
            Finding.condition_found,
            Finding.condition_left,
        )
        .join(VisitVersion, VisitVersion.id == Finding.visit_version_id)
        .where(
            *seen,
            Finding.component.in_(sorted(WATER_PATH)),
        )
        .order_by(Finding.id)
    )
    blocked: dict[tuple[int, int | None], Water] = {}
    for version_id, instrument_id, found, left in rows:
        before = blocked.get((version_id, instrument_id), CLEAR)
        blocked[version_id, instrument_id] = (
            before[0] or found is Condition.BLOCKED,
            before[1] or left is Condition.BLOCKED,
            before[2] or found is Condition.PARTLY_BLOCKED,
        )
    return blocked


def _either(
    blocked: Mapping[tuple[int, int | None], Water],
    version_id: int,
    instrument_id: int | None,
) -> Water:
    own = blocked.get((version_id, instrument_id), CLEAR)
    site = blocked.get((version_id, None), CLEAR)
    return own[0] or site[0], own[1] or site[1], own[2] or site[2]


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


@dataclass(frozen=True, slots=True)
class _Place:
    site_id: int
    position: str
    loop_ohm: float | None


class _Places:
    """Where each instrument stood on each day; on the day of removal it still stood there."""

    def __init__(
        self,
        session: Session,
        known_on: datetime | None,
        instrument_ids: Collection[int | None] | None = None,
    ) -> None:
        query = (
            select(Installation)
            .where(known(Installation, known_on))
            .order_by(Installation.instrument_id, Installation.installed_on)
        )
        if instrument_ids is not None:
            query = query.where(Installation.instrument_id.in_(instrument_ids))
        rows = session.execute(query).scalars()
        self._spans: dict[int, list[tuple[date, date, _Place]]] = defaultdict(list)
        for row in rows:
            place = _Place(row.site_id, row.position, row.loop_ohm)
            span = (row.installed_on, row.removed_on or date.max, place)
            self._spans[row.instrument_id].append(span)

    def of(self, instrument_id: int | None, day: date) -> _Place | None:
        """Give the place of an instrument on a day, the newer one on a day of moving."""
        if instrument_id is None:
            return None
        found = [p for start, end, p in self._spans.get(instrument_id, ()) if start <= day <= end]
        return found[-1] if found else None

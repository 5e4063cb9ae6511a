"""Everything that was measured and found, visit by visit, as the forecasts and audits read it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import ColumnElement, String, select, type_coerce, union
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
from fleet.store.queries.ids import written
from fleet.store.queries.known import known

Conditions = tuple[ColumnElement[bool], ...]

Water = tuple[bool, bool, bool]
"""Whether the way of the water was blocked as found, is blocked as left, was partly so as found."""

CLEAR: Water = (False, False, False)

_FOUND, _LEFT = Phase.AS_FOUND.value, Phase.AS_LEFT.value
_PHASES = {phase.value: phase for phase in Phase}
_EMPTIED = StartState.EMPTIED.value
_CLOSED = SwitchReadingKind.CLOSED_OHM.value
_OPEN = SwitchReadingKind.OPEN_OHM.value
_MANUAL = SwitchReadingKind.MANUAL_TIPS.value
"""Words as the texts that they are kept as: of a million checks they need not all become words."""

_NOT_READ = (None, False, None)
"""Value, whether it was over range, and where measured, of a reading that was not taken."""


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
    places = _Places(session, known_on, () if about is None else (_checked(seen),))
    heads = _heads(session, seen)
    runs = _runs(session, seen, heads, known_on)
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


def _runs(
    session: Session, seen: Conditions, heads: Sequence[Any], known_on: datetime | None
) -> dict[int, dict[str, PhaseRuns]]:
    days = {row.check_id: row.visited_on for row in heads}
    uncertainty = _volume_uncertainty(session, known_on)
    found = session.connection().execute(
        select(
            TipRun.gauge_check_id,
            type_coerce(TipRun.phase, String),
            TipRun.volume_ml,
            TipRun.tips,
            type_coerce(TipRun.start_state, String),
            TipRun.device_id,
            TipRun.duration_s,
        )
        .join(GaugeCheck, GaugeCheck.id == TipRun.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(TipRun.gauge_check_id, TipRun.phase, TipRun.run_number)
    )
    rows: Any = found.cursor  # numbers and texts of millions of runs: as the driver gives them
    phases: dict[int, dict[str, PhaseRuns]] = defaultdict(dict)
    for (check_id, phase), group in groupby(rows, key=itemgetter(0, 1)):
        _, _, volumes_ml, tips, starts, devices, durations_s = zip(*group, strict=True)
        day = days[check_id]
        phases[check_id][phase] = PhaseRuns(
            phase=_PHASES[phase],
            runs=len(tips),
            emptied_runs=starts.count(_EMPTIED),
            volume_ml=sum(volumes_ml),
            tips=sum(tips),
            volume_u_ml=max(uncertainty(device, day) for device in set(devices)),
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
    rows = session.connection().execute(
        select(
            SwitchReading.gauge_check_id,
            type_coerce(SwitchReading.phase, String),
            type_coerce(SwitchReading.kind, String),
            SwitchReading.value,
            SwitchReading.over_range,
            type_coerce(SwitchReading.measured_at, String),
        )
        .join(GaugeCheck, GaugeCheck.id == SwitchReading.gauge_check_id)
        .join(VisitVersion, VisitVersion.id == GaugeCheck.visit_version_id)
        .where(*seen)
        .order_by(SwitchReading.gauge_check_id, SwitchReading.phase, SwitchReading.kind)
    )
    grouped: dict[int, list[Any]] = defaultdict(list)
    for check_id, *reading in rows:
        grouped[check_id].append(reading)
    return grouped


def _switch(rows: Sequence[Any], loop_ohm: float | None) -> dict[str, SwitchReadings]:
    by_phase: dict[str, dict[str, Any]] = {}
    for phase, kind, *reading in rows:
        by_phase.setdefault(phase, {})[kind] = reading
    return {phase: _one_phase(phase, kinds, loop_ohm) for phase, kinds in by_phase.items()}


def _one_phase(phase: str, kinds: Mapping[str, Any], loop_ohm: float | None) -> SwitchReadings:
    value, over_range, place = kinds.get(_CLOSED, _NOT_READ)
    measured_at = None if place is None else MeasuredAt(place)
    manual = kinds.get(_MANUAL, _NOT_READ)[0]
    return SwitchReadings(
        phase=_PHASES[phase],
        closed_ohm=None if over_range else _at_terminals(value, measured_at, loop_ohm),
        no_closure=bool(over_range),
        measured_at=measured_at,
        open_ohm=kinds.get(_OPEN, _NOT_READ)[0],
        manual_tips=None if manual is None else round(manual),
    )


def _at_terminals(
    ohm: float | None, measured_at: MeasuredAt | None, loop_ohm: float | None
) -> float | None:
    if ohm is None or measured_at is not MeasuredAt.LOGGER:
        return ohm
    return None if loop_ohm is None else max(0.0, ohm - loop_ohm)


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

    def __init__(self, session: Session, known_on: datetime | None, which: Conditions) -> None:
        rows = session.execute(
            select(
                Installation.instrument_id,
                Installation.installed_on,
                Installation.removed_on,
                Installation.site_id,
                Installation.position,
                Installation.loop_ohm,
            )
            .where(known(Installation, known_on), *which)
            .order_by(Installation.instrument_id, Installation.installed_on)
        )
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

"""Visits and what was measured, found and done; an amendment is a whole new version of a visit."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.domain.code import (
    Action,
    Component,
    Condition,
    Level,
    MeasuredAt,
    NotDoneReason,
    Phase,
    Severity,
    StartState,
    SwitchReadingKind,
    VisitOutcome,
    VisitPurpose,
)
from fleet.store.base import Anchor, Base, Kept, Versioned, versioned_args, within, word


class Visit(Anchor, Base):
    """A visit's unchanging reference (its code)."""

    __tablename__ = "visit"


class VisitVersion(Versioned, Base):
    """What is known of a visit; ``visited_on`` is the local day of arrival."""

    __tablename__ = "visit_version"
    __table_args__ = versioned_args(
        within("utc_offset_minutes", -1080, 1080),
        CheckConstraint("departed_at > arrived_at", name="time_order"),
        CheckConstraint("outcome = 'done' OR not_done_reason IS NOT NULL", name="reason_given"),
        Index(None, "site_id", "visited_on", "arrived_at", "id"),
        Index(None, "visited_on"),
        current=("visit_id",),
    )

    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    visited_on: Mapped[date]
    arrived_at: Mapped[datetime]
    departed_at: Mapped[datetime]
    utc_offset_minutes: Mapped[int]
    purpose: Mapped[VisitPurpose] = mapped_column(word(VisitPurpose, "visit_purpose"))
    outcome: Mapped[VisitOutcome] = mapped_column(word(VisitOutcome, "visit_outcome"))
    not_done_reason: Mapped[NotDoneReason | None] = mapped_column(
        word(NotDoneReason, "not_done_reason")
    )
    note: Mapped[str | None]


class VisitTechnician(Kept, Base):
    __tablename__ = "visit_technician"
    __table_args__ = (Index(None, "visit_version_id", "technician_id", unique=True),)

    visit_version_id: Mapped[int] = mapped_column(ForeignKey("visit_version.id"))
    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))


class GaugeCheck(Kept, Base):
    """One instrument in one visit."""

    __tablename__ = "gauge_check"
    __table_args__ = (
        CheckConstraint("restored_at >= isolated_at", name="time_order"),
        Index(None, "visit_version_id", "instrument_id", unique=True),
        Index(None, "instrument_id"),
    )

    visit_version_id: Mapped[int] = mapped_column(ForeignKey("visit_version.id"))
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    isolated_at: Mapped[datetime | None]
    restored_at: Mapped[datetime | None]
    restoration_proven: Mapped[bool | None]
    level_found: Mapped[Level | None] = mapped_column(word(Level, "level_found"))
    level_left: Mapped[Level | None] = mapped_column(word(Level, "level_left"))
    cleaned: Mapped[bool]
    adjusted: Mapped[bool]
    parts: Mapped[str | None]


class TipRun(Kept, Base):
    """A known volume poured and the tips counted."""

    __tablename__ = "tip_run"
    __table_args__ = (
        within("run_number", 1, 99),
        within("volume_ml", 1, 20000),
        within("duration_s", 1, 86400),
        within("tips", 0, 100000),
        Index(None, "gauge_check_id", "phase", "run_number", unique=True),
    )

    gauge_check_id: Mapped[int] = mapped_column(ForeignKey("gauge_check.id"))
    phase: Mapped[Phase] = mapped_column(word(Phase, "phase"))
    run_number: Mapped[int]
    volume_ml: Mapped[float]
    duration_s: Mapped[float | None]
    tips: Mapped[int]
    start_state: Mapped[StartState] = mapped_column(word(StartState, "start_state"))
    device_id: Mapped[int | None] = mapped_column(ForeignKey("device.id"))


class SwitchReading(Kept, Base):
    """One reading at the switch; an over-range reading has no value."""

    __tablename__ = "switch_reading"
    __table_args__ = (
        within("value", 0, 1e9),
        CheckConstraint("over_range OR value IS NOT NULL", name="value_given"),
        Index(None, "gauge_check_id", "phase", "kind", unique=True),
    )

    gauge_check_id: Mapped[int] = mapped_column(ForeignKey("gauge_check.id"))
    phase: Mapped[Phase] = mapped_column(word(Phase, "phase"))
    kind: Mapped[SwitchReadingKind] = mapped_column(word(SwitchReadingKind, "switch_reading_kind"))
    value: Mapped[float | None]
    over_range: Mapped[bool]
    measured_at: Mapped[MeasuredAt] = mapped_column(word(MeasuredAt, "measured_at"))
    device_id: Mapped[int | None] = mapped_column(ForeignKey("device.id"))


class Finding(Kept, Base):
    """A component's condition as found, what was done, and how it was left."""

    __tablename__ = "finding"
    __table_args__ = (
        within("finding_number", 1, 999),
        Index(None, "visit_version_id", "finding_number", unique=True),
    )

    visit_version_id: Mapped[int] = mapped_column(ForeignKey("visit_version.id"))
    finding_number: Mapped[int]
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    component: Mapped[Component] = mapped_column(word(Component, "component"))
    condition_found: Mapped[Condition] = mapped_column(word(Condition, "condition_found"))
    action: Mapped[Action] = mapped_column(word(Action, "action"))
    condition_left: Mapped[Condition] = mapped_column(word(Condition, "condition_left"))
    note: Mapped[str | None]


class FollowUp(Anchor, Base):
    __tablename__ = "follow_up"


class FollowUpVersion(Versioned, Base):
    """A defect that waits to be mended, and its closure."""

    __tablename__ = "follow_up_version"
    __table_args__ = versioned_args(
        CheckConstraint("closed_on >= raised_on", name="day_order"),
        Index(None, "site_id"),
        current=("follow_up_id",),
    )

    follow_up_id: Mapped[int] = mapped_column(ForeignKey("follow_up.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    severity: Mapped[Severity] = mapped_column(word(Severity, "severity"))
    raised_on: Mapped[date]
    raised_by_visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))
    description: Mapped[str]
    needs: Mapped[str | None]
    due_on: Mapped[date | None]
    closed_on: Mapped[date | None]
    closed_by_visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))


class DailyTotal(Versioned, Base):
    """Rainfall of one day at one position of a site; no total is a missing day."""

    __tablename__ = "daily_total"
    __table_args__ = versioned_args(
        within("total_mm", 0, 3000),
        current=("site_id", "position", "day"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    position: Mapped[str]
    day: Mapped[date]
    total_mm: Mapped[float | None]
    flag: Mapped[str | None]

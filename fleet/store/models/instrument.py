"""Gauge types, instruments by serial, where each was installed, policy and test equipment."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.domain.code import DecisionRule, DeviceKind, InstrumentStatus, PolicyScope
from fleet.store.base import Anchor, Base, Versioned, versioned_args, within, word


class GaugeType(Anchor, Base):
    __tablename__ = "gauge_type"


class GaugeTypeVersion(Versioned, Base):
    """What is known of a type; the orifice is an area with its basis, never a model name."""

    __tablename__ = "gauge_type_version"
    __table_args__ = versioned_args(
        within("bucket_mm", 0.05, 2),
        within("orifice_area_cm2", 50, 5000),
        within("test_volume_ml", 10, 10000),
        current=("gauge_type_id",),
    )

    gauge_type_id: Mapped[int] = mapped_column(ForeignKey("gauge_type.id"))
    description: Mapped[str]
    bucket_mm: Mapped[float]
    orifice_area_cm2: Mapped[float]
    area_basis: Mapped[str]
    siphon: Mapped[bool]
    test_volume_ml: Mapped[float]


class Instrument(Anchor, Base):
    """A gauge as a thing with a serial (its code): text, leading zeros kept."""

    __tablename__ = "instrument"


class InstrumentVersion(Versioned, Base):
    """What is known of an instrument."""

    __tablename__ = "instrument_version"
    __table_args__ = versioned_args(
        within("orifice_area_cm2", 50, 5000),
        CheckConstraint(
            "orifice_area_cm2 IS NULL OR area_basis IS NOT NULL", name="area_has_basis"
        ),
        current=("instrument_id",),
    )

    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    gauge_type_id: Mapped[int] = mapped_column(ForeignKey("gauge_type.id"), index=True)
    status: Mapped[InstrumentStatus] = mapped_column(word(InstrumentStatus, "instrument_status"))
    orifice_area_cm2: Mapped[float | None]
    area_basis: Mapped[str | None]
    note: Mapped[str | None]


class Installation(Versioned, Base):
    """An instrument at a site's position from a day until (not including) another.

    No two current rows of an instrument, or of a position, overlap: the database refuses them.
    """

    __tablename__ = "installation"
    __table_args__ = versioned_args(
        within("loop_ohm", 0, 1000),
        CheckConstraint("removed_on > installed_on", name="day_order"),
        Index(None, "instrument_id"),
        current=("site_id", "position", "installed_on"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    position: Mapped[str]
    installed_on: Mapped[date]
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    removed_on: Mapped[date | None]
    loop_ohm: Mapped[float | None]


class PolicyTerm(Versioned, Base):
    """One dated row of the service policy; a blank term is inherited from the wider scope.

    ``scope_code`` is '' for the network, else the code of a gauge type or site.
    """

    __tablename__ = "policy"
    __table_args__ = versioned_args(
        within("service_interval_days", 1, 3650),
        within("as_found_tolerance_percent", 0, 100),
        within("as_left_tolerance_percent", 0, 100),
        within("reject_limit_percent", 0, 100),
        within("as_found_low_tips", 0, 100_000),
        within("as_found_high_tips", 0, 100_000),
        within("as_left_low_tips", 0, 100_000),
        within("as_left_high_tips", 0, 100_000),
        within("minimum_as_found_runs", 0, 20),
        within("minimum_as_left_runs", 0, 20),
        within("closed_field_limit_ohm", 0, 1e9),
        within("closed_workshop_limit_ohm", 0, 1e9),
        within("open_limit_ohm", 0, 1e9),
        within("target_reliability", 0.5, 0.999),
        within("compliance_record_days", 0, 1000),
        CheckConstraint("as_found_high_tips >= as_found_low_tips", name="as_found_band"),
        CheckConstraint("as_left_high_tips >= as_left_low_tips", name="as_left_band"),
        CheckConstraint("(scope = 'network') = (scope_code = '')", name="scope_coded"),
        current=("scope", "scope_code", "valid_from"),
    )

    scope: Mapped[PolicyScope] = mapped_column(word(PolicyScope, "policy_scope"))
    scope_code: Mapped[str]
    valid_from: Mapped[date]
    service_interval_days: Mapped[int | None]
    as_found_tolerance_percent: Mapped[float | None]
    as_left_tolerance_percent: Mapped[float | None]
    reject_limit_percent: Mapped[float | None]
    as_found_low_tips: Mapped[int | None]
    as_found_high_tips: Mapped[int | None]
    as_left_low_tips: Mapped[int | None]
    as_left_high_tips: Mapped[int | None]
    minimum_as_found_runs: Mapped[int | None]
    minimum_as_left_runs: Mapped[int | None]
    closed_field_limit_ohm: Mapped[float | None]
    closed_workshop_limit_ohm: Mapped[float | None]
    open_limit_ohm: Mapped[float | None]
    decision_rule: Mapped[DecisionRule | None] = mapped_column(word(DecisionRule, "decision_rule"))
    target_reliability: Mapped[float | None]
    compliance_record_days: Mapped[float | None]
    basis: Mapped[str]


class Device(Anchor, Base):
    __tablename__ = "device"


class DeviceVersion(Versioned, Base):
    """A piece of test equipment."""

    __tablename__ = "device_version"
    __table_args__ = versioned_args(current=("device_id",))

    device_id: Mapped[int] = mapped_column(ForeignKey("device.id"))
    kind: Mapped[DeviceKind] = mapped_column(word(DeviceKind, "device_kind"))
    description: Mapped[str]
    serial: Mapped[str]


class Certificate(Versioned, Base):
    """A certificate of a device: what it says and between which days it holds.

    ``expanded_uncertainty_ml`` is for k = 2.
    """

    __tablename__ = "certificate"
    __table_args__ = versioned_args(
        within("volume_ml", 1, 20000),
        within("expanded_uncertainty_ml", 0, 1000),
        CheckConstraint("valid_until >= valid_from", name="valid_order"),
        current=("device_id", "certificate_number"),
    )

    device_id: Mapped[int] = mapped_column(ForeignKey("device.id"))
    certificate_number: Mapped[str]
    valid_from: Mapped[date]
    valid_until: Mapped[date]
    volume_ml: Mapped[float | None]
    expanded_uncertainty_ml: Mapped[float | None]
    issuer: Mapped[str | None]

"""Depots, the people who drive from them, and when they do not."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.base import Anchor, Base, Versioned, versioned_args, within


class Depot(Anchor, Base):
    __tablename__ = "depot"


class DepotVersion(Versioned, Base):
    """What is known of a depot."""

    __tablename__ = "depot_version"
    __table_args__ = versioned_args(
        within("latitude_deg", -90, 90),
        within("longitude_deg", -180, 180),
        current=("depot_id",),
    )

    depot_id: Mapped[int] = mapped_column(ForeignKey("depot.id"))
    name: Mapped[str]
    latitude_deg: Mapped[float]
    longitude_deg: Mapped[float]
    time_zone: Mapped[str]
    holiday_region: Mapped[str | None]


class Closure(Versioned, Base):
    """A day on which a whole depot does not go out."""

    __tablename__ = "closure"
    __table_args__ = versioned_args(current=("depot_id", "day"))

    depot_id: Mapped[int] = mapped_column(ForeignKey("depot.id"))
    day: Mapped[date]
    name: Mapped[str]


class Technician(Anchor, Base):
    __tablename__ = "technician"


class TechnicianVersion(Versioned, Base):
    """What is known of a technician; shift times are minutes after local midnight."""

    __tablename__ = "technician_version"
    __table_args__ = versioned_args(
        within("shift_start", 0, 1439),
        within("shift_end", 1, 1440),
        within("max_driving_minutes", 1, 1440),
        within("break_minutes", 0, 480),
        CheckConstraint("shift_end > shift_start", name="shift_order"),
        CheckConstraint("active_until >= active_from", name="active_order"),
        current=("technician_id",),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    name: Mapped[str]
    depot_id: Mapped[int] = mapped_column(ForeignKey("depot.id"))
    active_from: Mapped[date]
    active_until: Mapped[date | None]
    shift_start: Mapped[int]
    shift_end: Mapped[int]
    weekdays: Mapped[str]
    max_driving_minutes: Mapped[int]
    break_minutes: Mapped[int]


class Skill(Versioned, Base):
    """Something a technician may do, between two days."""

    __tablename__ = "skill"
    __table_args__ = versioned_args(
        CheckConstraint("valid_until >= valid_from", name="valid_order"),
        current=("technician_id", "skill", "valid_from"),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    skill: Mapped[str]
    valid_from: Mapped[date]
    valid_until: Mapped[date | None]


class Absence(Versioned, Base):
    """Days on which a technician does not work, both ends included."""

    __tablename__ = "absence"
    __table_args__ = versioned_args(
        CheckConstraint("last_day >= first_day", name="day_order"),
        current=("technician_id", "first_day"),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    first_day: Mapped[date]
    last_day: Mapped[date]
    reason: Mapped[str]

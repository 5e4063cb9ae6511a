"""Nights away from home: where one can sleep, who may, and what a round planned."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.base import Anchor, Base, Kept, Versioned, versioned_args, within


class NightBase(Anchor, Base):
    """A place to sleep."""

    __tablename__ = "night_base"


class NightBaseVersion(Versioned, Base):
    """What is known of a place to sleep; without a rate its price is in record-days."""

    __tablename__ = "night_base_version"
    __table_args__ = versioned_args(
        within("latitude_deg", -90, 90),
        within("longitude_deg", -180, 180),
        within("capacity", 0, 1000),
        within("night_cost", 0, 100_000),
        within("money_per_record_day", 0.0001, 100_000),
        CheckConstraint("valid_until >= valid_from", name="valid_order"),
        current=("night_base_id",),
    )

    night_base_id: Mapped[int] = mapped_column(ForeignKey("night_base.id"))
    name: Mapped[str]
    latitude_deg: Mapped[float]
    longitude_deg: Mapped[float]
    capacity: Mapped[int]
    night_cost: Mapped[float]
    money_per_record_day: Mapped[float | None]
    valid_from: Mapped[date]
    valid_until: Mapped[date | None]
    contact: Mapped[str | None]


class NightsOut(Versioned, Base):
    """Leave of a technician to sleep away from home, between two evenings."""

    __tablename__ = "nights_out"
    __table_args__ = versioned_args(
        within("most_nights_in_a_row", 1, 30),
        CheckConstraint("last_evening >= first_evening", name="evening_order"),
        current=("technician_id", "first_evening"),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    first_evening: Mapped[date]
    last_evening: Mapped[date | None]
    most_nights_in_a_row: Mapped[int]


class RoundNight(Kept, Base):
    """One technician's night at a base, as planned."""

    __tablename__ = "round_night"
    __table_args__ = (Index(None, "round_version_id", "technician_id", "evening", unique=True),)

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    evening: Mapped[date]
    night_base_id: Mapped[int] = mapped_column(ForeignKey("night_base.id"))
    cost_record_days: Mapped[float]


class RoundBound(Kept, Base):
    """How far a plan can be from the best there is, where that was proven."""

    __tablename__ = "round_bound"
    __table_args__ = (
        Index(None, "round_version_id", unique=True),
        CheckConstraint("best_record_days >= plan_record_days", name="bound_order"),
    )

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    plan_record_days: Mapped[float]
    best_record_days: Mapped[float]
    proof: Mapped[str]

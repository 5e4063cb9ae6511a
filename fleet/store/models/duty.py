"""What binds a working day: breaks that are due, homes to start from, vehicles and their room."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from fleet.domain.code import RestScope
from fleet.store.base import Base, Versioned, versioned_args, within, word


class RestRuleTerm(Versioned, Base):
    """When breaks are due, from a day on; a break of 0 min lifts the rule of the wider scope.

    ``scope_code`` is '' for the network, else the code of a depot or technician.
    """

    __tablename__ = "rest_rule"
    __table_args__ = versioned_args(
        within("after_driving_minutes", 30, 1440),
        within("after_duty_minutes", 30, 1440),
        within("break_minutes", 0, 240),
        CheckConstraint("(scope = 'network') = (scope_code = '')", name="scope_coded"),
        current=("scope", "scope_code", "valid_from"),
    )

    scope: Mapped[RestScope] = mapped_column(word(RestScope, "rest_scope"))
    scope_code: Mapped[str]
    valid_from: Mapped[date]
    after_driving_minutes: Mapped[int | None]
    after_duty_minutes: Mapped[int | None]
    break_minutes: Mapped[int]
    basis: Mapped[str]


class Home(Versioned, Base):
    """Where a technician starts or ends the day instead of the depot; WGS 84."""

    __tablename__ = "home"
    __table_args__ = versioned_args(
        within("latitude_deg", -90, 90),
        within("longitude_deg", -180, 180),
        CheckConstraint("valid_until >= valid_from", name="valid_order"),
        current=("technician_id", "valid_from"),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    valid_from: Mapped[date]
    valid_until: Mapped[date | None]
    latitude_deg: Mapped[float]
    longitude_deg: Mapped[float]
    starts_here: Mapped[bool]
    ends_here: Mapped[bool]


class Vehicle(Versioned, Base):
    """What a technician drives, and how much fits in."""

    __tablename__ = "vehicle"
    __table_args__ = versioned_args(
        within("water_litres", 0, 5000),
        within("spare_parts", 0, 1000),
        CheckConstraint("valid_until >= valid_from", name="valid_order"),
        current=("technician_id", "valid_from"),
    )

    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))
    valid_from: Mapped[date]
    valid_until: Mapped[date | None]
    description: Mapped[str]
    water_litres: Mapped[float]
    spare_parts: Mapped[int]

"""Sites, when they may be entered, and what the coordinator has decided about them."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from fleet.domain.code import HoldKind
from fleet.store.base import Anchor, Base, Versioned, versioned_args, within, word


class Site(Anchor, Base):
    __tablename__ = "site"


class SiteVersion(Versioned, Base):
    """What is known of a site; the position is WGS 84."""

    __tablename__ = "site_version"
    __table_args__ = versioned_args(
        within("latitude_deg", -90, 90),
        within("longitude_deg", -180, 180),
        within("elevation_m", -500, 9000),
        within("importance", 0.01, 100),
        within("access_minutes", 0, 600),
        within("persons_required", 1, 2),
        current=("site_id",),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    name: Mapped[str]
    latitude_deg: Mapped[float]
    longitude_deg: Mapped[float]
    elevation_m: Mapped[float | None]
    time_zone: Mapped[str]
    depot_id: Mapped[int] = mapped_column(ForeignKey("depot.id"), index=True)
    importance: Mapped[float]
    access_minutes: Mapped[int]
    persons_required: Mapped[int]
    required_skill: Mapped[str | None]
    ring_first: Mapped[bool]
    contact: Mapped[str | None]
    hazards: Mapped[str | None]
    access_notes: Mapped[str | None]


class AccessRule(Versioned, Base):
    """A span in which a site may be entered; a site with any rule is closed outside them all."""

    __tablename__ = "access_rule"
    __table_args__ = versioned_args(
        within("rule_number", 1, 999),
        within("opens", 0, 1439),
        within("closes", 1, 1440),
        CheckConstraint("closes > opens", name="clock_order"),
        CheckConstraint("last_day >= first_day", name="day_order"),
        current=("site_id", "rule_number"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    rule_number: Mapped[int]
    weekdays: Mapped[str | None]
    opens: Mapped[int | None]
    closes: Mapped[int | None]
    first_day: Mapped[date | None]
    last_day: Mapped[date | None]
    note: Mapped[str | None]


class AccessWindow(Versioned, Base):
    """A dated span, as of a tide table; a site with any is closed outside them all."""

    __tablename__ = "access_window"
    __table_args__ = versioned_args(
        within("opens", 0, 1439),
        within("closes", 1, 1440),
        CheckConstraint("closes > opens", name="clock_order"),
        current=("site_id", "day", "opens"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    day: Mapped[date]
    opens: Mapped[int]
    closes: Mapped[int]
    note: Mapped[str | None]


class Hold(Versioned, Base):
    """A decision of the coordinator that binds the planner, between two days."""

    __tablename__ = "hold"
    __table_args__ = versioned_args(
        CheckConstraint("last_day >= first_day", name="day_order"),
        CheckConstraint(
            "kind <> 'technician' OR technician_id IS NOT NULL", name="technician_named"
        ),
        current=("site_id", "kind", "first_day"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    kind: Mapped[HoldKind] = mapped_column(word(HoldKind, "hold_kind"))
    first_day: Mapped[date]
    last_day: Mapped[date]
    technician_id: Mapped[int | None] = mapped_column(ForeignKey("technician.id"))
    reason: Mapped[str]

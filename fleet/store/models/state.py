"""Rates as they were learned, and where each gauge stands under them."""

from __future__ import annotations

from datetime import date

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.store.base import Base, Kept, within


class LearnedRates(Kept, Base):
    """What the whole network's records taught of each type on a day, as JSON; never replaced."""

    __tablename__ = "learned_rates"
    __table_args__ = (within("format_number", 1, 999), Index(None, "as_of"))

    as_of: Mapped[date]
    format_number: Mapped[int]
    rates: Mapped[str]


class KeptState(Base):
    """Where one gauge stands by all its records, and what they say under the learned rates.

    Derived and no record: rewritten whenever the gauge's history or the rates change. Days count
    from the first of January of the year 1, which is 1; 0 is none. ``last_record_day`` is that of
    the newest visit in the gauge's history: as of an earlier day the row does not hold.
    """

    __tablename__ = "gauge_state"
    __table_args__ = (Index(None, "rates_id"),)

    installation_id: Mapped[int] = mapped_column(
        ForeignKey("installation.id"), primary_key=True, autoincrement=False
    )
    rates_id: Mapped[int] = mapped_column(ForeignKey("learned_rates.id"))
    last_record_day: Mapped[int]
    last_service_day: Mapped[int]
    last_visit_day: Mapped[int]
    attempts_since_service: Mapped[int]
    services: Mapped[int]
    level_percent: Mapped[float | None]
    level_variance: Mapped[float]
    level_day: Mapped[int]
    switch_ohm: Mapped[float | None]
    switch_ohm_day: Mapped[int]
    site_seen_day: Mapped[int]
    way_clean_day: Mapped[int]
    switch_seen_day: Mapped[int]
    switch_new_day: Mapped[int]
    left_blocked: Mapped[bool]
    switch_left_dead: Mapped[bool]
    left_disconnected: Mapped[bool]
    never_verified: Mapped[bool]
    drift_rate: Mapped[float]
    drift_rate_variance: Mapped[float]
    drift_doubted: Mapped[int]
    ohm_rate: Mapped[float]
    ohm_rate_variance: Mapped[float]
    ohm_doubted: Mapped[int]
    knock_events: Mapped[float]
    knock_exposure: Mapped[float]
    blockage_events: Mapped[float]
    blockage_exposure: Mapped[float]
    death_events: Mapped[float]
    death_exposure: Mapped[float]

"""Rounds: what was planned, from which evidence and settings, and what became of each stop."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.domain.code import NotDoneReason, RoundStatus, StopOutcome
from fleet.domain.plan import LeftOutReason
from fleet.store.base import Anchor, Base, Kept, Versioned, versioned_args, within, word


class Round(Anchor, Base):
    """A depot's round of one week; its code is the ISO week and the depot."""

    __tablename__ = "round"


class RoundVersion(Versioned, Base):
    """One plan of a round; planning again makes the next version."""

    __tablename__ = "round_version"
    __table_args__ = versioned_args(
        CheckConstraint("last_day >= first_day", name="day_order"),
        Index(None, "round_id", "number", unique=True),
        current=("round_id",),
    )

    round_id: Mapped[int] = mapped_column(ForeignKey("round.id"))
    number: Mapped[int]
    depot_id: Mapped[int] = mapped_column(ForeignKey("depot.id"))
    first_day: Mapped[date]
    last_day: Mapped[date]
    evidence_as_of: Mapped[date]
    horizon_days: Mapped[int]
    seed: Mapped[int]
    iterations: Mapped[int]
    drive_price_days_per_h: Mapped[float]
    solver: Mapped[str]
    travel_source: Mapped[str]
    worth_record_days: Mapped[float]


class RoundEvent(Kept, Base):
    """A step in the life of a round's version."""

    __tablename__ = "round_event"
    __table_args__ = (Index(None, "round_version_id", "status", unique=True),)

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    status: Mapped[RoundStatus] = mapped_column(word(RoundStatus, "round_status"))


class RoundDay(Kept, Base):
    """One crew's day; minutes after local midnight at the depot, above 1440 on the next day."""

    __tablename__ = "round_day"
    __table_args__ = (
        within("leave_min", 0, 2880),
        within("back_min", 0, 2880),
        within("rest_min", 0, 1440),
        within("rest_at_min", 0, 2880),
        CheckConstraint("back_min >= leave_min", name="time_order"),
        Index(None, "round_version_id", "day"),
    )

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    day: Mapped[date]
    leave_min: Mapped[int]
    back_drive_min: Mapped[int]
    back_drive_km: Mapped[float]
    back_min: Mapped[int]
    rest_min: Mapped[int]
    rest_at_min: Mapped[int | None]


class RoundDayPlace(Kept, Base):
    """Where a day starts and ends, kept where that is not the depot; WGS 84."""

    __tablename__ = "round_day_place"
    __table_args__ = (Index(None, "round_day_id", unique=True),)

    round_day_id: Mapped[int] = mapped_column(ForeignKey("round_day.id"))
    start_key: Mapped[str]
    start_latitude_deg: Mapped[float]
    start_longitude_deg: Mapped[float]
    end_key: Mapped[str]
    end_latitude_deg: Mapped[float]
    end_longitude_deg: Mapped[float]


class RoundPause(Kept, Base):
    """A break that a rest rule asks for, beside the rest of the day."""

    __tablename__ = "round_pause"
    __table_args__ = (
        within("starts_min", 0, 2880),
        within("minutes", 1, 1440),
        Index(None, "round_day_id", "starts_min", unique=True),
    )

    round_day_id: Mapped[int] = mapped_column(ForeignKey("round_day.id"))
    starts_min: Mapped[int]
    minutes: Mapped[int]


class RoundNote(Kept, Base):
    """A sentence that the planner says of a version: who is away, what is out of date."""

    __tablename__ = "round_note"
    __table_args__ = (Index(None, "round_version_id", "sequence", unique=True),)

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    sequence: Mapped[int]
    note: Mapped[str]


class RoundCrew(Kept, Base):
    __tablename__ = "round_crew"
    __table_args__ = (Index(None, "round_day_id", "technician_id", unique=True),)

    round_day_id: Mapped[int] = mapped_column(ForeignKey("round_day.id"))
    technician_id: Mapped[int] = mapped_column(ForeignKey("technician.id"))


class RoundStop(Kept, Base):
    """One site of a day, with the worth for which it was chosen."""

    __tablename__ = "round_stop"
    __table_args__ = (
        CheckConstraint("depart_min >= start_min AND start_min >= arrive_min", name="time_order"),
        Index(None, "round_day_id", "sequence", unique=True),
    )

    round_day_id: Mapped[int] = mapped_column(ForeignKey("round_day.id"))
    sequence: Mapped[int]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    drive_min: Mapped[int]
    drive_km: Mapped[float]
    arrive_min: Mapped[int]
    start_min: Mapped[int]
    depart_min: Mapped[int]
    worth_record_days: Mapped[float]
    must_visit: Mapped[bool]


class RoundStopCost(Kept, Base):
    """What a stop costs its day: the minutes that the day would save without it."""

    __tablename__ = "round_stop_cost"
    __table_args__ = (Index(None, "round_stop_id", unique=True),)

    round_stop_id: Mapped[int] = mapped_column(ForeignKey("round_stop.id"))
    extra_min: Mapped[int]
    extra_driving_min: Mapped[int]


class StopAcceptance(Versioned, Base):
    """A stop that the coordinator has accepted: planning again leaves it on its day."""

    __tablename__ = "stop_acceptance"
    __table_args__ = versioned_args(current=("round_stop_id",))

    round_stop_id: Mapped[int] = mapped_column(ForeignKey("round_stop.id"))


class RoundStopGauge(Kept, Base):
    """One gauge to be serviced at a stop, with the evidence as it stood when planned (JSON)."""

    __tablename__ = "round_stop_gauge"
    __table_args__ = (Index(None, "round_stop_id", "instrument_id", unique=True),)

    round_stop_id: Mapped[int] = mapped_column(ForeignKey("round_stop.id"))
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    position: Mapped[str]
    worth_record_days: Mapped[float]
    unfit_probability: Mapped[float]
    evidence: Mapped[str]


class RoundLeftOut(Kept, Base):
    """A site that was weighed and not taken, with the reason and what adding it would cost."""

    __tablename__ = "round_left_out"
    __table_args__ = (Index(None, "round_version_id", "site_id", unique=True),)

    round_version_id: Mapped[int] = mapped_column(ForeignKey("round_version.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    reason: Mapped[LeftOutReason] = mapped_column(word(LeftOutReason, "left_out_reason"))
    detail: Mapped[str]
    worth_record_days: Mapped[float]
    must_visit: Mapped[bool]


class RoundLeftOutOffer(Kept, Base):
    """The cheapest way in which a left-out site could have been added."""

    __tablename__ = "round_left_out_offer"
    __table_args__ = (Index(None, "round_left_out_id", unique=True),)

    round_left_out_id: Mapped[int] = mapped_column(ForeignKey("round_left_out.id"))
    day: Mapped[date]
    crew: Mapped[str]
    extra_min: Mapped[int]
    over_min: Mapped[int | None]


class StopResult(Versioned, Base):
    """What became of a stop."""

    __tablename__ = "stop_result"
    __table_args__ = versioned_args(
        CheckConstraint("outcome = 'done' OR reason IS NOT NULL", name="reason_given"),
        current=("round_stop_id",),
    )

    round_stop_id: Mapped[int] = mapped_column(ForeignKey("round_stop.id"))
    outcome: Mapped[StopOutcome] = mapped_column(word(StopOutcome, "stop_outcome"))
    reason: Mapped[NotDoneReason | None] = mapped_column(word(NotDoneReason, "stop_reason"))
    note: Mapped[str | None]
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))

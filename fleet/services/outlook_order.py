"""What the outlook is asked: how far, how often drawn, and which crews and policies to compare."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from itertools import product


class VisitBy(StrEnum):
    """What the rounds of the simulated weeks go by."""

    WORTH = "worth"
    """The worth of a service, as the ranking has it, with the policy's compliance."""
    DUE = "due"
    """The end of the interval: the longest overdue first, none before it is nearly due."""


@dataclass(frozen=True, slots=True)
class CrewVariant:
    """A crew: so many technicians more (or fewer) a depot, shifts of so many hours.

    ``hours`` None keeps the shifts on record.
    """

    technicians: int = 0
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Variant:
    """One way to run the coming weeks.

    ``days_a_week`` is the most technician-days a week of a depot (None: all on the roster; a
    tuple of (depot, days) pairs sets each depot apart); ``interval_days`` and
    ``compliance_record_days`` None keep the policy's.
    """

    crew: CrewVariant = field(default_factory=CrewVariant)
    days_a_week: float | tuple[tuple[str, float], ...] | None = None
    interval_days: int | None = None
    visit_by: VisitBy = VisitBy.WORTH

    def days_of(self, depot_code: str) -> float | None:
        """Give the limit of one depot."""
        if isinstance(self.days_a_week, tuple):
            return dict(self.days_a_week)[depot_code]
        return self.days_a_week


@dataclass(frozen=True, slots=True)
class Choices:
    """What is compared: every combination of these is simulated."""

    technicians: tuple[int, ...] = (0, 1)
    days_a_week: tuple[float | None, ...] = (None,)
    hours: tuple[float | None, ...] = (None,)
    interval_days: tuple[int | None, ...] = (None,)
    visit_by: tuple[VisitBy, ...] = (VisitBy.WORTH,)

    def variants(self) -> list[Variant]:
        """Give every combination, crews slowest, each once."""
        combined = product(
            self.technicians, self.hours, self.days_a_week, self.interval_days, self.visit_by
        )
        variants = (
            Variant(CrewVariant(more, hours), days, interval, rule)
            for more, hours, days, interval, rule in combined
        )
        return list(dict.fromkeys(variants))


@dataclass(frozen=True, slots=True)
class OutlookOrder:
    """What to simulate.

    ``target_percent`` in date is what `holding_days` seeks the crew-days for; None seeks none.
    ``failed_percent`` None takes the share of attempts on record that failed.
    """

    as_of: date
    known_on: datetime | None = None
    depot_code: str | None = None
    weeks: int = 52
    seeds: int = 20
    first_seed: int = 1
    choices: Choices = field(default_factory=Choices)
    target_percent: float | None = 95.0
    compliance_record_days: float | None = None
    failed_percent: float | None = None
    drive_price_days_per_h: float = 0.1
    processes: int = 1

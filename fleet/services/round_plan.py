"""A plan with all that is kept beside it: evidence, worths, costs, ends of days, notes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fleet.domain.plan import Place, Plan, SearchSettings
from fleet.planning.marginal import StopCost

DayKey = tuple[date, tuple[str, ...]]
"""A day and the technicians who go together."""


@dataclass(frozen=True, slots=True)
class StopGauge:
    """A gauge to be serviced at a site, with the evidence for it in plain values."""

    serial: str
    position: str
    worth_record_days: float
    unfit_probability: float
    evidence: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """A plan with all that must be kept beside it.

    ``gauges`` and ``worths`` are by site code, for planned and left-out sites alike; ``costs``
    for planned ones. ``ends`` are of the days that do not start and end at the depot, by day and
    crew. ``accepted`` are the sites whose acceptance goes on in this version.
    """

    round_ref: str
    depot_code: str
    first_day: date
    last_day: date
    evidence_as_of: date
    horizon_days: int
    settings: SearchSettings
    travel_source: str
    plan: Plan
    gauges: Mapping[str, Sequence[StopGauge]]
    worths: Mapping[str, float]
    must_visit: frozenset[str]
    costs: Mapping[str, StopCost] = field(default_factory=dict)
    ends: Mapping[DayKey, tuple[Place, Place]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    accepted: frozenset[str] = frozenset()

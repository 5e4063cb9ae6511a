"""The parts that every row of an audit is made of; field names are the column names."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import AuditedGauge
from fleet.domain.check import Judgement
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord


@dataclass(frozen=True, slots=True)
class GaugePlace:
    """Which gauge, and where."""

    site_code: str
    site_name: str
    depot_code: str
    position: str
    serial: str
    type_code: str


@dataclass(frozen=True, slots=True)
class VisitSeen:
    """Which visit, when and by whom; technicians are separated by a space."""

    visit_ref: str
    visited_on: date
    technicians: str
    outcome: str


@dataclass(frozen=True, slots=True)
class PhaseFigures:
    """A phase held against its policy; the figures are missing where nothing was measured.

    Tips are of all runs together, like the band; ``one_tip_percent`` is one tip of one run.
    """

    phase: str
    verdict: str
    runs: int
    tips: int | None
    expected_tips: float | None
    error_percent: float | None
    band_low_tips: int | None
    band_high_tips: int | None
    one_tip_percent: float | None


def place_of(audited: AuditedGauge) -> GaugePlace:
    """Name a gauge and its place."""
    gauge = audited.gauge
    return GaugePlace(
        site_code=gauge.site_code,
        site_name=audited.site_name,
        depot_code=gauge.depot_code,
        position=gauge.position,
        serial=gauge.serial,
        type_code=gauge.type_code,
    )


def visit_of(record: CheckRecord) -> VisitSeen:
    """Name the visit of a record."""
    return VisitSeen(
        visit_ref=record.visit_ref,
        visited_on=record.visited_on,
        technicians=" ".join(record.technicians),
        outcome=record.outcome.value,
    )


def figures_of(judgement: Judgement, phase: Phase) -> PhaseFigures:
    """Give a judgement's figures; a phase that was not measured has none."""
    error, band = judgement.error, judgement.band
    return PhaseFigures(
        phase=phase.value,
        verdict=judgement.verdict.value,
        runs=0 if error is None else error.runs,
        tips=None if error is None else error.tips,
        expected_tips=None if error is None else error.expected_tips,
        error_percent=None if error is None else error.error_percent,
        band_low_tips=None if band is None else band.low,
        band_high_tips=None if band is None else band.high,
        one_tip_percent=None if error is None else error.one_tip_percent,
    )


def row_order(
    place: GaugePlace, visit: VisitSeen, phase: str = ""
) -> tuple[str, str, date, str, str]:
    """Give what rows are put in order by: site, position, day, visit and phase."""
    return place.site_code, place.position, visit.visited_on, visit.visit_ref, phase

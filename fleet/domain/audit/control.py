"""The errors of a place as found and as left over time, its limits, adjustments and swaps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import BOTH_PHASES, AuditedGauge, Evidence
from fleet.domain.audit.tolerance import judge_phase
from fleet.domain.check import limits_percent
from fleet.domain.code import Phase
from fleet.domain.uncertainty import COVERAGE_FACTOR


@dataclass(frozen=True, slots=True)
class ControlRow:
    """A phase of a check at a place; errors in percent of expected tips.

    ``expanded_uncertainty_percent`` is of the error, k = 2. The limits are those of its day.
    """

    site_code: str
    position: str
    serial: str
    visit_ref: str
    visited_on: date
    technicians: str
    phase: str
    verdict: str
    error_percent: float
    expanded_uncertainty_percent: float
    low_percent: float
    high_percent: float
    reject_limit_percent: float
    adjusted: bool


@dataclass(frozen=True, slots=True)
class LimitsOn:
    """The limits in force on a day, in percent of expected tips."""

    day: date
    as_found: tuple[float, float]
    as_left: tuple[float, float]
    reject: float


def stays_at(evidence: Evidence, gauge: AuditedGauge) -> list[AuditedGauge]:
    """Give every gauge that stood at the place of one, in order of day."""
    place = (gauge.gauge.site_code, gauge.gauge.position)
    found = [one for one in evidence.gauges if (one.gauge.site_code, one.gauge.position) == place]
    return sorted(found, key=lambda one: one.gauge.installed_on)


def control_rows(evidence: Evidence, gauge: AuditedGauge) -> list[ControlRow]:
    """Give every measured phase at the place of a gauge, whichever instrument stood there.

    Parameters
    ----------
    evidence : Evidence
    gauge : AuditedGauge
        At whose place.

    Returns
    -------
    list of ControlRow
        In order of day, as found before as left.
    """
    return [row for stay in stays_at(evidence, gauge) for row in _rows(evidence, stay)]


def _rows(evidence: Evidence, stay: AuditedGauge) -> Iterator[ControlRow]:
    gauge = stay.gauge
    for record in stay.checks():
        for phase in BOTH_PHASES:
            judged = judge_phase(evidence, gauge, record, phase=phase)
            if judged.error is None:
                continue
            limits = limits_on(evidence, stay, record.visited_on)
            low, high = limits.as_found if phase is Phase.AS_FOUND else limits.as_left
            yield ControlRow(
                site_code=gauge.site_code,
                position=gauge.position,
                serial=gauge.serial,
                visit_ref=record.visit_ref,
                visited_on=record.visited_on,
                technicians=" ".join(record.technicians),
                phase=phase.value,
                verdict=judged.verdict.value,
                error_percent=judged.error.error_percent,
                expanded_uncertainty_percent=COVERAGE_FACTOR * judged.error.u_percent,
                low_percent=low,
                high_percent=high,
                reject_limit_percent=limits.reject,
                adjusted=record.adjusted,
            )


def limits_on(evidence: Evidence, stay: AuditedGauge, day: date) -> LimitsOn:
    """Give the limits of a gauge on a day, those of its nominal test volume."""
    gauge = stay.gauge
    policy = evidence.policy(gauge, day)
    tips = gauge.test_volume_ml / gauge.tip_ml
    found, left = (limits_percent(policy, phase, nominal_tips=tips) for phase in BOTH_PHASES)
    return LimitsOn(day, found, left, policy.reject_limit_percent)

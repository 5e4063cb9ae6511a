"""What a visit form brings along: sites, gauges with pass bands, people, test equipment."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from fleet.domain.check import TipBand, expected_tips, limits_percent, nominal_band
from fleet.domain.code import DeviceKind, Phase
from fleet.domain.history import Gauge
from fleet.domain.policy import Policy


@dataclass(frozen=True, slots=True)
class PhaseTerms:
    """What a phase is held against: whole tips of one run, and percent of the pooled runs."""

    band: TipBand
    low_percent: float
    high_percent: float
    minimum_runs: int


@dataclass(frozen=True, slots=True)
class FormGauge:
    """One gauge of a form; ``expected_tips`` are of one run of the nominal test volume."""

    serial: str
    position: str
    type_code: str
    bucket_mm: float
    tip_ml: float
    test_volume_ml: float
    expected_tips: float
    as_found: PhaseTerms
    as_left: PhaseTerms
    closed_field_limit_ohm: float
    loop_ohm: float | None


@dataclass(frozen=True, slots=True)
class FormSheet:
    """One stop of a form: a site and its gauges."""

    site_code: str
    site_name: str
    time_zone: str
    hazards: str
    access_notes: str
    gauges: tuple[FormGauge, ...]
    planned_on: date | None = None
    follow_ups: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FormDevice:
    """A piece of test equipment, with what its newest certificate says."""

    code: str
    kind: DeviceKind
    description: str
    volume_ml: float | None = None
    valid_until: date | None = None


@dataclass(frozen=True, slots=True)
class VisitForm:
    """A whole form; ``title`` names what it is for, ``made_on`` is the day of its evidence."""

    title: str
    made_on: date
    sheets: tuple[FormSheet, ...]
    technicians: tuple[tuple[str, str], ...] = ()
    """Code and name."""
    devices: tuple[FormDevice, ...] = field(default=())


def form_gauge(gauge: Gauge, policy: Policy) -> FormGauge:
    """Give a gauge the terms that its form prints.

    Parameters
    ----------
    gauge : Gauge
        As installed.
    policy : Policy
        In force on the day of the form; the verdict rests on the one in force on the day of the
        visit.
    """
    tips = expected_tips(
        gauge.test_volume_ml, bucket_mm=gauge.bucket_mm, orifice_area_cm2=gauge.orifice_area_cm2
    )
    return FormGauge(
        serial=gauge.serial,
        position=gauge.position,
        type_code=gauge.type_code,
        bucket_mm=gauge.bucket_mm,
        tip_ml=gauge.tip_ml,
        test_volume_ml=gauge.test_volume_ml,
        expected_tips=tips,
        as_found=_terms(policy, Phase.AS_FOUND, tips),
        as_left=_terms(policy, Phase.AS_LEFT, tips),
        closed_field_limit_ohm=policy.closed_field_limit_ohm,
        loop_ohm=gauge.loop_ohm,
    )


def _terms(policy: Policy, phase: Phase, nominal_tips: float) -> PhaseTerms:
    found = phase is Phase.AS_FOUND
    low, high = limits_percent(policy, phase, nominal_tips=nominal_tips)
    return PhaseTerms(
        band=nominal_band(policy, phase, nominal_tips=nominal_tips),
        low_percent=low,
        high_percent=high,
        minimum_runs=policy.minimum_as_found_runs if found else policy.minimum_as_left_runs,
    )

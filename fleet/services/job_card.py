"""The job card of one gauge: what it is, what was found before, why it was chosen, what to do."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.domain.check import expected_tips, judge, pass_band
from fleet.domain.code import Phase
from fleet.domain.history import CheckRecord, Gauge, GaugeHistory, PhaseRuns, SwitchReadings
from fleet.domain.policy import Policy, PolicyBook
from fleet.domain.sheet import Driver, JobCard, PhaseLine, SwitchLine
from fleet.domain.state import derive_state
from fleet.domain.switch import judge_switch
from fleet.store.queries.finding import KeptFinding
from fleet.store.queries.place import OpenFollowUp
from fleet.store.queries.round import KeptStopGauge
from fleet.store.queries.type import TypeWords

VISITS_SHOWN = 3
FINDINGS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class CardSource:
    """What the cards of a round are made from, as of its evidence day."""

    as_of: date
    policies: PolicyBook
    histories: Mapping[str, GaugeHistory]
    types: Mapping[str, TypeWords]
    findings: Mapping[str, Sequence[KeptFinding]]
    follow_ups: Sequence[OpenFollowUp]


def job_card(kept: KeptStopGauge, source: CardSource) -> JobCard:
    """Make the card of one gauge of a stop.

    Parameters
    ----------
    kept : KeptStopGauge
        The gauge as it was planned, with its evidence.
    source : CardSource
        Histories by serial, as of the evidence day.

    Returns
    -------
    JobCard
        Bands and expected tips are for one run of the nominal test volume.
    """
    history = source.histories[kept.serial]
    gauge = history.gauge
    state = derive_state(history)
    policy = _policy(source, gauge, source.as_of)
    words = source.types[gauge.serial]
    evidence = json.loads(kept.evidence)
    one_run = expected_tips(
        gauge.test_volume_ml,
        bucket_mm=gauge.bucket_mm,
        orifice_area_cm2=gauge.orifice_area_cm2,
    )
    own = [r for r in history.records if r.same_instrument and r.checked]
    recent = own[-VISITS_SHOWN:][::-1]
    return JobCard(
        gauge_key=gauge_key(gauge),
        position=gauge.position,
        serial=gauge.serial,
        type_code=gauge.type_code,
        type_description=words.description,
        siphon=gauge.siphon,
        bucket_mm=gauge.bucket_mm,
        orifice_area_cm2=gauge.orifice_area_cm2,
        area_basis=words.area_basis,
        tip_ml=gauge.tip_ml,
        test_volume_ml=gauge.test_volume_ml,
        expected_tips=one_run,
        one_tip_percent=100.0 / one_run,
        as_found_band=_band(policy, Phase.AS_FOUND, one_run),
        as_left_band=_band(policy, Phase.AS_LEFT, one_run),
        tolerance_text=_tolerance_text(policy),
        minimum_as_found_runs=policy.minimum_as_found_runs,
        minimum_as_left_runs=policy.minimum_as_left_runs,
        closed_field_limit_ohm=policy.closed_field_limit_ohm,
        loop_ohm=gauge.loop_ohm,
        worth_record_days=kept.worth_record_days,
        unfit_percent=100.0 * kept.unfit_probability,
        drivers=tuple(Driver(**driver) for driver in evidence["drivers"]),
        last_service_on=state.last_service_on,
        age_days=(source.as_of - state.serviced_or_installed_on).days,
        interval_days=policy.service_interval_days,
        phases=tuple(_phase_lines(recent, gauge, source)),
        switches=tuple(_switch_lines(recent, gauge, source)),
        findings=tuple(_finding_lines(gauge, source)),
        open_follow_ups=tuple(_follow_up_lines(gauge, source)),
        tasks=tuple(evidence["tasks"]),
        bring=tuple(evidence["bring"]),
    )


def gauge_key(gauge: Gauge) -> str:
    """Give the text that identifies a gauge in its QR code: site, position and serial."""
    return f"{gauge.site_code}|{gauge.position}|{gauge.serial}"


def _policy(source: CardSource, gauge: Gauge, on: date) -> Policy:
    return source.policies.in_force(type_code=gauge.type_code, site_code=gauge.site_code, on=on)


def _band(policy: Policy, phase: Phase, one_run: float) -> tuple[int, int]:
    low, high = (
        (policy.as_found_low_tips, policy.as_found_high_tips)
        if phase is Phase.AS_FOUND
        else (policy.as_left_low_tips, policy.as_left_high_tips)
    )
    tolerance = (
        policy.as_found_tolerance_percent
        if phase is Phase.AS_FOUND
        else policy.as_left_tolerance_percent
    )
    band = pass_band(one_run, tolerance)
    return (band.low if low is None else low, band.high if high is None else high)


def _tolerance_text(policy: Policy) -> str:
    found = _one_tolerance(
        policy.as_found_tolerance_percent, policy.as_found_low_tips, policy.as_found_high_tips
    )
    left = _one_tolerance(
        policy.as_left_tolerance_percent, policy.as_left_low_tips, policy.as_left_high_tips
    )
    return f"As found {found}, as left {left}"


def _one_tolerance(percent: float, low: int | None, high: int | None) -> str:
    if low is not None and high is not None:
        return f"{low} to {high} tips of the nominal volume"
    return f"within {percent:g} %"


def _phase_lines(
    records: Iterable[CheckRecord], gauge: Gauge, source: CardSource
) -> Iterable[PhaseLine]:
    for record in records:
        for runs in (record.as_found, record.as_left):
            if runs is not None:
                yield _phase_line(record, runs, gauge, source)


def _phase_line(
    record: CheckRecord, runs: PhaseRuns, gauge: Gauge, source: CardSource
) -> PhaseLine:
    judged = judge(
        runs,
        gauge.tip_ml,
        policy=_policy(source, gauge, record.visited_on),
        phase=runs.phase,
        test_volume_ml=gauge.test_volume_ml,
    )
    error = judged.error
    return PhaseLine(
        visited_on=record.visited_on,
        visit_ref=record.visit_ref,
        phase=runs.phase,
        runs=runs.runs,
        tips=runs.tips,
        expected_tips=error.expected_tips if error else 0.0,
        error_percent=error.error_percent if error else 0.0,
        verdict=judged.verdict,
    )


def _switch_lines(
    records: Iterable[CheckRecord], gauge: Gauge, source: CardSource
) -> Iterable[SwitchLine]:
    for record in records:
        policy = _policy(source, gauge, record.visited_on)
        for readings in (record.switch_found, record.switch_left):
            if readings is not None:
                yield _switch_line(record, readings, policy)


def _switch_line(record: CheckRecord, readings: SwitchReadings, policy: Policy) -> SwitchLine:
    judged = judge_switch(readings, policy=policy, phase=readings.phase)
    return SwitchLine(
        visited_on=record.visited_on,
        visit_ref=record.visit_ref,
        phase=readings.phase,
        closed_ohm=readings.closed_ohm,
        no_closure=readings.no_closure,
        manual_tips=readings.manual_tips,
        verdict=f"{judged.verdict}, weak" if judged.weak else judged.verdict,
    )


def _finding_lines(gauge: Gauge, source: CardSource) -> list[str]:
    here = [
        finding
        for finding in source.findings.get(gauge.site_code, ())
        if finding.serial in (None, gauge.serial)
    ]
    return [str(finding) for finding in here[:FINDINGS_SHOWN]]


def _follow_up_lines(gauge: Gauge, source: CardSource) -> Iterable[str]:
    for follow_up in source.follow_ups:
        if follow_up.site_code == gauge.site_code and follow_up.serial in (None, gauge.serial):
            needs = f" Needs: {follow_up.needs}." if follow_up.needs else ""
            word = str(follow_up.severity).replace("_", " ")
            yield f"{word} (since {follow_up.raised_on}): {follow_up.description}{needs}"

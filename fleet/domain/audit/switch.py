"""Switches that failed their readings."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.domain.audit.evidence import Ask, AuditedCheck, Evidence, asked_checks
from fleet.domain.audit.made_good import MadeGood, first_pass
from fleet.domain.audit.row import GaugePlace, VisitSeen, place_of, row_order, visit_of
from fleet.domain.code import MeasuredAt, Phase, Verdict
from fleet.domain.history import CheckRecord, Gauge, SwitchReadings
from fleet.domain.policy import Policy
from fleet.domain.switch import SwitchJudgement, judge_switch


@dataclass(frozen=True, slots=True)
class SwitchFigures:
    """What was read, and the limits of the day it was read on.

    ``closed_ohm`` is at the gauge's terminals. ``manual_tips`` is of ten slow ones.
    """

    phase: str
    closed_ohm: float | None
    no_closure: bool
    measured_at: str | None
    closed_limit_ohm: float
    open_ohm: float | None
    open_limit_ohm: float
    manual_tips: int | None


@dataclass(frozen=True, slots=True)
class SwitchRow:
    """A switch that failed, and whether a later reading passed."""

    place: GaugePlace
    visit: VisitSeen
    figures: SwitchFigures
    made_good: MadeGood
    policy_basis: str
    sentence: str


def failed_switch(evidence: Evidence, ask: Ask) -> list[SwitchRow]:
    """List the phases in which the switch failed.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` the latest reading, phase by phase, of each gauge that stands there.

    Returns
    -------
    list of SwitchRow
        In order of site, position, day and phase.
    """
    rows = []
    for phase in ask.phases:
        for check in _read_checks(evidence, ask, phase):
            judgement = _judge(evidence, check.gauge, check.record, phase=phase)
            if judgement.verdict is Verdict.FAILED:
                rows.append(_row(evidence, check, judgement, phase))
    return sorted(rows, key=lambda row: row_order(row.place, row.visit, row.figures.phase))


def _readings(record: CheckRecord, phase: Phase) -> SwitchReadings | None:
    return record.switch_found if phase is Phase.AS_FOUND else record.switch_left


def _judge(
    evidence: Evidence, gauge: Gauge, record: CheckRecord, *, phase: Phase
) -> SwitchJudgement:
    policy = evidence.policy(gauge, record.visited_on)
    return judge_switch(_readings(record, phase), policy=policy, phase=phase)


def _read_checks(evidence: Evidence, ask: Ask, phase: Phase) -> list[AuditedCheck]:
    return asked_checks(
        evidence,
        ask,
        lambda audited, record: (
            _judge(evidence, audited.gauge, record, phase=phase).verdict is not Verdict.NOT_MEASURED
        ),
    )


def _row(
    evidence: Evidence, check: AuditedCheck, judgement: SwitchJudgement, phase: Phase
) -> SwitchRow:
    policy = evidence.policy(check.gauge, check.record.visited_on)
    readings = _readings(check.record, phase) or SwitchReadings(phase)
    made_good = first_pass(
        check,
        lambda record, step: (
            _judge(evidence, check.gauge, record, phase=step).verdict is Verdict.PASSED
        ),
    )
    return SwitchRow(
        place=place_of(check.audited),
        visit=visit_of(check.record),
        figures=_figures(readings, policy),
        made_good=made_good,
        policy_basis=policy.basis,
        sentence=f"{judgement.reason} {made_good.words}",
    )


def _figures(readings: SwitchReadings, policy: Policy) -> SwitchFigures:
    workshop = readings.measured_at is MeasuredAt.WORKSHOP
    limit = policy.closed_workshop_limit_ohm if workshop else policy.closed_field_limit_ohm
    return SwitchFigures(
        phase=readings.phase.value,
        closed_ohm=readings.closed_ohm,
        no_closure=readings.no_closure,
        measured_at=None if readings.measured_at is None else readings.measured_at.value,
        closed_limit_ohm=limit,
        open_ohm=readings.open_ohm,
        open_limit_ohm=policy.open_limit_ohm,
        manual_tips=readings.manual_tips,
    )

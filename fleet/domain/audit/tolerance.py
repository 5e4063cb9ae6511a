"""Phases out of tolerance, and phases that decide nothing because something is missing.

Every phase that a check was asked for ends in exactly one of three places: passed, out of
tolerance, or without a verdict. Not measured is never passed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.domain.audit.evidence import Ask, AuditedCheck, AuditedGauge, Evidence, asked_checks
from fleet.domain.audit.made_good import MadeGood, first_pass
from fleet.domain.audit.row import (
    GaugePlace,
    PhaseFigures,
    VisitSeen,
    figures_of,
    place_of,
    row_order,
    visit_of,
)
from fleet.domain.check import PHASE_WORDS, Judgement, judge
from fleet.domain.code import Phase, Verdict, VisitPurpose
from fleet.domain.history import CheckRecord, Gauge, PhaseRuns

OUT_OF_TOLERANCE = frozenset({Verdict.FAILED, Verdict.REJECTED})
UNDECIDED = frozenset({Verdict.TOO_FEW_RUNS, Verdict.INDETERMINATE})


@dataclass(frozen=True, slots=True)
class ToleranceRow:
    """A phase out of tolerance, and whether the gauge was later shown to be in tolerance."""

    place: GaugePlace
    visit: VisitSeen
    figures: PhaseFigures
    checks_since: int
    made_good: MadeGood
    policy_basis: str
    sentence: str


@dataclass(frozen=True, slots=True)
class MissingPhaseRow:
    """A phase without a verdict; ``runs_asked`` is the policy's minimum."""

    place: GaugePlace
    visit: VisitSeen
    not_done_reason: str | None
    figures: PhaseFigures
    runs_asked: int
    policy_basis: str
    sentence: str


def runs_of(record: CheckRecord, phase: Phase) -> PhaseRuns | None:
    """Give the runs of a phase, None where there are none."""
    runs = record.as_found if phase is Phase.AS_FOUND else record.as_left
    return runs if runs is not None and runs.runs > 0 else None


def judge_phase(
    evidence: Evidence, gauge: Gauge, record: CheckRecord, *, phase: Phase
) -> Judgement:
    """Hold a phase of a check against the policy in force on the day of the visit."""
    return judge(
        runs_of(record, phase),
        gauge.tip_ml,
        policy=evidence.policy(gauge, record.visited_on),
        phase=phase,
        test_volume_ml=gauge.test_volume_ml,
    )


def measured_checks(evidence: Evidence, ask: Ask, phase: Phase) -> list[AuditedCheck]:
    """Give the asked checks in which a phase was measured."""
    return asked_checks(evidence, ask, lambda _, record: runs_of(record, phase) is not None)


def out_of_tolerance(evidence: Evidence, ask: Ask) -> list[ToleranceRow]:
    """List the phases that failed, or went beyond the reject limit.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` the latest measured phase of each gauge that stands there.

    Returns
    -------
    list of ToleranceRow
        In order of site, position, day and phase.
    """
    rows = []
    for phase in ask.phases:
        for check in measured_checks(evidence, ask, phase):
            judgement = judge_phase(evidence, check.gauge, check.record, phase=phase)
            if judgement.verdict in OUT_OF_TOLERANCE:
                rows.append(_tolerance_row(evidence, check, judgement, phase))
    return sorted(rows, key=_order)


def _tolerance_row(
    evidence: Evidence, check: AuditedCheck, judgement: Judgement, phase: Phase
) -> ToleranceRow:
    made_good = first_pass(
        check,
        lambda record, step: (
            judge_phase(evidence, check.gauge, record, phase=step).verdict is Verdict.PASSED
        ),
    )
    return ToleranceRow(
        place=place_of(check.audited),
        visit=visit_of(check.record),
        figures=figures_of(judgement, phase),
        checks_since=len(check.later),
        made_good=made_good,
        policy_basis=evidence.policy(check.gauge, check.record.visited_on).basis,
        sentence=f"{judgement.reason} {made_good.words}",
    )


def missing_phase(evidence: Evidence, ask: Ask) -> list[MissingPhaseRow]:
    """List the phases that a check was asked for and that give no verdict.

    Parameters
    ----------
    evidence : Evidence
    ask : Ask
        Without ``since`` the latest check of each gauge that stands there that was asked for
        the phase.

    Returns
    -------
    list of MissingPhaseRow
        Not measured, fewer runs than the policy asks for, or too near the edge to tell. In
        order of site, position, day and phase.
    """
    rows = []
    for phase in ask.phases:
        for check in _due_checks(evidence, ask, phase):
            judgement = judge_phase(evidence, check.gauge, check.record, phase=phase)
            if judgement.verdict is Verdict.NOT_MEASURED or judgement.verdict in UNDECIDED:
                rows.append(_missing_row(evidence, check, judgement, phase))
    return sorted(rows, key=_order)


def _due_checks(evidence: Evidence, ask: Ask, phase: Phase) -> list[AuditedCheck]:
    def counts(audited: AuditedGauge, record: CheckRecord) -> bool:
        if runs_of(record, phase) is not None:
            return True
        return _asked_runs(evidence, audited, record, phase) > 0

    return asked_checks(evidence, ask, counts)


def _asked_runs(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord, phase: Phase
) -> int:
    """Give how many runs a check should have: none where there was nothing to test."""
    looked_only = record.purpose is VisitPurpose.INSPECTION and not (
        record.serviced or record.as_found
    )
    just_installed = phase is Phase.AS_FOUND and record.visited_on == audited.gauge.installed_on
    taken_away = phase is Phase.AS_LEFT and (
        record.visited_on == audited.removed_on or record.purpose is VisitPurpose.REMOVAL
    )
    if looked_only or just_installed or taken_away:
        return 0
    policy = evidence.policy(audited.gauge, record.visited_on)
    return policy.minimum_as_found_runs if phase is Phase.AS_FOUND else policy.minimum_as_left_runs


def _missing_row(
    evidence: Evidence, check: AuditedCheck, judgement: Judgement, phase: Phase
) -> MissingPhaseRow:
    record = check.record
    asked = _asked_runs(evidence, check.audited, record, phase)
    words = judgement.reason
    if judgement.verdict is Verdict.NOT_MEASURED:
        words = (
            f"No run {PHASE_WORDS[phase]}, where the policy asks for {asked}: "
            "not measured is not passed."
        )
        if phase is Phase.AS_FOUND and (record.cleaned or record.adjusted):
            words += " The gauge was cleaned or adjusted, so its state before is lost."
    return MissingPhaseRow(
        place=place_of(check.audited),
        visit=visit_of(record),
        not_done_reason=None if record.not_done_reason is None else record.not_done_reason.value,
        figures=figures_of(judgement, phase),
        runs_asked=asked,
        policy_basis=evidence.policy(check.gauge, record.visited_on).basis,
        sentence=words,
    )


def _order(row: ToleranceRow | MissingPhaseRow) -> tuple[str, str, date, str, str]:
    return row_order(row.place, row.visit, row.figures.phase)

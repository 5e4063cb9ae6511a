"""What each check showed of each fault that puts a record in doubt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from enum import StrEnum

from fleet.domain.audit.evidence import BOTH_PHASES, AuditedGauge, Evidence
from fleet.domain.audit.tolerance import OUT_OF_TOLERANCE, judge_phase
from fleet.domain.audit.window import Sight
from fleet.domain.code import Phase, Verdict
from fleet.domain.history import CheckRecord
from fleet.domain.switch import judge_switch


class Doubt(StrEnum):
    """Why a stretch of record is in doubt."""

    OUT_OF_TOLERANCE = "out_of_tolerance"
    SWITCH_FAILED = "switch_failed"
    BLOCKED = "blocked"
    OFF_LOGGER = "off_logger"


CAUSES = {
    Doubt.OUT_OF_TOLERANCE: "drift",
    Doubt.SWITCH_FAILED: "switch",
    Doubt.BLOCKED: "blockage",
    Doubt.OFF_LOGGER: "disconnection",
}
"""The word for the same thing where neighbours are compared."""


def sights_of(evidence: Evidence, audited: AuditedGauge, doubt: Doubt) -> Iterator[Sight]:
    """Give what the checks of a gauge at its place showed of a fault, in order of time."""
    for record in audited.checks():
        for phase in BOTH_PHASES:
            seen = _SEEN[doubt](evidence, audited, record, phase)
            if seen is not None:
                yield seen


def _at(
    evidence: Evidence, record: CheckRecord, phase: Phase, *, good: bool, error: float | None = None
) -> Sight:
    times = evidence.times[record.visit_ref, record.serial]
    at = times.begins_at if phase is Phase.AS_FOUND else times.ends_at
    return Sight(at, record, phase, good, error)


def _tolerance(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord, phase: Phase
) -> Sight | None:
    judgement = judge_phase(evidence, audited.gauge, record, phase=phase)
    bad = judgement.verdict in OUT_OF_TOLERANCE
    if judgement.error is None or not (bad or judgement.verdict is Verdict.PASSED):
        return None
    sight = _at(evidence, record, phase, good=not bad, error=judgement.error.error_percent)
    grave = judgement.verdict is Verdict.REJECTED
    return replace(sight, grave=grave)


def _switch(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord, phase: Phase
) -> Sight | None:
    readings = record.switch_found if phase is Phase.AS_FOUND else record.switch_left
    policy = evidence.policy(audited.gauge, record.visited_on)
    verdict = judge_switch(readings, policy=policy, phase=phase).verdict
    if verdict is Verdict.NOT_MEASURED:
        return None
    return _at(evidence, record, phase, good=verdict is Verdict.PASSED)


def _blockage(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord, phase: Phase
) -> Sight | None:
    del audited
    blocked = record.blocked_found if phase is Phase.AS_FOUND else record.blocked_left
    return _at(evidence, record, phase, good=not blocked)


def _logger(
    evidence: Evidence, audited: AuditedGauge, record: CheckRecord, phase: Phase
) -> Sight | None:
    """Give what was left behind; a gauge that was taken away that day needs no logger."""
    gone = record.visited_on == audited.removed_on
    if phase is Phase.AS_FOUND or gone or not record.tells_connection:
        return None
    if not record.left_disconnected:
        return _at(evidence, record, phase, good=True)
    times = evidence.times[record.visit_ref, record.serial]
    return Sight(times.begins_at, record, phase, good=False)


_SEEN = {
    Doubt.OUT_OF_TOLERANCE: _tolerance,
    Doubt.SWITCH_FAILED: _switch,
    Doubt.BLOCKED: _blockage,
    Doubt.OFF_LOGGER: _logger,
}

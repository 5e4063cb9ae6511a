"""The switch of one gauge: what was read of it, held against the policy."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.domain.check import PHASE_WORDS
from fleet.domain.code import MeasuredAt, Phase, Verdict
from fleet.domain.history import SwitchReadings
from fleet.domain.policy import Policy

MANUAL_TIPS = 10
"""Slow manual tips of the functional switch test; each must be counted (an instrument maker's
support page)."""

WEAK_SHARE = 0.5
"""A closed resistance above this share of the field limit is called weak: a choice of this
program, so that a switch is seen before it fails; no published source."""


@dataclass(frozen=True, slots=True)
class SwitchJudgement:
    """Switch readings held against the policy; ``weak`` passed, but nears the field limit."""

    verdict: Verdict
    reason: str
    weak: bool = False


def judge_switch(
    readings: SwitchReadings | None, *, policy: Policy, phase: Phase
) -> SwitchJudgement:
    """Hold the switch readings of one phase against the policy.

    Parameters
    ----------
    readings : SwitchReadings or None
        None, or nothing read, is not measured.
    policy : Policy
        In force on the day of the visit. Readings taken in the workshop are held against the
        workshop limit, others against the field limit.
    phase : Phase
        Named in the reason.

    Returns
    -------
    SwitchJudgement
        The reason names every fault; ``weak`` only where there is none.
    """
    if readings is None or not _switch_was_read(readings):
        reason = f"The switch was not read {PHASE_WORDS[phase]}{_cable(readings)}."
        return SwitchJudgement(Verdict.NOT_MEASURED, reason)
    where = f"Switch {PHASE_WORDS[phase]}"
    faults = _switch_faults(readings, policy)
    if faults:
        return SwitchJudgement(Verdict.FAILED, f"{where}: {'; '.join(faults)}.")
    weak_ohm = WEAK_SHARE * policy.closed_field_limit_ohm
    if readings.closed_ohm is not None and readings.closed_ohm > weak_ohm:
        reason = (
            f"{where}: weak, {_ohms(readings.closed_ohm)} closed is over half the field limit "
            f"of {_ohms(policy.closed_field_limit_ohm)}."
        )
        return SwitchJudgement(Verdict.PASSED, reason, weak=True)
    return SwitchJudgement(Verdict.PASSED, f"{where}: {_switch_good(readings)}.")


def _cable(readings: SwitchReadings | None) -> str:
    """Say why a resistance read through a cable does not count."""
    if readings is None or not readings.cable_unknown:
        return ""
    return "; its resistance was, at the logger, through a cable of unknown resistance"


def _switch_was_read(readings: SwitchReadings) -> bool:
    values = (readings.closed_ohm, readings.open_ohm, readings.manual_tips)
    return readings.no_closure or any(value is not None for value in values)


def _switch_faults(readings: SwitchReadings, policy: Policy) -> list[str]:
    workshop = readings.measured_at is MeasuredAt.WORKSHOP
    limit = policy.closed_workshop_limit_ohm if workshop else policy.closed_field_limit_ohm
    name = "workshop" if workshop else "field"
    faults = ["it does not close"] if readings.no_closure else []
    if readings.closed_ohm is not None and readings.closed_ohm > limit:
        faults.append(
            f"{_ohms(readings.closed_ohm)} closed is above the {name} limit of {_ohms(limit)}"
        )
    if readings.open_ohm is not None and readings.open_ohm < policy.open_limit_ohm:
        faults.append(
            f"{_ohms(readings.open_ohm)} open is below the limit of {_ohms(policy.open_limit_ohm)}"
        )
    if readings.manual_tips is not None and readings.manual_tips != MANUAL_TIPS:
        faults.append(f"{readings.manual_tips} counted of {MANUAL_TIPS} manual tips")
    return faults


def _switch_good(readings: SwitchReadings) -> str:
    parts = []
    if readings.closed_ohm is not None:
        parts.append(f"{_ohms(readings.closed_ohm)} closed")
    if readings.open_ohm is not None:
        parts.append(f"{_ohms(readings.open_ohm)} open")
    if readings.manual_tips is not None:
        parts.append(f"{readings.manual_tips} counted of {MANUAL_TIPS} manual tips")
    return f"{', '.join(parts)}, within the limits{_cable(readings)}"


def _ohms(ohm: float) -> str:
    return f"{ohm / 1e6:g} Mohm" if ohm >= 1e5 else f"{ohm:g} ohm"

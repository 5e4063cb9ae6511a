"""What is to be done at a gauge, how long it takes, and what must be in the van for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState

POUR_ML_PER_S = 1.0
"""Upper end of the 0.5-1 mL/s that operating manuals pour at [READ S3, S4 in the project's list of
standards]; a slower pour is the technician's choice and takes longer."""


@dataclass(frozen=True, slots=True)
class ServiceTimes:
    """Minutes of each part of a service; common practice, no published source."""

    look_and_isolate_min: int = 8
    set_up_a_run_min: int = 2
    clean_and_level_min: int = 15
    switch_min: int = 6
    reconnect_min: int = 6
    mend_min: int = 20
    """For each open follow-up at the gauge."""


@dataclass(frozen=True, slots=True)
class Job:
    """The work at one gauge."""

    tasks: tuple[str, ...]
    bring: tuple[str, ...]
    minutes: int
    water_ml: float


def job_at(
    state: GaugeState,
    policy: Policy,
    *,
    needs: Sequence[str] = (),
    times: ServiceTimes | None = None,
) -> Job:
    """Work out the job at one gauge from its state and policy.

    Parameters
    ----------
    state : GaugeState
        As of the evidence day.
    policy : Policy
        In force on that day.
    needs : sequence of str
        What the open follow-ups of the gauge ask for, one text each.
    times : ServiceTimes, optional
        Minutes of the parts; None takes the defaults.

    Returns
    -------
    Job
        Tasks in the trade's order; minutes without the walk from the road, at least 1.
    """
    times = times or ServiceTimes()
    runs = policy.minimum_as_found_runs + policy.minimum_as_left_runs
    volume = state.gauge.test_volume_ml
    run_min = times.set_up_a_run_min + ceil(volume / POUR_ML_PER_S / 60.0)
    minutes = (
        times.look_and_isolate_min
        + runs * run_min
        + times.clean_and_level_min
        + times.switch_min
        + times.reconnect_min
        + times.mend_min * len(needs)
    )
    return Job(
        tasks=tuple(_tasks(state, policy, needs)),
        bring=tuple(_bring(state, needs)),
        minutes=minutes,
        water_ml=runs * volume,
    )


def _tasks(state: GaugeState, policy: Policy, needs: Iterable[str]) -> Iterable[str]:
    if state.left_disconnected:
        yield (
            f"First: prove that tips reach the logger; visit {state.disconnected_ref} "
            "does not prove that the gauge was reconnected"
        )
    yield f"As found: {policy.minimum_as_found_runs} runs or more before anything is cleaned"
    if state.left_blocked:
        yield "Clear the blockage that was left"
    yield "Clean, level, free movement"
    if _may_need_adjusting(state, policy):
        yield "Be ready to adjust: the last error, or its drift, nears the tolerance"
    yield f"As left: {policy.minimum_as_left_runs} runs or more, buckets emptied"
    if state.switch_left_dead:
        yield "Replace the switch: it was left failing"
    elif _weak(state, policy):
        yield "Watch the switch: its closed resistance nears the limit"
    yield "Switch: closed and open resistance, ten slow manual tips"
    for need in needs:
        yield f"Mend: {need}"
    yield "Reconnect and prove it"


def _bring(state: GaugeState, needs: Iterable[str]) -> Iterable[str]:
    if state.switch_left_dead:
        yield "spare switch"
    yield from needs


def _may_need_adjusting(state: GaugeState, policy: Policy) -> bool:
    level = state.level_percent
    return level is not None and abs(level) > policy.as_left_tolerance_percent


def _weak(state: GaugeState, policy: Policy) -> bool:
    return state.switch_ohm is not None and state.switch_ohm > policy.closed_field_limit_ohm / 2

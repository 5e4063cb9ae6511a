"""What is to be done at a gauge, how long it takes, and what must be in the van for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from fleet.domain.check import limits_percent
from fleet.domain.code import Phase
from fleet.domain.policy import Policy
from fleet.domain.state import GaugeState
from fleet.domain.switch import WEAK_SHARE

POUR_ML_PER_S = 1.0
"""Upper end of the 0.5-1 mL/s that operating manuals pour at [READ S3, S4 in the project's list of
standards]; a slower pour is the technician's choice and takes longer."""

RESERVE = 0.5
"""Share of the planned water carried on top: each phase may need runs 3 and 4 beside the two
planned, and wetting takes some. Common practice, no published source."""

RINSE_ML = 1000.0
"""Water to rinse funnel, filter and buckets of one gauge, in mL. Common practice, no published
source."""


def carried_ml(planned_ml: float) -> float:
    """Give the water to carry for one gauge, reserve and rinsing included, in mL."""
    return planned_ml * (1 + RESERVE) + RINSE_ML


@dataclass(frozen=True, slots=True)
class ServiceTimes:
    """Minutes of each part of a service; common practice, no published source."""

    look_and_isolate_min: int = 8
    set_up_a_run_min: int = 2
    clean_and_level_min: int = 15
    adjust_min: int = 15
    """Where the gauge will probably be found outside the as-left limits."""
    switch_min: int = 6
    reconnect_min: int = 6
    mend_min: int = 20
    """For each defect that waits to be mended."""


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect that waits to be mended, and what mending it needs in the van."""

    description: str
    needs: str | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """The work at one gauge.

    ``tasks`` are all of them; ``particular`` those that this visit alone asks for, beside the steps
    of every visit.
    """

    tasks: tuple[str, ...]
    particular: tuple[str, ...]
    bring: tuple[str, ...]
    minutes: int
    water_ml: float

    @property
    def carried_ml(self) -> float:
        """Give the water to carry for it, reserve and rinsing included, in mL."""
        return carried_ml(self.water_ml)


def job_at(
    state: GaugeState,
    policy: Policy,
    *,
    level_percent: float | None = None,
    defects: Sequence[Defect] = (),
    times: ServiceTimes | None = None,
) -> Job:
    """Work out the job at one gauge from its state and policy.

    Parameters
    ----------
    state : GaugeState
        As of the evidence day.
    policy : Policy
        In force on that day.
    level_percent : float, optional
        The error at which the gauge is expected to be found; None is unknown.
    defects : sequence of Defect
        What waits to be mended at the gauge.
    times : ServiceTimes, optional
        Minutes of the parts; None takes the defaults.

    Returns
    -------
    Job
        Tasks in the trade's order; minutes without the walk from the road; water without
        reserve.
    """
    times = times or ServiceTimes()
    runs = policy.minimum_as_found_runs + policy.minimum_as_left_runs
    volume = state.gauge.test_volume_ml
    run_min = times.set_up_a_run_min + ceil(volume / POUR_ML_PER_S / 60.0)
    adjust = _adjust_task(state, policy, level_percent)
    minutes = (
        times.look_and_isolate_min
        + runs * run_min
        + times.clean_and_level_min
        + (times.adjust_min if adjust else 0)
        + times.switch_min
        + times.reconnect_min
        + times.mend_min * len(defects)
    )
    switch = _switch_task(state, policy)
    first, blocked = _connection_task(state), _blockage_task(state)
    mend = [f"Mend: {defect.description}" for defect in defects]
    return Job(
        tasks=(
            *first,
            f"As found: {_runs(policy.minimum_as_found_runs)} before anything is cleaned",
            *(f"{task}, clean" for task in blocked),
            *([] if blocked else ["Clean"]),
            "Level, free movement",
            *adjust,
            f"As left: {_runs(policy.minimum_as_left_runs)}, buckets emptied",
            "Switch: closed and open resistance, ten slow manual tips",
            *switch,
            *mend,
            "Reconnect and prove it",
        ),
        particular=(*first, *blocked, *adjust, *switch, *mend),
        bring=(*(["spare switch"] if switch else []), *_needs(defects)),
        minutes=minutes,
        water_ml=runs * volume,
    )


def _connection_task(state: GaugeState) -> list[str]:
    if not state.left_disconnected:
        return []
    return [
        f"First: see whether tips reach the logger; visit {state.disconnected_ref} "
        "does not prove that the gauge was put back"
    ]


def _blockage_task(state: GaugeState) -> list[str]:
    return ["Clear the blockage that was left"] if state.left_blocked else []


def _runs(least: int) -> str:
    return f"{least} run{'' if least == 1 else 's'} or more"


def _needs(defects: Iterable[Defect]) -> Iterable[str]:
    return dict.fromkeys(defect.needs for defect in defects if defect.needs)


def _adjust_task(state: GaugeState, policy: Policy, level_percent: float | None) -> list[str]:
    gauge = state.gauge
    nominal = gauge.test_volume_ml / gauge.tip_ml
    low, high = limits_percent(policy, Phase.AS_LEFT, nominal_tips=nominal)
    if level_percent is None or low <= level_percent <= high:
        return []
    return [
        f"Be ready to adjust: expected at {level_percent:+.1f} %, to be left within "
        f"{low:+.1f} to {high:+.1f} %"
    ]


def _switch_task(state: GaugeState, policy: Policy) -> list[str]:
    ohm, limit = state.switch_ohm, policy.closed_field_limit_ohm
    if state.switch_left_dead:
        return ["Replace the switch: it was left failing"]
    if ohm is None or ohm <= limit * WEAK_SHARE:
        return []
    read = f"last read {ohm:g} ohm closed, limit {limit:g}"
    if ohm > limit:
        return [f"Replace the switch: {read}"]
    return [f"Watch the switch: {read}; replace it if it has grown"]

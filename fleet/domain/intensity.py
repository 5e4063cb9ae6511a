"""At which intensity each run of a test was poured, and how the error goes with it."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.domain.history import Gauge, PhaseRuns

SECONDS_PER_HOUR = 3600.0

LEAST_RUNS = 3
LEAST_RATIO = 1.5
"""Fewer timed runs, or less between the slowest and the fastest, tell no slope: choices of this
program."""


@dataclass(frozen=True, slots=True)
class TimedRun:
    """One run with its duration: number, intensity in mm/h, error in percent of expected tips."""

    number: int
    mm_per_hour: float
    error_percent: float


def timed_runs(runs: PhaseRuns, gauge: Gauge) -> tuple[TimedRun, ...]:
    """Give the intensity and the error of each run whose duration is known.

    Parameters
    ----------
    runs : PhaseRuns
        Of one phase.
    gauge : Gauge
        Which was tested.

    Returns
    -------
    tuple of TimedRun
        In the order of the runs; runs without a duration are left out.

    Notes
    -----
    I = 3600 h / t with h = 10 V / A, in mm, mL and cm2 (first principles).
    Checked against: 653 mL through 203 mm in 48.4 / 24.2 / 12.1 min are 25 / 50 / 100 mm/h
    (tests/domain/test_intensity.py).
    """
    timed = []
    rows = zip(runs.run_tips, runs.run_volumes_ml, runs.run_durations_s, strict=False)
    for number, (tips, volume_ml, duration_s) in enumerate(rows, start=1):
        if duration_s is not None:
            depth_mm = 10.0 * volume_ml / gauge.orifice_area_cm2
            expected = volume_ml / gauge.tip_ml
            error_percent = 100.0 * (tips - expected) / expected
            timed.append(TimedRun(number, SECONDS_PER_HOUR * depth_mm / duration_s, error_percent))
    return tuple(timed)


def error_slope(timed: tuple[TimedRun, ...]) -> float | None:
    """Give how the error goes with intensity.

    Parameters
    ----------
    timed : tuple of TimedRun
        Of one phase.

    Returns
    -------
    float or None
        Least-squares slope in percent for each 100 mm/h; None where runs or intensities are too
        few or too much alike to tell.
    """
    rates = [run.mm_per_hour for run in timed]
    if len(timed) < LEAST_RUNS or max(rates) < LEAST_RATIO * min(rates):
        return None
    middle = sum(rates) / len(rates)
    spread = sum((rate - middle) ** 2 for rate in rates)
    pull = sum((run.mm_per_hour - middle) * run.error_percent for run in timed)
    return 100.0 * pull / spread


def intensity_note(gauge: Gauge) -> str:
    """Say how a gauge of this build takes intensity."""
    if gauge.siphon:
        return (
            "its siphon holds the inflow while a bucket tips: a loss in proportion to intensity is "
            "not to be looked for, a sudden error at some intensities is a fault of the siphon"
        )
    return (
        "without a siphon each tip loses what flows in during its half swing, so it reads lower in "
        "proportion to intensity: compare tests of like intensity"
    )

"""How well, how fast and in how much memory daily totals tell of faults; figures are printed.

    python -m pytest tests/benchmarks/test_neighbour.py -m benchmark -s

The world is invented daily rain whose mechanism is not the model's own (neighbour_world.py);
NEIGHBOURS.md keeps the figures.
"""

from __future__ import annotations

import resource
import sys
from collections import Counter
from dataclasses import dataclass, replace
from math import exp
from time import perf_counter

import numpy as np
import pytest

from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_story import CHOKED, SHARE_OF_CAUSE, Alarm, Cause
from tests.benchmarks.stopwatch import busy_seconds
from tests.stats.neighbour_world import (
    count_tips,
    make_places,
    make_rain,
    make_record,
    make_services,
)

pytestmark = pytest.mark.benchmark

FAULTY_SHARE = 0.25
FALSE_SHARE = 0.05


@dataclass(frozen=True)
class Planted:
    """A fault and the day from which it lasts."""

    cause: Cause
    alarm: Alarm
    day: int


def raised_alarms(spans: tuple[SpanEvidence, ...]) -> list[SpanEvidence]:
    return [span for span in spans if span.q <= FALSE_SHARE]


def test_two_thousand_gauges_and_ten_years_fit_in_memory(capsys):
    gauges, days = 2000, 3650
    places = make_places(gauges, side_km=450.0, seed=1)
    total = count_tips(make_rain(*places, days=days, seed=1))
    services = make_services(gauges, days, every=180, seed=1)
    total[np.random.default_rng(5).random(total.shape) < 0.01] = np.nan
    total[3] = np.roll(total[3], 1)
    before_mb, start, busy = _peak_mb(), perf_counter(), busy_seconds()

    evidence = neighbour_evidence(make_record(total, services, places))

    seconds, after_mb = perf_counter() - start, _peak_mb()
    busy = busy_seconds() - busy
    say(
        capsys,
        f"{gauges} gauges x {days} days: {seconds:.0f} s, processor {busy:.0f} s, "
        f"peak {after_mb:.0f} MB ({before_mb:.0f} MB before), "
        f"{len(raised_alarms(evidence.spans))} false alarms, "
        f"shifts {[(s.gauge, s.days_late) for s in evidence.shifts]}",
    )
    assert [(shift.gauge, shift.days_late) for shift in evidence.shifts] == [(3, 1)]
    assert after_mb < 1500


def test_planted_faults_are_found_and_posteriors_come_true(capsys):
    judged: list[tuple[Planted | None, SpanEvidence]] = []
    for seed in range(8):
        places = make_places(400, side_km=200.0, seed=seed)
        services = make_services(400, 900, every=200, seed=seed)
        rain, planted = _plant(make_rain(*places, days=900, seed=seed), services, seed)
        record = make_record(count_tips(rain), services, places)
        spans = neighbour_evidence(record, days_may_shift=False).spans
        judged += [(planted.get(span.gauge), span) for span in spans if span.alarm is not None]
    raised = [(fault, span) for fault, span in judged if span.q <= FALSE_SHARE]
    false = sum(fault is None for fault, _ in raised)
    fit = [exp(min(span.log_ratio, 50.0)) for fault, span in judged if fault is None]
    late = [span.began - fault.day for fault, span in raised if fault]
    say(
        capsys,
        f"{len(judged)} gauges, {len(raised)} alarms, {false} false; "
        f"mean ratio of fit gauges {np.mean(fit):.2f}; "
        f"start off by {np.percentile(late, [5, 50, 95])} days (5, 50, 95 %)",
        *_by_alarm(judged),
        *_calibration(judged),
    )
    assert false <= FALSE_SHARE * len(raised)
    assert 0.02 < np.mean(fit) < 1.5


def _plant(rain, services, seed: int):
    """Plant faults as often as the causes make them, each from a random day since a service."""
    dice = np.random.default_rng([seed, 9])
    planted: dict[int, Planted] = {}
    days = rain.shape[1]
    for gauge in range(len(rain)):
        first = int(np.flatnonzero(services[gauge])[-1]) + 1
        if days - first < 10 or dice.random() > FAULTY_SHARE:
            continue
        cause = list(Cause)[int(dice.integers(len(Cause)))]
        shares = SHARE_OF_CAUSE[cause]
        alarm = list(shares)[int(dice.choice(len(shares), p=list(shares.values())))]
        day = int(dice.integers(first, days))
        rain[gauge, day:] *= _catch(alarm, days - day, dice)
        planted[gauge] = Planted(cause, alarm, day)
    return rain, planted


def _catch(alarm: Alarm, days: int, dice):
    low, high = 1.0 - dice.uniform(0.05, 0.4), 1.0 + dice.uniform(0.05, 0.4)
    end = {
        Alarm.SILENT: 0.0,
        Alarm.CHOKED: np.exp(dice.uniform(*CHOKED)),
        Alarm.HALVED: 0.5 * np.exp(dice.normal(0, 0.06)),
        Alarm.DOUBLED: 2.0 * np.exp(dice.normal(0, 0.06)),
        Alarm.STEP_DOWN: low,
        Alarm.STEP_UP: high,
        Alarm.SINKING: 1.0 - dice.uniform(0.05, 0.6),
        Alarm.RISING: high,
    }[alarm]
    if alarm in (Alarm.SINKING, Alarm.RISING):
        return np.linspace(1.0, end, days)
    return end


def _by_alarm(judged) -> list[str]:
    all_of = Counter(fault.alarm for fault, _ in judged if fault)
    found = Counter(fault.alarm for fault, span in judged if fault and span.q <= FALSE_SHARE)
    ripe = Counter(fault.alarm for fault, span in judged if fault and span.wet_days >= 10)
    seen = Counter(
        fault.alarm
        for fault, span in judged
        if fault and span.wet_days >= 10 and span.q <= FALSE_SHARE
    )
    head = ["| fault | planted | found | with 10 wet days since | found |", "|---|---|---|---|---|"]
    rows = [
        f"| {alarm} | {all_of[alarm]} | {found[alarm]} | {ripe[alarm]} | {seen[alarm]} |"
        for alarm in Alarm
    ]
    return head + rows


def _calibration(judged) -> list[str]:
    """Tell what odds x ratio said, with even odds of the causes, and what came true."""
    odds = FAULTY_SHARE / len(Cause) / (1.0 - FAULTY_SHARE)
    total = np.array([sum(odds * exp(v) for v in s.cause_log_ratio.values()) for _, s in judged])
    said, came = total / (1.0 + total), np.array([fault is not None for fault, _ in judged])
    lines = ["| said unfit | gauges | said | came true |", "|---|---|---|---|"]
    for low, high in ((0, 0.02), (0.02, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
        those = (said >= low) & (said < high)
        if those.any():
            figures = f"{those.sum()} | {said[those].mean():.3f} | {came[those].mean():.3f}"
            lines.append(f"| {low:.2f}-{min(high, 1):.2f} | {figures} |")
    score, base = np.mean((said - came) ** 2), came.var()
    return [*lines, f"score of Brier {score:.4f}, of the base rate {base:.4f}"]


SPACINGS_KM = (5.0, 10.0, 20.0, 40.0)
ROUGHNESS = {
    "smooth": (0.15, (15.0, 45.0)),
    "middling": (0.2, (12.0, 40.0)),
    "patchy": (0.3, (8.0, 30.0)),
}
"""Noise of a gauge and day, and reach of storms in km."""

LEVEL_SD_PERCENT = 2.0
"""Spread of the true levels, of the gauges and of their neighbours."""


@pytest.mark.parametrize("rain", ROUGHNESS)
def test_level_is_measured_as_well_as_its_standard_error_says(capsys, rain):
    lines = ["| rain | spacing km | correlation | days | rms of error % | said % | error / said |"]
    scores = []
    for spacing in SPACINGS_KM:
        for days in (30, 90, 180):
            missed, said, alike = _level_errors(rain, spacing, days)
            scores.append(float(np.sqrt(np.mean((missed / said) ** 2))))
            rms = np.sqrt(np.mean(missed**2))
            cells = (
                f"{rain} | {spacing:.0f} | {alike:.2f} | {days}",
                f"{rms:.1f} | {np.mean(said):.1f} | {scores[-1]:.2f}",
            )
            lines.append(f"| {' | '.join(cells)} |")
    say(capsys, *lines)
    assert 0.8 < np.mean(scores) < 1.25


def _level_errors(rain: str, spacing_km: float, window: int):
    gauges, days = 150, 3 * 365
    noise, reach = ROUGHNESS[rain]
    places = make_places(gauges, side_km=spacing_km * np.sqrt(gauges), seed=2)
    fallen = make_rain(*places, days=days, seed=2, noise=noise, reach_km=reach)
    alike = np.corrcoef(fallen)
    apart = np.hypot(*(np.subtract.outer(one, one) for one in places))
    near = alike[(apart > 0.7 * spacing_km) & (apart < 1.3 * spacing_km)].mean()
    levels = np.random.default_rng(5).normal(0.0, LEVEL_SD_PERCENT, gauges)
    fallen[:, days - window :] *= (1.0 + levels / 100.0).astype(np.float32)[:, None]
    services = make_services(gauges, days, every=180, seed=2)
    services[:, days - window - 20 :] = False
    services[:, days - window] = True
    record = make_record(count_tips(fallen), services, places)
    record = replace(
        record,
        level_log=np.zeros(fallen.shape, dtype=np.float32),
        level_sd=np.full(gauges, LEVEL_SD_PERCENT / 100.0),
    )
    read = [
        (span.level.mean_percent - levels[span.gauge], span.level.mean_sd_percent)
        for span in neighbour_evidence(record, days_may_shift=False).spans
        if span.level is not None
    ]
    return *np.array(read).T, near


def say(capsys, *lines: str) -> None:
    with capsys.disabled():
        sys.stdout.write("\n" + "\n".join(lines) + "\n")


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

"""How well, how fast and in how much memory daily totals tell of faults; figures are printed.

    python -m pytest tests/benchmarks/bench_neighbour.py -m benchmark -s

Worlds: an invented one of daily rain whose mechanism is not the model's own (neighbour_world.py),
and the open set of real monthly rain (open_rain.py; skipped where it is not installed).
"""

from __future__ import annotations

import resource
import sys
from collections import Counter
from dataclasses import dataclass
from math import exp
from time import perf_counter

import numpy as np
import pytest

from fleet.stats.homogeneity import permutation_p, snht
from fleet.stats.neighbour_choice import choose_neighbours, nearest_gauges
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.neighbour_spell import middle_rain
from fleet.stats.neighbour_story import CHOKED, SHARE_OF_CAUSE, Alarm, Cause
from tests.stats.neighbour_world import (
    count_tips,
    make_places,
    make_rain,
    make_record,
    make_services,
)
from tests.stats.open_rain import monthly_record, open_window

pytestmark = pytest.mark.benchmark

FAULTY_SHARE = 0.25
FALSE_SHARE = 0.05


@dataclass(frozen=True)
class Planted:
    """A fault and the day from which it lasts."""

    cause: Cause
    alarm: Alarm
    day: int


def _alarms(spans: tuple[SpanEvidence, ...]) -> list[SpanEvidence]:
    return [span for span in spans if span.q <= FALSE_SHARE]


def test_two_thousand_gauges_and_ten_years_fit_in_memory(capsys):
    gauges, days = 2000, 3650
    places = make_places(gauges, side_km=450.0, seed=1)
    total = count_tips(make_rain(*places, days=days, seed=1))
    services = make_services(gauges, days, every=180, seed=1)
    total[np.random.default_rng(5).random(total.shape) < 0.01] = np.nan
    total[3] = np.roll(total[3], 1)
    before_mb, start = _peak_mb(), perf_counter()

    evidence = neighbour_evidence(make_record(total, services, places))

    seconds, after_mb = perf_counter() - start, _peak_mb()
    _say(
        capsys,
        f"{gauges} gauges x {days} days: {seconds:.0f} s, peak {after_mb:.0f} MB "
        f"({before_mb:.0f} MB before), {len(_alarms(evidence.spans))} false alarms, "
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
    _say(
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


WINDOWS = ((1950, 1970), (1960, 1980), (1970, 1990), (1977, 1997))
SERVICES = (59, 119, 179)


def test_breaks_in_real_monthly_rain_are_found_or_not(capsys):
    lines = ["| break | planted | found | false | stations judged |", "|---|---|---|---|---|"]
    for words, share, months in (
        ("none", 1.0, (0, 0)),
        ("10 % for 1-4 years", 0.9, (12, 48)),
        ("20 % for 1-4 years", 0.8, (12, 48)),
        ("50 % for 1-4 years", 0.5, (12, 48)),
        ("50 % for 6-12 months", 0.5, (6, 12)),
        ("silent for the last month", 0.0, (1, 2)),
        ("silent for the last three", 0.0, (3, 4)),
    ):
        counts = np.sum(
            [_one_window(w, share, months, draw) for draw in range(3) for w in WINDOWS], 0
        )
        lines.append("| " + " | ".join([words, *map(str, counts.tolist())]) + " |")
    _say(capsys, *lines)


def _one_window(window, share: float, months: tuple[int, int], draw: int) -> list[int]:
    total, latitude, longitude = open_window(*window)
    dice = np.random.default_rng([draw, window[0]])
    chosen = dice.choice(len(total), len(total) // 10, replace=False) if months[1] else []
    planted = total.copy()
    for station in chosen:
        planted[station, -int(dice.integers(*months)) :] *= share
    record = monthly_record(planted, latitude, longitude, services=SERVICES)
    raised = {s.gauge for s in _alarms(neighbour_evidence(record, days_may_shift=False).spans)}
    found = len(raised & set(map(int, chosen)))
    return [len(chosen), found, len(raised) - found, len(total)]


def test_breaks_in_forty_years_of_ratios_are_found_by_the_homogeneity_test(capsys):
    total, latitude, longitude = open_window(1950, 1990, full=0.9)
    ratios = _yearly_ratios(total, latitude, longitude)
    lines = [
        "| break after 20 of 40 years | SNHT p <= 5 % | place within 2 years |",
        "|---|---|---|",
    ]
    for words, share in (("none", 1.0), ("10 %", 0.9), ("20 %", 0.8), ("50 %", 0.5)):
        changed = [np.where(np.arange(len(r)) < len(r) // 2, r, share * r) for r in ratios]
        p = np.array([permutation_p(series, "snht", draws=499) for series in changed])
        near = [abs(snht(series).before - len(series) // 2) <= 2 for series in changed]
        lines.append(f"| {words} | {np.mean(p <= 0.05):.2f} | {np.mean(near):.2f} |")
    _say(capsys, *lines, f"{len(ratios)} stations")
    assert len(ratios) > 50


def _yearly_ratios(total, latitude, longitude) -> list[np.ndarray]:
    chosen = choose_neighbours(total, nearest_gauges(latitude, longitude))
    ratios = []
    for station, others in enumerate(chosen):
        around = middle_rain(total[station], total[others])
        own = np.where(np.isnan(around), 0.0, total[station]).reshape(-1, 12).sum(axis=1)
        theirs = np.nan_to_num(around).reshape(-1, 12).sum(axis=1)
        if (theirs > 50.0).sum() >= 35:
            ratios.append((own / np.maximum(theirs, 1e-9))[theirs > 50.0])
    return ratios


def _say(capsys, *lines: str) -> None:
    with capsys.disabled():
        sys.stdout.write("\n" + "\n".join(lines) + "\n")


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

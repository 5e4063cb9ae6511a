"""Breaks planted into real monthly rain, and the tests of homogeneity on it; figures are printed.

    python -m pytest tests/benchmarks/test_open_rain.py -m benchmark -s

Source: COmonthlyMet of the R package `fields` (open_rain.py; skipped where it is not installed).
NEIGHBOURS.md keeps the figures.
"""

from __future__ import annotations

import numpy as np
import pytest

from fleet.stats.homogeneity import permutation_p, snht
from fleet.stats.neighbour_choice import choose_neighbours, nearest_gauges
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_spell import middle_rain
from tests.benchmarks.test_neighbour import raised_alarms, say
from tests.stats.open_rain import monthly_record, open_window

pytestmark = pytest.mark.benchmark

WINDOWS = ((1950, 1970), (1960, 1980), (1970, 1990), (1977, 1997))
SERVICES = (59, 119, 179)
DRAWS = 1


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
            [_one_window(w, share, months, draw) for draw in range(DRAWS) for w in WINDOWS], 0
        )
        lines.append("| " + " | ".join([words, *map(str, counts.tolist())]) + " |")
    say(capsys, *lines)


def _one_window(window, share: float, months: tuple[int, int], draw: int) -> list[int]:
    total, latitude, longitude = open_window(*window)
    dice = np.random.default_rng([draw, window[0]])
    chosen = dice.choice(len(total), len(total) // 10, replace=False) if months[1] else []
    planted = total.copy()
    for station in chosen:
        planted[station, -int(dice.integers(*months)) :] *= share
    record = monthly_record(planted, latitude, longitude, services=SERVICES)
    raised = {
        s.gauge for s in raised_alarms(neighbour_evidence(record, days_may_shift=False).spans)
    }
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
    say(capsys, *lines, f"{len(ratios)} stations")
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


def test_level_of_real_stations_is_measured_as_well_as_said(capsys):
    lines = [
        "| months | stations | rms of level % | said % | level / said |",
        "|---|---|---|---|---|",
    ]
    scores = []
    for months in (3, 6, 12):
        read = []
        for window in WINDOWS:
            total, latitude, longitude = open_window(*window)
            services = (59, 119, total.shape[1] - months - 1)
            record = monthly_record(total, latitude, longitude, services=services)
            spans = neighbour_evidence(record, days_may_shift=False).spans
            read += [(s.level.mean_percent, s.level.mean_sd_percent) for s in spans if s.level]
        level, said = np.array(read).T
        level = np.clip(level, -3 * said, 3 * said)
        scores.append(float(np.sqrt(np.mean((level / said) ** 2))))
        lines.append(
            f"| {months} | {level.size} | {np.sqrt(np.mean(level**2)):.1f} | {said.mean():.1f} "
            f"| {scores[-1]:.2f} |"
        )
    say(capsys, *lines)
    assert 0.6 < np.mean(scores) < 1.5

"""Breaks planted into real monthly rain: what is found, and how much cries wolf.

Source: COmonthlyMet of the R package `fields`, read from an installed package (open_rain.py). The
bounds are floors below what was measured (benchmark test_open_rain.py gives the figures).
"""

from __future__ import annotations

import numpy as np

from fleet.stats.neighbour_evidence import neighbour_evidence
from tests.stats.open_rain import monthly_record, open_window

SERVICES = (59, 119, 179)


def _alarms(total, latitude, longitude):
    record = monthly_record(total, latitude, longitude, services=SERVICES)
    evidence = neighbour_evidence(record, days_may_shift=False)
    return {span.gauge: span for span in evidence.spans if span.q <= 0.05}


def test_halved_stations_are_found_in_real_rain_and_next_to_no_others():
    total, latitude, longitude = open_window(1970, 1990)
    dice = np.random.default_rng(2)
    chosen = dice.choice(len(total), 12, replace=False).tolist()
    planted = total.copy()
    for station in chosen:
        planted[station, int(dice.integers(185, 215)) :] *= 0.5

    found = _alarms(planted, latitude, longitude)

    assert len(total) > 150
    assert len(set(found) & set(chosen)) >= 6
    assert len(set(found) - set(chosen)) <= 2


def test_ratios_of_untouched_stations_are_about_1_in_the_mean():
    total, latitude, longitude = open_window(1984, 1990)
    record = monthly_record(total, latitude, longitude, services=(24, 48))

    evidence = neighbour_evidence(record, days_may_shift=False)

    ratios = np.exp([span.log_ratio for span in evidence.spans if span.alarm is not None])
    assert ratios.size > 150
    assert np.mean(np.minimum(ratios, 1000.0)) < 3.0
    assert np.mean(ratios > 20.0) <= 0.02

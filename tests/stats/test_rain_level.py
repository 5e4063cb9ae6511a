"""Levels measured by rain taken into the drift: against scalar updates and scipy's Student's law.

Expected values come from plain loops in this file and from scipy.stats.multivariate_t, which
share no code with the module. The figures of the gauges are invented.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from scipy.stats import multivariate_t

from fleet.stats.growth import Growth, predict
from fleet.stats.neighbour_measure import LevelReading
from fleet.stats.rain_level import take_in_levels

TODAY = 400


def make_growth(count: int = 1) -> Growth:
    """Give gauges left 1 % low that fall by 2 % a year, tolerance 5 %."""
    return Growth(
        start=np.full(count, -1.0),
        start_variance=np.full(count, 0.3),
        rate=np.full(count, -2.0),
        rate_variance=np.full(count, 1.5),
        walk_variance=np.full(count, 2.0),
        low=np.full(count, -5.0),
        high=np.full(count, 5.0),
    )


def make_reading(day, percent, *, sd: float = 6.0, common: float = 0.0) -> LevelReading:
    """Give readings of so many percent in those columns, with a shared deviation."""
    days = np.array(day, dtype=np.float64)
    return LevelReading(
        day=days,
        percent=np.array(percent, dtype=np.float64),
        sd_percent=np.full(days.size, sd),
        shared_percent2=np.full((days.size, days.size), common**2),
        spells=days.size,
    )


def test_take_in_levels_agrees_with_a_filter_that_goes_from_day_to_day():
    reading = make_reading([230, 300, 390], [-4.0, -7.0, -9.0], sd=2.0)
    x, p = np.array([-1.0, -2.0]), np.diag([0.3, 1.5])
    clock = 200
    for day, seen in zip([230, 300, 390, 400], [-4.0, -7.0, -9.0, None], strict=True):
        years = (day - clock) / 365.25
        step = np.array([[1.0, years], [0.0, 1.0]])
        x, p = step @ x, step @ p @ step.T + np.diag([2.0 * years, 0.0])
        if seen is not None:
            gain = p[:, 0] / (p[0, 0] + 2.0**2)
            x, p = x + gain * (seen - x[0]), p - np.outer(gain, p[0])
        clock = day

    taken = take_in_levels(make_growth(), np.array([200]), [reading], today=TODAY)

    assert taken.growth.start[0] == pytest.approx(x[0], rel=1e-9)
    assert taken.growth.start_variance[0] == pytest.approx(p[0, 0], rel=1e-9)
    assert taken.growth.rate[0] == pytest.approx(x[1], rel=1e-9)
    assert taken.growth.rate_variance[0] == pytest.approx(p[1, 1], rel=1e-9)
    assert taken.age_days.tolist() == [0]


def test_take_in_levels_gives_way_to_what_the_readings_share():
    alone = make_reading([230, 300, 390], [-9.0] * 3, sd=2.0)
    shared = make_reading([230, 300, 390], [-9.0] * 3, sd=2.0, common=50.0)

    levels = [
        take_in_levels(make_growth(), np.array([200]), [one], today=TODAY).growth.start[0]
        for one in (alone, shared)
    ]

    assert levels[0] < -5.0
    assert -2.1 < levels[1] < -1.9  # -2.095 is what the drift alone makes of it


def test_take_in_levels_leaves_a_gauge_without_readings_as_it_was():
    growth = make_growth(2)
    reading = make_reading([300], [-8.0])

    taken = take_in_levels(growth, np.array([200, 150]), [None, reading], today=TODAY)

    assert taken.known.tolist() == [False, True]
    assert taken.age_days.tolist() == [200, 0]
    assert taken.knock_log_ratio[0] == 0.0
    for name in ("start", "start_variance", "rate", "rate_variance"):
        assert getattr(taken.growth, name)[0] == getattr(growth, name)[0]


def test_knock_ratio_is_that_of_shifted_student_laws():
    growth, percent = make_growth(), [-1.0, -11.0, -13.0]
    reading = make_reading([250, 320, 390], percent, sd=3.0, common=2.0)
    ages = (np.array([250, 320, 390]) - 200) / 365.25
    mean = -1.0 - 2.0 * ages
    covariance = (
        0.3
        + 1.5 * np.outer(ages, ages)
        + 2.0 * np.minimum.outer(ages, ages)
        + 4.0
        + 9.0 * np.eye(3)
    )
    plain = multivariate_t(mean, covariance, df=4).logpdf(percent)
    sizes = [side * 5.0 * share for side in (-1, 1) for share in np.linspace(1.0, 3.0, 8)]
    knocked = [
        exp(
            multivariate_t(mean + size * (np.arange(3) >= begin), covariance, df=4).logpdf(percent)
            - plain
        )
        for size in sizes
        for begin in range(3)
    ]

    taken = take_in_levels(growth, np.array([200]), [reading], today=TODAY)

    assert taken.knock_log_ratio[0] == pytest.approx(log(np.mean(knocked)), rel=1e-6)
    assert taken.knock_log_ratio[0] > 1.0


def test_scattered_readings_are_no_knock():
    """Readings that scatter three times as far as said: a normal law would be sure of a step."""
    dice = np.random.default_rng(3)
    readings = [
        make_reading(range(210, 400, 10), -2.0 + 15.0 * dice.standard_normal(19), sd=5.0)
        for _ in range(400)
    ]

    taken = take_in_levels(make_growth(400), np.full(400, 200), readings, today=TODAY)

    assert float(np.mean(np.exp(taken.knock_log_ratio))) < 2.0


def test_quiet_readings_speak_against_a_knock():
    reading = make_reading(range(210, 400, 10), [3.0, -7.0] * 9 + [-2.0], sd=5.0)

    taken = take_in_levels(make_growth(), np.array([200]), [reading], today=TODAY)

    assert -4.5 < taken.knock_log_ratio[0] < -0.5


def test_readings_before_the_level_was_known_count_as_of_that_day():
    early = make_reading([100], [-3.0])
    first = replace(early, day=np.array([200.0]))

    taken = [
        take_in_levels(make_growth(), np.array([200]), [one], today=TODAY).growth.start[0]
        for one in (early, first)
    ]

    assert taken[0] == pytest.approx(taken[1], rel=1e-12)


def test_level_of_today_is_what_the_forecast_starts_from():
    reading = make_reading([300], [-8.0])

    taken = take_in_levels(make_growth(), np.array([200]), [reading], today=TODAY)
    mean, sd = predict(taken.growth, taken.age_days / 365.25)

    assert mean[0] == taken.growth.start[0]
    assert sd[0] == pytest.approx(taken.growth.start_variance[0] ** 0.5)
    assert sd[0] < predict(make_growth(), np.array([200 / 365.25]))[1][0]

"""Levels read from rain: planted errors in simulated rain come back within their standard errors.

The rain is invented (neighbour_world.py), its mechanism not the model's own; literals are bounds by
first principles: of normal deviates 68 % lie within one standard error and 95 % within two.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fleet.stats.neighbour_course import fit_course, learn_season_sd, year_waves
from fleet.stats.neighbour_evidence import neighbour_evidence
from fleet.stats.neighbour_measure import read_level
from fleet.stats.neighbour_median import huber_mean
from fleet.stats.neighbour_noise import RatioNoise
from fleet.stats.neighbour_ratio import RatioSeries
from fleet.stats.neighbour_spell import Spells
from fleet.stats.neighbour_weight import combine_ratios
from tests.stats.neighbour_world import count_tips, make_places, make_rain, make_record

GAUGES, DAYS, SERVICED = 80, 1100, 920


@pytest.fixture(scope="module")
def world():
    """Give the record of a network 10 km apart, and the errors planted since day 920."""
    places = make_places(GAUGES, side_km=90.0, seed=3)
    rain = make_rain(*places, days=DAYS, seed=3)
    planted = np.random.default_rng(4).choice([-8.0, -3.0, 0.0, 0.0, 0.0, 0.0, 6.0], GAUGES)
    rain[:, SERVICED:] *= (1.0 + planted / 100.0).astype(np.float32)[:, None]
    serviced = np.zeros(rain.shape, dtype=bool)
    serviced[:, [200, 500, SERVICED - 1]] = True
    return make_record(count_tips(rain), serviced, places), planted


@pytest.fixture(scope="module")
def evidence(world):
    return neighbour_evidence(world[0], days_may_shift=False)


def test_read_level_finds_planted_errors_within_its_standard_errors(world, evidence):
    levels = [span.level for span in evidence.spans]
    missed = np.array([level.mean_percent for level in levels]) - world[1]
    sd = np.array([level.mean_sd_percent for level in levels])

    assert 2.0 < sd.mean() < 5.0
    assert abs(np.mean(missed)) < 1.5
    assert np.mean(np.abs(missed) < 1.3 * sd) > 0.7
    assert np.mean(np.abs(missed) < 2.5 * sd) > 0.93


def test_readings_are_in_order_and_few(evidence):
    for span in evidence.spans:
        assert 1 <= span.level.day.size <= 24
        assert (np.diff(span.level.day) > 0).all()
        assert span.level.day[0] >= SERVICED
        assert 0.9 * span.spells <= span.level.spells <= span.spells


def test_reading_is_the_mean_of_a_log_normal_law_with_what_is_shared():
    values = np.array([0.0, 0.0, -0.1, -0.2])
    count, told = values.size, np.array([False, False, True, True])
    spells = Spells(
        first=10 * np.arange(count),
        last=10 * np.arange(count) + 4,
        span=np.array([0, 0, 1, 1]),
        around_mm=np.full(count, 20.0),
        own_mm=np.full(count, 20.0),
        wet_days=np.full(count, 3),
        silent_days=np.zeros(count, np.int64),
        log_ratio=np.tile(values, (2, 1)),
        level_log=np.zeros(count),
    )
    ratio = RatioSeries(
        value=values,
        baseline=~told,
        known=True,
        usual_log=0.0,
        weight=np.array([0.75, 0.25]),
        waves=np.tile([1.0, 0.0, 0.0], (count, 1)),
        usual_covariance=np.diag([0.01**2, 0.0, 0.0]),
        sound=True,
    )
    noise = RatioNoise(0.04, 0.0, np.ones(1), 2.0, service_sd=0.03, place_sd=0.3)

    reading = read_level(
        spells, ratio, told, sd=np.full(count, 0.2), noise=noise, others=np.array([0.02, 0.04])
    )

    assert reading.day.tolist() == [22.0, 32.0]
    assert reading.percent == pytest.approx(
        [100 * (np.exp(-0.1 - 0.04) - 1), 100 * (np.exp(-0.2 - 0.04) - 1)]
    )
    assert reading.sd_percent == pytest.approx([20.0 * 2.0**0.5] * 2)
    shared = 1e4 * (2.0 * 0.01**2 + 0.03**2 + 0.015**2 + 0.01**2)
    assert reading.shared_percent2 == pytest.approx(np.full((2, 2), shared))
    assert reading.mean_sd_percent == pytest.approx((400.0 + shared) ** 0.5)


def test_usual_ratio_that_tests_confirm_is_doubted_less(world):
    record, _ = world
    shown = record.total_mm.copy()
    shown[0, SERVICED:] *= 0.6
    untested = replace(record, total_mm=shown)
    tested = replace(
        untested,
        level_log=np.zeros(shown.shape, dtype=np.float32),
        level_sd=np.full(GAUGES, 0.02),
    )

    ratios = [
        neighbour_evidence(one, days_may_shift=False).spans[0].log_ratio
        for one in (untested, tested)
    ]

    assert ratios[1] > ratios[0] + 1.0


def test_known_errors_of_the_past_are_taken_off(world):
    record, _ = world
    shown = record.total_mm.copy()
    shown[0, :SERVICED] *= 0.9
    level = np.zeros(shown.shape, dtype=np.float32)
    level[0, :SERVICED] = np.log(0.9)
    told = replace(record, total_mm=shown, level_log=level, level_sd=np.full(GAUGES, 0.02))

    plain = neighbour_evidence(record, days_may_shift=False).spans[0].level
    known = neighbour_evidence(told, days_may_shift=False).spans[0].level
    unknown = neighbour_evidence(replace(record, total_mm=shown), days_may_shift=False).spans[0]

    assert known.mean_percent == pytest.approx(plain.mean_percent, abs=1.0)
    assert unknown.level.mean_percent == pytest.approx(plain.mean_percent + 11.0, abs=2.0)


def test_usual_ratio_is_not_learned_from_spans_that_ended_in_a_failure(world):
    record, _ = world
    level = np.zeros(record.total_mm.shape, dtype=np.float32)
    level[0, :SERVICED] = np.nan
    record = replace(record, level_log=level, level_sd=np.full(GAUGES, 0.02))

    spans = neighbour_evidence(record, days_may_shift=False).spans

    assert spans[0].level is None
    assert spans[1].level is not None


def test_silent_gauge_tells_no_level(world):
    record, _ = world
    silent = record.total_mm.copy()
    silent[0, SERVICED:] = 0.0

    span = neighbour_evidence(replace(record, total_mm=silent), days_may_shift=False).spans[0]

    assert span.level is None
    assert span.log_ratio > 10


def test_one_faulty_neighbour_does_not_take_the_combination_along():
    dice = np.random.default_rng(2)
    ratios = dice.normal(0, 0.05, (6, 60))
    spoiled = ratios.copy()
    spoiled[0, 40:] += 3.0
    baseline = np.arange(60) < 40

    value, weight = combine_ratios(ratios, baseline)
    other, _ = combine_ratios(spoiled, baseline)

    assert weight.sum() == pytest.approx(1.0)
    assert weight.max() <= 0.4 + 1e-9
    assert np.abs(other - value).max() < 0.1


def test_combination_scatters_less_than_the_median_where_neighbours_differ():
    dice = np.random.default_rng(5)
    spread = np.array([0.05, 0.05, 0.3, 0.3, 0.3, 0.3])[:, None]
    ratios = dice.normal(0, 1, (6, 400)) * spread
    baseline = np.arange(400) < 200

    value, _ = combine_ratios(ratios, baseline)

    assert np.std(value[200:]) < 0.7 * np.std(np.median(ratios[:, 200:], axis=0))


def test_missing_neighbours_leave_the_combination_defined():
    ratios = np.random.default_rng(6).normal(0, 0.05, (4, 30))
    ratios[1, 10:] = np.nan
    ratios[:, 29] = np.nan

    value, _ = combine_ratios(ratios, np.arange(30) < 20)

    assert not np.isnan(value[:29]).any()
    assert np.isnan(value[29])


def test_course_of_a_single_season_stays_as_uncertain_as_it_was():
    waves = year_waves(np.arange(0, 90, 5), 365.25)
    value = np.random.default_rng(7).normal(0.0, 0.05, 18)

    size, covariance = fit_course(value, waves, np.ones(18, bool), season_sd=0.1, years=0.25)
    half_a_year_on = year_waves(np.array([225]), 365.25)[0]
    same_season = waves.mean(axis=0)

    assert size[1:].tolist() == [0.0, 0.0]
    assert half_a_year_on @ covariance @ half_a_year_on > 0.15**2
    assert same_season @ covariance @ same_season < 0.03**2


def test_course_of_some_years_is_fitted():
    first = np.arange(0, 1100, 8)
    waves = year_waves(first, 365.25)
    value = 0.1 + 0.15 * waves[:, 1] + np.random.default_rng(8).normal(0, 0.05, first.size)

    size, _ = fit_course(value, waves, np.ones(first.size, bool), season_sd=0.1, years=3.0)

    assert size == pytest.approx([0.1, 0.15, 0.0], abs=0.02)


def test_network_without_courses_learns_that_there_are_none(world):
    from fleet.stats.neighbour_evidence import _compare

    compared, _ = _compare(world[0], days_may_shift=False)

    assert learn_season_sd(compared.spells, days_per_year=365.25) < 0.03
    assert learn_season_sd([], days_per_year=365.25) == 0.05


def test_huber_mean_agrees_with_statsmodels():
    robust = pytest.importorskip("statsmodels.robust")
    values = np.concatenate([np.random.default_rng(9).normal(3, 1, 50), [40.0, -25.0]])
    scale = 1.4826 * np.median(np.abs(values - np.median(values)))

    expected = robust.norms.estimate_location(values, scale, robust.norms.HuberT(t=1.345))

    assert huber_mean(values) == pytest.approx(float(expected), abs=2e-3)


@pytest.mark.parametrize("gauges", [1, 2, 3])
def test_too_few_gauges_tell_nothing(world, gauges):
    record, _ = world
    few = make_record(
        record.total_mm[:gauges],
        record.serviced[:gauges],
        (np.arange(gauges, dtype=np.float64), np.zeros(gauges)),
        level_log=np.zeros((gauges, DAYS), dtype=np.float32),
        level_sd=np.full(gauges, 0.02),
    )

    spans = neighbour_evidence(few).spans

    assert [span.level for span in spans] == [None] * gauges
    assert {span.spells for span in spans} == {0}

"""The steps of the comparison with neighbours, each against values worked out by hand.

Sources: first principles throughout; 10 mm a spell is common practice (comparisons under 10 mm of
a check gauge are ignored).
"""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from scipy.stats import t as student

from fleet.stats.neighbour_choice import best_neighbours, nearest_gauges, row_correlations
from fleet.stats.neighbour_level import level_index, tabulate_levels
from fleet.stats.neighbour_median import column_median, robust_sd, weighted_median
from fleet.stats.neighbour_noise import learn_noise
from fleet.stats.neighbour_ratio import RatioSeries, centre_ratios
from fleet.stats.neighbour_spell import (
    Spells,
    gather_spells,
    middle_rain,
    neighbour_rain,
    number_spells,
)

NAN = float("nan")


COURSE = {
    "weight": np.ones(3) / 3,
    "waves": np.zeros((0, 3)),
    "usual_covariance": np.zeros((3, 3)),
}


def make_spells(log_ratio, *, around=20.0, own=None, span=None, step=10) -> Spells:
    """Give spells of 20 mm, ten days apart, with the log ratios to k neighbours."""
    table = np.atleast_2d(np.array(log_ratio, dtype=np.float64))
    count = table.shape[1]
    rain = np.full(count, around)
    return Spells(
        first=step * np.arange(count),
        last=step * np.arange(count) + 3,
        span=np.zeros(count, np.int64) if span is None else np.array(span),
        around_mm=rain,
        own_mm=rain if own is None else np.array(own, dtype=np.float64),
        wet_days=np.full(count, 3),
        silent_days=np.zeros(count, np.int64),
        log_ratio=table,
        level_log=np.zeros(count),
    )


def test_nearest_gauges_leave_out_the_gauge_itself_and_keep_its_twin():
    latitude = np.array([44.0, 44.0, 44.1, 44.3])
    longitude = np.array([-30.0, -30.0, -30.0, -30.0])

    near = nearest_gauges(latitude, longitude, count=3)

    assert [row.tolist() for row in near] == [[1, 2, 3], [0, 2, 3], [0, 1, 3], [2, 0, 1]]


def test_nearest_gauges_reach_across_the_180th_meridian():
    near = nearest_gauges(np.zeros(3), np.array([179.9, -179.9, 178.0]), count=1)

    assert [row.tolist() for row in near] == [[1], [0], [0]]


def test_nearest_gauges_of_a_lonely_gauge_are_none():
    assert [row.tolist() for row in nearest_gauges(np.array([1.0]), np.array([2.0]))] == [[]]


def test_row_correlations_match_numpy_over_the_days_that_both_have():
    dice = np.random.default_rng(1)
    row, table = dice.gamma(1, 5, 80), dice.gamma(1, 5, (3, 80))
    table[0] += row
    table[0, ::4] = NAN
    row[5] = NAN

    found = row_correlations(row, table)

    both = ~np.isnan(row) & ~np.isnan(table[0])
    assert found[0] == pytest.approx(np.corrcoef(row[both], table[0][both])[0, 1], rel=1e-9)


def test_row_correlations_are_unknown_with_few_common_days_or_without_variation():
    row = np.arange(40.0)
    short = np.where(row < 29, row, NAN)

    found = row_correlations(row, np.stack([short, np.full(40, 3.0), row]))

    assert np.isnan(found).tolist() == [True, True, False]


def test_best_neighbours_take_the_alike_first_and_fill_up_to_five_only():
    dice = np.random.default_rng(2)
    own = dice.gamma(0.5, 8, 400)
    alike = [own * dice.lognormal(0, 0.1 * (k + 1), 400) for k in range(2)]
    strangers = [dice.gamma(0.5, 8, 400) for _ in range(8)]
    total = np.array([own, *strangers, *alike])

    chosen = best_neighbours(total, 0, np.arange(1, 11))

    assert chosen[:2].tolist() == [9, 10]
    assert chosen.size == 5


def test_best_neighbours_of_a_gauge_that_never_recorded_are_the_nearest():
    dice = np.random.default_rng(2)
    total = np.vstack([np.zeros(400), dice.gamma(0.5, 8, (8, 400))])

    assert best_neighbours(total, 0, np.arange(1, 9)).tolist() == [1, 2, 3, 4, 5]


def test_column_median_and_weighted_median_pass_over_gaps():
    table = np.array([[1.0, NAN, NAN], [5.0, 4.0, NAN], [9.0, 2.0, NAN]])

    median, count = column_median(table)

    assert median[:2].tolist() == [5.0, 3.0]
    assert np.isnan(median[2])
    assert count.tolist() == [3, 2, 0]
    heavy = weighted_median(table, np.array([5.0, 1.0, 1.0]))
    assert heavy[:2].tolist() == [1.0, 2.0]
    assert np.isnan(heavy[2])
    assert np.isnan(weighted_median(np.zeros((0, 2)), np.zeros(0))).all()


def test_robust_sd_of_a_normal_sample_is_its_standard_deviation_whatever_outliers_say():
    sample = np.random.default_rng(4).normal(0, 0.3, 20_000)
    sample[:2000] = 50.0

    assert robust_sd(sample) == pytest.approx(0.34, abs=0.02)
    assert np.isnan(robust_sd(np.array([NAN])))


def test_middle_rain_needs_three_totals_and_the_gauge_s_own():
    own = np.array([0.0, 1.0, NAN, 1.0], dtype=np.float32)
    others = np.array([[1, 2, 3, 4], [5, 6, 7, NAN], [9, 10, 11, 12]], dtype=np.float32)

    assert middle_rain(own, others)[:2].tolist() == [5.0, 6.0]
    assert np.isnan(middle_rain(own, others)[2:]).all()
    assert np.isnan(middle_rain(own, others[:2])).all()
    assert np.isnan(neighbour_rain(others, [np.array([1, 2])] * 3)).all()


def test_number_spells_closes_after_10_mm_once_a_day_is_dry():
    around = np.array([[4, 7, 2, 0, 0, 6, 3, 0, 5, 0, 2]], dtype=float)

    number = number_spells(around, np.zeros((1, 11), dtype=bool))

    assert number[0].tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 1, 1, -1]


def test_number_spells_ends_at_a_service_and_drops_what_had_not_rained_enough():
    around = np.array([[12, 0, 6, 3, 20, 5, 0, 6, 0]], dtype=float)
    serviced = np.array([[0, 0, 0, 0, 1, 0, 0, 0, 0]], dtype=bool)

    number = number_spells(around, serviced)[0]

    assert number.tolist() == [0, 0, -1, -1, -1, 2, 2, 2, 2]
    assert number_spells(around[:, :7], serviced[:, :7])[0].tolist() == [0, 0, *[-1] * 5]


def test_number_spells_cuts_rain_without_end_at_50_mm_and_keeps_a_storm_still_going():
    around = np.array([[30, 25, 30, 25, 12]], dtype=float)

    assert number_spells(around, np.zeros((1, 5), dtype=bool))[0].tolist() == [0, 0, 1, 1, 2]


def test_number_spells_passes_days_without_a_figure_as_dry():
    around = np.array([[6, NAN, 6, NAN]], dtype=float)

    assert number_spells(around, np.zeros((1, 4), dtype=bool))[0].tolist() == [0, 0, 0, 0]


def test_gather_spells_adds_up_and_compares_with_each_neighbour_over_its_own_days():
    own = np.array([5, 0, 6, 0, 8, NAN, 3], dtype=float)
    others = np.array(
        [[4, 2, 6, 0, 8, 9, 3], [10, 4, 12, 0, NAN, NAN, NAN], [3, 2, 6, 0, 8, 1, 4]], dtype=float
    )
    around = middle_rain(own, others)
    serviced = np.zeros(7, dtype=bool)
    number = number_spells(around[None, :], serviced[None, :])[0]

    spells = gather_spells(own, others, around, number=number, serviced=serviced, tip_mm=0.2)

    assert number.tolist() == [0, 0, 0, 0, -1, -1, -1]
    assert (spells.first.tolist(), spells.last.tolist()) == ([0], [3])
    assert (spells.around_mm.tolist(), spells.own_mm.tolist()) == ([12.0], [11.0])
    assert (spells.wet_days.tolist(), spells.silent_days.tolist()) == ([3], [1])
    expected = [log(11.2 / 12.2), log(11.2 / 26.2), log(11.2 / 11.2)]
    assert spells.log_ratio[:, 0] == pytest.approx(expected)


def test_gather_spells_leaves_out_a_neighbour_that_lacks_more_than_30_percent_of_the_rain():
    own = np.full(4, 5.0)
    others = np.full((4, 4), 5.0)
    others[0, 0] = NAN
    others[1, :2] = NAN
    around = middle_rain(own, others)

    spells = gather_spells(
        own, others, around, number=np.zeros(4, np.int32), serviced=np.zeros(4, bool), tip_mm=0.2
    )

    assert np.isnan(spells.log_ratio[:, 0]).tolist() == [False, True, False, False]


def test_gather_spells_without_rain_gives_none():
    dry = np.zeros(5)

    spells = gather_spells(
        dry, np.zeros((3, 5)), dry, number=np.full(5, -1), serviced=np.zeros(5, bool), tip_mm=0.2
    )

    assert spells.count == 0
    assert spells.log_ratio.shape == (3, 0)


def test_centre_ratios_learns_the_usual_outside_the_span_judged():
    table = [[0.1] * 10 + [-0.4] * 4, [0.6] * 10 + [0.1] * 4, [-0.2] * 10 + [-0.7] * 4]
    judged = np.arange(14) >= 10

    ratio = centre_ratios(make_spells(table), judged, days_per_year=365.25)

    assert ratio.known
    assert ratio.usual_log == pytest.approx(0.1)
    assert ratio.value == pytest.approx([0.0] * 10 + [-0.5] * 4)


def test_centre_ratios_is_not_moved_by_a_minority_of_faulty_neighbours():
    dice = np.random.default_rng(5)
    table = dice.normal(0, 0.05, (10, 30))
    table[:4, 12:] += np.array([[4.0], [0.7], [0.7], [-0.7]])

    ratio = centre_ratios(make_spells(table), np.arange(30) >= 20, days_per_year=365.25)

    assert np.abs(ratio.value).max() < 0.15


def test_centre_ratios_lets_no_twin_outvote_the_rest():
    dice = np.random.default_rng(6)
    table = dice.normal(0, 0.1, (10, 30))
    table[0] = dice.normal(0, 0.001, 30)
    table[0, 20:] += 0.6  # the gauge on the same post sinks

    ratio = centre_ratios(make_spells(table), np.arange(30) >= 20, days_per_year=365.25)

    assert np.abs(np.median(ratio.value[20:])) < 0.1


def test_centre_ratios_takes_silent_spells_for_no_usual():
    own = [0.0] * 12 + [18.0] * 9
    table = np.tile(np.array([-4.0] * 12 + [-0.1] * 9), (5, 1))

    ratio = centre_ratios(make_spells(table, own=own), np.arange(21) < 12, days_per_year=365.25)

    assert ratio.usual_log == pytest.approx(-0.1)
    assert ratio.value[:12] == pytest.approx(-3.9)


def test_centre_ratios_says_that_a_gauge_silent_from_the_start_has_no_usual():
    ratio = centre_ratios(
        make_spells(np.full((4, 6), -4.0), own=[0.0] * 6), np.ones(6, bool), days_per_year=365.25
    )

    assert not ratio.known
    assert ratio.value == pytest.approx([-4.0] * 6)


def test_centre_ratios_takes_off_a_yearly_course_once_two_years_are_known():
    days = 10 * np.arange(110)
    course = 0.2 * np.cos(2 * np.pi * days / 365.25)
    noise = np.random.default_rng(8).normal(0, 0.03, (6, 110))
    judged = np.arange(110) >= 90

    ratio = centre_ratios(make_spells(course + noise), judged, days_per_year=365.25, season_sd=0.1)

    assert np.std(ratio.value) < 0.04
    short = centre_ratios(
        make_spells((course + noise)[:, :40]), np.arange(40) >= 30, days_per_year=365.25
    )
    assert np.std(short.value) > 0.1


def test_learn_noise_finds_the_law_by_which_the_scatter_falls_with_rain():
    dice = np.random.default_rng(9)
    spells, ratios = [], []
    for _ in range(60):
        around = dice.uniform(10, 60, 40)
        value = dice.normal(0, np.sqrt(0.004 + 0.08 / around))
        value[dice.random(40) < 0.1] = -5.0  # a tenth of faulty spells
        spells.append(make_spells(np.zeros((3, 40)), around=1.0))
        spells[-1].around_mm[:] = around
        ratios.append(RatioSeries(value, np.ones(40, bool), known=True, usual_log=0.1, **COURSE))

    noise = learn_noise(spells, ratios)

    assert np.sqrt(noise.floor + noise.per_mm / 12) == pytest.approx(0.103, rel=0.25)
    assert np.sqrt(noise.floor + noise.per_mm / 50) == pytest.approx(0.075, rel=0.25)
    assert noise.persistence < 1.1
    assert np.median(noise.factor) == pytest.approx(1.0, abs=0.2)
    assert noise.sd(0, np.array([1e9]))[0] == pytest.approx(
        np.sqrt(noise.factor[0] * noise.floor), rel=1e-6
    )


def test_learn_noise_sees_that_spells_in_a_row_resemble_each_other():
    dice = np.random.default_rng(10)
    spells, ratios = [], []
    for _ in range(40):
        value = np.zeros(60)
        for spell in range(1, 60):
            value[spell] = 0.5 * value[spell - 1] + dice.normal(0, 0.1)
        spells.append(make_spells(np.zeros((3, 60))))
        ratios.append(RatioSeries(value, np.ones(60, bool), known=True, usual_log=0.0, **COURSE))

    assert learn_noise(spells, ratios).persistence == pytest.approx(3.0, rel=0.2)


def test_learn_noise_sees_how_far_services_leave_the_levels_apart():
    dice = np.random.default_rng(11)
    spells, ratios = [], []
    for _ in range(60):
        span = np.repeat(np.arange(5), 12)
        value = np.repeat(dice.normal(0, 0.10, 5), 12) + dice.normal(0, 0.05, 60)
        spells.append(make_spells(np.zeros((3, 60)), span=span))
        ratios.append(RatioSeries(value, np.ones(60, bool), known=True, usual_log=0.0, **COURSE))

    assert learn_noise(spells, ratios).service_sd == pytest.approx(0.10, rel=0.25)


def test_learn_noise_without_any_quiet_spell_falls_back_to_the_usual():
    unknown = RatioSeries(np.full(3, -4.0), np.zeros(3, bool), known=False, usual_log=0.0, **COURSE)

    noise = learn_noise([make_spells(np.zeros((3, 3)))], [unknown])

    assert noise.sd(0, np.array([10.0, 80.0])) == pytest.approx([0.12, 0.12])
    assert (noise.persistence, noise.service_sd) == (1.0, 0.03)


def test_level_table_holds_student_s_density_with_a_share_of_strays():
    table = tabulate_levels(np.array([0.1]), np.array([0.2]), persistence=1.0)

    level = int(level_index(np.array(-0.3)))
    expected = 0.999 * student.pdf((0.1 + 0.3) / 0.182, df=4) / 0.182 + 0.001 / 8.0
    assert table.at[level, 0] == pytest.approx(log(expected), rel=1e-9)
    assert table.silent[0] == pytest.approx(log(0.03 / 8.0))


def test_level_table_calls_next_to_nothing_silent_and_bounds_what_one_spell_proves():
    table = tabulate_levels(np.array([-5.0]), np.array([0.05]), persistence=1.0)

    usual = table.at[int(level_index(np.array(0.0))), 0]
    assert usual == pytest.approx(log(0.001 / 8.0), abs=0.01)
    assert table.silent[0] - usual == pytest.approx(
        log(0.97 / 3.5 + 0.03 / 8) - log(1e-3 / 8), abs=0.01
    )


def test_level_table_weakens_spells_that_resemble_each_other_and_passes_over_gaps():
    plain = tabulate_levels(np.array([0.1, NAN]), np.array([0.2, 0.2]), persistence=1.0)
    tempered = tabulate_levels(np.array([0.1, NAN]), np.array([0.2, 0.2]), persistence=2.0)

    assert tempered.at == pytest.approx(plain.at / 2.0)
    assert plain.at[:, 1].tolist() == [0.0] * plain.at.shape[0]
    assert plain.sums[:, 2] == pytest.approx(plain.at.sum(axis=1))

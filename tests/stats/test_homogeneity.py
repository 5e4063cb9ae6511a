"""Tests for a change of level and for a trend, against values of others.

Sources of the expected values:
- Station M and station X: worked examples of double mass (S46 textbook exercise, question page;
  S47 solution handout, scribd 407952109); the statistics on their ratios are [CALC] with scipy
  1.17.1 and R's formulas.
- The 40 values of Page: the series itself is written from memory; published p 0.014 and change
  after 17 (S48 R package `trend` 1.1.6); K, SNHT, Buishand and von Neumann [CALC].
- The Nile at Aswan 1871-1970 (statsmodels `nile`): [CALC].
- Critical values: S49, R package `climtrends` 1.0.6 (Khaliq and Ouarda 2007; Buishand; von
  Neumann), by simulation within the scatter of 20,000 draws.
- Drift regression check set of six points: [CALC] scipy 1.17.1, pymannkendall 1.4.3.
"""

from __future__ import annotations

import warnings

import numpy as np
import pyhomogeneity
import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.datasets import nile as nile_data

from fleet.errors import TooFewPointsError
from fleet.stats.homogeneity import (
    buishand_q,
    buishand_r,
    how_far_out,
    permutation_p,
    pettitt,
    pettitt_formula_p,
    snht,
    von_neumann,
)
from fleet.stats.trend import mann_kendall, theil_sen
from tests.stats.worked_example import GROUP_M, GROUP_X, STATION_M, STATION_X

PAGE = [
    -1.05, 0.96, 1.22, 0.58, -0.98, -0.03, -1.54, -0.71, -0.35, 0.66,
    0.44, 0.91, -0.02, -1.42, 1.26, -1.02, -0.81, 1.66, 1.05, 0.97,
    2.14, 1.22, -0.24, 1.60, 0.72, -0.12, 0.44, 0.03, 0.66, 0.56,
    1.37, 1.66, 0.10, 0.80, 1.29, 0.49, -0.07, 1.18, 3.29, 1.84,
]  # fmt: skip
DRIFT_DAYS = [0, 91, 182, 274, 365, 456]
DRIFT_PERCENT = [0.2, -0.6, -1.1, -1.9, -2.4, -3.3]

RATIO_M = np.divide(STATION_M, GROUP_M)
RATIO_X = np.divide(STATION_X, GROUP_X)


@pytest.fixture(scope="module")
def nile():
    return nile_data.load_pandas().data["volume"].to_numpy()


def test_pettitt_matches_the_published_series_of_page():
    found = pettitt(PAGE)

    assert (found.statistic, found.before) == (232.0, 17)
    assert pettitt_formula_p(found.statistic, 40) == pytest.approx(0.014, abs=0.0006)


def test_all_tests_match_the_calculated_values_on_the_series_of_page():
    assert snht(PAGE).statistic == pytest.approx(11.0188, abs=5e-5)
    assert buishand_q(PAGE).statistic == pytest.approx(1.66186, abs=5e-6)
    assert von_neumann(PAGE) == pytest.approx(1.37237, abs=5e-6)


def test_all_tests_match_the_calculated_values_on_the_nile(nile):
    assert (pettitt(nile).statistic, pettitt(nile).before) == (1617.0, 28)
    assert pettitt_formula_p(1617.0, 100) == pytest.approx(3.591e-7, rel=1e-3)
    assert snht(nile).statistic == pytest.approx(43.2189, abs=5e-5)
    assert buishand_q(nile).statistic == pytest.approx(2.96664, abs=5e-6)
    assert von_neumann(nile) == pytest.approx(0.97764, abs=5e-6)


def test_all_tests_match_the_calculated_values_on_the_ratio_of_station_m():
    assert (pettitt(RATIO_M).statistic, pettitt(RATIO_M).before) == (113.0, 9)
    assert pettitt_formula_p(113.0, 22) == pytest.approx(0.002052, abs=5e-7)
    assert snht(RATIO_M).statistic == pytest.approx(14.6697, abs=5e-5)
    assert snht(RATIO_M, ddof=0).statistic == pytest.approx(15.3683, abs=5e-5)
    assert snht(RATIO_M).before == 9
    assert buishand_q(RATIO_M).statistic == pytest.approx(1.92745, abs=5e-6)
    assert buishand_r(RATIO_M) == pytest.approx(1.92745, abs=5e-6)
    assert von_neumann(RATIO_M) == pytest.approx(1.05017, abs=5e-6)


def test_all_tests_match_the_calculated_values_on_the_ratio_of_station_x():
    assert (pettitt(RATIO_X).statistic, pettitt(RATIO_X).before) == (180.0, 13)
    assert pettitt_formula_p(180.0, 30) == pytest.approx(0.001884, abs=5e-7)
    assert (snht(RATIO_X).statistic, snht(RATIO_X).before) == (
        pytest.approx(13.1299, abs=5e-5),
        13,
    )
    assert buishand_q(RATIO_X).statistic == pytest.approx(1.82628, abs=5e-6)
    assert von_neumann(RATIO_X) == pytest.approx(0.93024, abs=5e-6)


@pytest.mark.parametrize("series", [PAGE, RATIO_M.tolist(), RATIO_X.tolist()])
def test_statistics_and_places_match_pyhomogeneity(series):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = {
            "pettitt": pyhomogeneity.pettitt_test(series, sim=10),
            "snht": pyhomogeneity.snht_test(series, sim=10),
            "q": pyhomogeneity.buishand_q_test(series, sim=10),
            "r": pyhomogeneity.buishand_range_test(series, sim=10),
        }

    for name, ours in (("pettitt", pettitt), ("snht", snht), ("q", buishand_q)):
        found = ours(series)
        assert found.before == theirs[name].cp
        assert found.statistic == pytest.approx(theirs[name][3], rel=1e-9)
    assert buishand_r(series) == pytest.approx(theirs["r"][3], rel=1e-9)


@pytest.mark.parametrize(
    ("test", "critical"),
    [
        ("snht", (6.070, 7.089, 9.113)),
        ("buishand_q", (1.10, 1.22, 1.42)),
        ("buishand_r", (1.34, 1.43, 1.60)),
    ],
)
def test_simulated_quantiles_match_the_published_critical_values_for_20(test, critical):
    draws = np.random.default_rng(7).normal(size=(20_000, 20))

    found = np.quantile(how_far_out(draws, test), [0.90, 0.95, 0.99])

    assert found == pytest.approx(critical, rel=0.025)


def test_simulated_quantiles_match_the_published_critical_values_of_von_neumann_for_20():
    draws = np.random.default_rng(7).normal(size=(20_000, 20))

    found = np.quantile(-how_far_out(draws, "von_neumann"), [0.01, 0.05])

    assert found == pytest.approx((1.04, 1.30), abs=0.015)


def test_permutation_p_of_the_series_of_page_lies_by_the_published_one():
    assert permutation_p(PAGE, "pettitt", draws=4999) == pytest.approx(0.014, abs=0.006)


def test_permutation_p_is_uniform_where_nothing_changed():
    dice = np.random.default_rng(3)

    p = [permutation_p(dice.normal(size=15), "snht", draws=99, seed=i) for i in range(300)]

    assert np.mean(np.array(p) <= 0.10) == pytest.approx(0.10, abs=0.04)
    assert np.mean(np.array(p) <= 0.50) == pytest.approx(0.50, abs=0.08)


def test_permutation_p_is_the_same_for_the_same_seed_and_never_0():
    rising = np.arange(30.0)

    assert permutation_p(rising, "pettitt", draws=99, seed=5) == 0.01
    assert permutation_p(PAGE, "snht", seed=1) == permutation_p(PAGE, "snht", seed=1)


@pytest.mark.parametrize("test", ["pettitt", "snht", "buishand_q", "buishand_r", "von_neumann"])
@given(
    shift=st.floats(-100, 100),
    scale=st.floats(0.1, 50),
)
def test_statistics_do_not_change_with_shift_and_scale(test, shift, scale):
    series = RATIO_M

    assert how_far_out(series * scale + shift, test) == pytest.approx(
        float(how_far_out(series, test)), rel=1e-6
    )


def test_tests_refuse_what_they_cannot_judge():
    with pytest.raises(TooFewPointsError, match="at least 4 values; 3 given"):
        pettitt([1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="all the same"):
        snht([2.0] * 9)
    with pytest.raises(ValueError, match="finite"):
        buishand_q([1.0, float("nan"), 2.0, 3.0, 4.0])
    with pytest.raises(ValueError, match="'runs' is none of pettitt, snht"):
        permutation_p(PAGE, "runs")


def test_theil_sen_matches_the_drift_check_set():
    line = theil_sen(DRIFT_DAYS, DRIFT_PERCENT)

    assert line.slope == pytest.approx(-0.00739726, abs=5e-9)
    assert line.intercept == pytest.approx(0.186575, abs=5e-7)
    assert (-5 - line.intercept) / line.slope == pytest.approx(701.15, abs=0.005)
    assert (line.low, line.high) == pytest.approx((-0.008791, -0.005495), abs=5e-7)


def test_mann_kendall_matches_the_drift_check_set():
    found = mann_kendall(DRIFT_PERCENT)

    assert found.s == -15
    assert found.z == pytest.approx(-2.6301, abs=5e-5)
    assert found.p == pytest.approx(0.00853, abs=5e-6)


def test_mann_kendall_matches_pymannkendall_with_ties():
    series = [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9]

    theirs, ours = pymannkendall.original_test(series), mann_kendall(series)

    assert (ours.s, ours.z, ours.p) == pytest.approx((theirs.s, theirs.z, theirs.p), rel=1e-12)


def test_trend_refuses_what_it_cannot_judge():
    with pytest.raises(TooFewPointsError, match="at least 3 points; 2 given"):
        theil_sen([0, 1], [1, 2])
    with pytest.raises(ValueError, match="times are all the same"):
        theil_sen([1, 1, 1], [1, 2, 3])
    with pytest.raises(ValueError, match="equally long"):
        theil_sen([0, 1, 2], [1, 2])
    assert mann_kendall([2.0, 2.0, 2.0]).z == 0.0

"""The forecasts without a model: base rate (Laplace's rule of succession) and a logistic line.

Oracle of the line where data outweigh its priors: statsmodels Logit, fitted here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit
from statsmodels.api import Logit

from fleet.stats.score_reference import AgeLine, base_rate, fit_age_line, reference_forecasts


def drawn(n: int, *, intercept: float, slope: float, seed: int):
    rng = np.random.default_rng(seed)
    ratio = rng.uniform(0.1, 2.5, n)
    return ratio, rng.random(n) < expit(intercept + slope * ratio)


def test_base_rate_follows_the_rule_of_succession():
    assert base_rate(np.zeros(0, dtype=bool)) == 0.5
    assert base_rate(np.arange(98) < 9) == pytest.approx(0.10)  # 10 of 100


def test_age_line_matches_statsmodels_logit_where_data_outweigh_the_priors():
    ratio, outcome = drawn(20_000, intercept=-2.5, slope=1.2, seed=1)

    line = fit_age_line(ratio, outcome)

    oracle = Logit(outcome.astype(float), np.c_[np.ones(ratio.size), ratio]).fit(disp=0)
    assert (line.intercept, line.slope) == pytest.approx(tuple(oracle.params), abs=5e-3)


def test_age_line_maximises_its_own_posterior():
    ratio, outcome = drawn(40, intercept=-2.0, slope=1.0, seed=3)
    share = (outcome.sum() + 1) / 42

    def log_posterior(a: float, b: float) -> float:
        p = expit(a + b * ratio)
        told = np.log(np.where(outcome, p, 1 - p)).sum()
        return told - (a - np.log(share / (1 - share))) ** 2 / 2 - b**2 / 2

    line = fit_age_line(ratio, outcome)

    best = log_posterior(line.intercept, line.slope)
    for a, b in ((0.01, 0), (-0.01, 0), (0, 0.01), (0, -0.01)):
        assert log_posterior(line.intercept + a, line.slope + b) < best


def test_age_line_without_data_is_the_base_rate():
    line = fit_age_line(np.zeros(0), np.zeros(0, dtype=bool))

    assert line.unfit(np.array([0.0, 1.0, 9.0])).tolist() == pytest.approx([0.5, 0.5, 0.5])


def test_age_line_stays_finite_where_nothing_was_ever_unfit():
    line = fit_age_line(np.linspace(0.1, 2, 200), np.zeros(200, dtype=bool))

    assert 0.0 < line.unfit(np.array([1.0]))[0] < 0.01


def test_age_beyond_three_intervals_counts_as_three():
    line = AgeLine(-2.0, 0.5)

    assert line.unfit(np.array([3.0, 30.0])).tolist() == pytest.approx([0.377541, 0.377541])


def test_reference_forecasts_learn_from_earlier_months_alone():
    month = np.array([1, 1, 2, 2, 2, 4])
    ratio = np.array([0.5, 1.5, 0.5, 1.0, 2.0, 1.0])
    outcome = np.array([False, True, False, True, True, False])

    base, by_age = reference_forecasts(month, ratio, outcome)

    # nothing known; then 1 of 2; then 3 of 5, each by (k + 1) / (n + 2)
    assert base.tolist() == pytest.approx([0.5, 0.5, 0.5, 0.5, 0.5, 4 / 7])
    assert by_age[:2].tolist() == pytest.approx([0.5, 0.5])
    before = fit_age_line(ratio[:2], outcome[:2]).unfit(ratio[2:5])
    assert by_age[2:5].tolist() == pytest.approx(before.tolist())
    changed = outcome.copy()
    changed[2:] = ~changed[2:]
    again = reference_forecasts(month, ratio, changed)
    assert again[1][:5].tolist() == by_age[:5].tolist()
    assert again[1][5] != by_age[5]

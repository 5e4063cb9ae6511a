"""Scores of forecasts, by hand and by plain loops (first principles).

Brier's score is the mean squared error of probabilities (Brier 1950, from memory).
"""

from __future__ import annotations

from itertools import product
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.errors import TooFewPointsError
from fleet.stats.score import brier_losses, compare_losses, log_losses, reliability_bins

FORECAST = np.array([0.9, 0.2, 0.5, 0.0])
OUTCOME = np.array([True, False, True, False])


def test_brier_losses_are_squared_errors():
    assert brier_losses(FORECAST, OUTCOME).tolist() == pytest.approx([0.01, 0.04, 0.25, 0.0])


def test_log_losses_are_the_surprise_with_a_floor_of_one_in_a_thousand():
    wrong = np.array([0.0, 1.0])

    expected = [-log(0.9), -log(0.8), -log(0.5), -log(0.999)]
    assert log_losses(FORECAST, OUTCOME).tolist() == pytest.approx(expected)
    assert log_losses(wrong, np.array([True, False])).tolist() == pytest.approx([6.907755] * 2)


@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_no_forecast_scores_better_on_average_than_the_truth(truth, told):
    for losses in (brier_losses, log_losses):
        hit = losses(np.array([told, truth]), np.array([True, True]))
        miss = losses(np.array([told, truth]), np.array([False, False]))
        mean = truth * hit + (1 - truth) * miss

        assert mean[1] <= mean[0] + 1e-12


def test_permutation_p_agrees_with_every_set_of_signs():
    rng = np.random.default_rng(4)
    reference, ours = rng.random(24), 0.8 * rng.random(24)
    clusters = [f"S{number % 8}" for number in range(24)]
    sums = [sum((reference - ours)[number::8]) for number in range(8)]
    signs = product((-1, 1), repeat=8)
    totals = [sum(s * d for s, d in zip(one, sums, strict=True)) for one in signs]
    exact = sum(abs(total) >= abs(sum(sums)) - 1e-12 for total in totals) / len(totals)

    found = compare_losses(ours, reference, clusters, seed=1)

    assert found.difference == pytest.approx(sum(sums) / 24)
    assert found.p == pytest.approx(exact, abs=0.015)  # three standard errors of 9,999 draws
    assert 0.02 < exact < 0.5


def test_better_forecasts_of_many_sites_are_more_than_chance_and_worse_ones_too():
    reference, ours = np.full(200, 0.25), np.full(200, 0.20)
    sites = [f"S{number}" for number in range(200)]

    better = compare_losses(ours, reference, sites, seed=1)
    worse = compare_losses(reference, ours, sites, seed=1)

    assert (better.difference, worse.difference) == (pytest.approx(0.05), pytest.approx(-0.05))
    assert better.p == worse.p == 1 / 10_000


def test_checks_of_one_site_are_one_piece_of_evidence():
    reference, ours = np.full(200, 0.25), np.full(200, 0.20)

    assert compare_losses(ours, reference, ["S1"] * 200, seed=1).p == 1.0


def test_no_difference_is_within_chance():
    same = np.full(50, 0.2)

    found = compare_losses(same, same, [f"S{number}" for number in range(50)], seed=1)

    assert (found.difference, found.p) == (0.0, 1.0)


def test_same_seed_gives_the_same_p():
    rng = np.random.default_rng(2)
    ours, reference = rng.random(60), rng.random(60)
    sites = [f"S{number % 20}" for number in range(60)]

    runs = [compare_losses(ours, reference, sites, seed=seed).p for seed in (7, 7, 8)]

    assert runs[0] == runs[1] != runs[2]


def test_comparison_of_nothing_is_refused():
    with pytest.raises(TooFewPointsError):
        compare_losses(np.zeros(0), np.zeros(0), [], seed=1)


def test_bins_hold_their_forecasts_with_clopper_pearson_intervals():
    forecast = np.concatenate([np.full(20, 0.12), np.full(10, 0.18), [1.0], [0.05]])
    outcome = np.concatenate([np.arange(20) < 2, np.arange(10) < 1, [True], [False]])

    bins = reliability_bins(forecast, outcome)

    assert [(b.low, b.high, b.seen.hits, b.seen.trials) for b in bins] == [
        (0.05, 0.1, 0, 1),
        (0.1, 0.2, 3, 30),
        (0.9, 1.0, 1, 1),
    ]
    assert bins[1].mean_forecast == pytest.approx(0.14)  # (20 x 0.12 + 10 x 0.18) / 30
    # 3 of 30: 0.0211 to 0.2653 (Clopper-Pearson, worked with scipy.stats.binomtest)
    assert (bins[1].seen.low, bins[1].seen.high) == pytest.approx((0.0211, 0.2653), abs=5e-5)


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), max_size=60))
def test_every_forecast_is_in_exactly_one_bin(pairs):
    forecast = np.array([p for p, _ in pairs])
    outcome = np.array([hit for _, hit in pairs], dtype=bool)

    bins = reliability_bins(forecast, outcome)

    assert sum(b.seen.trials for b in bins) == len(pairs)
    assert sum(b.seen.hits for b in bins) == sum(hit for _, hit in pairs)
    assert all(b.low <= b.mean_forecast <= b.high for b in bins)

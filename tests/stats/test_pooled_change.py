"""The pooled growth model against likelihoods that share no code with it.

Oracles: one dense multivariate normal over all changes (scipy), its conditional law for the rates
(plain linear algebra), and statsmodels MixedLM (restricted maximum likelihood).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import multivariate_normal

from fleet.stats.pooled_change import (
    Changes,
    GrowthFit,
    GrowthPrior,
    fit_change,
    log_marginal,
    posterior_growth,
)

PRIOR = GrowthPrior(mean_sd=2.0, between_sd=2.0, walk_sd=1.5)
FLAT = GrowthPrior(mean_sd=1e4, between_sd=100.0, walk_sd=100.0)


def simulate(counts, *, seed, mean=-1.0, between_sd=1.5, walk_sd=0.8, spread=0.5):
    rng = np.random.default_rng(seed)
    unit = np.repeat(np.arange(len(counts)), counts)
    years = rng.uniform(0.2, 1.5, unit.size)
    variance = rng.uniform(0.1, spread, unit.size)
    rate = rng.normal(mean, between_sd, len(counts))
    noise = rng.normal(0, np.sqrt(walk_sd**2 * years + variance))
    return Changes(years, rate[unit] * years + noise, variance, unit, len(counts)), rate


def dense_covariance(changes, between_sd, walk_sd, mean_sd):
    """Covariance of all changes, entry by entry."""
    n = changes.years.size
    cov = np.empty((n, n))
    for j in range(n):
        for k in range(n):
            shared = mean_sd**2 + (between_sd**2 if changes.unit[j] == changes.unit[k] else 0.0)
            cov[j, k] = shared * changes.years[j] * changes.years[k]
        cov[j, j] += walk_sd**2 * changes.years[j] + changes.variance[j]
    return cov


def dense_log_posterior(changes, between_sd, walk_sd, prior):
    cov = dense_covariance(changes, between_sd, walk_sd, prior.mean_sd)
    fit = multivariate_normal(np.zeros(len(cov)), cov).logpdf(changes.amount)
    return (
        fit
        + np.log(between_sd / prior.between_sd)
        - between_sd / prior.between_sd
        + np.log(walk_sd / prior.walk_sd)
        - walk_sd / prior.walk_sd
    )


RAGGED = [1, 0, 4, 7, 2, 3, 1, 6]


def test_log_marginal_differs_from_the_dense_likelihood_by_a_constant():
    changes, _ = simulate(RAGGED, seed=1)

    gaps = [
        log_marginal(changes, changes.variance, prior=PRIOR, between_sd=b, walk_sd=w)
        - dense_log_posterior(changes, b, w, PRIOR)
        for b, w in [(0.1, 0.1), (0.1, 3.0), (1.0, 1.0), (3.0, 0.2), (5.0, 5.0)]
    ]

    assert gaps == pytest.approx([gaps[0]] * 5, abs=1e-8)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fit_change_finds_the_maximum_of_the_dense_likelihood(seed):
    changes, _ = simulate(RAGGED, seed=seed)

    fit = fit_change(changes, PRIOR)
    best = minimize(
        lambda x: -dense_log_posterior(changes, np.exp(x[0]), np.exp(x[1]), PRIOR),
        [0.0, 0.0],
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-10},
    )

    assert (fit.between_sd, fit.walk_sd) == pytest.approx(tuple(np.exp(best.x)), rel=2e-3)
    assert (fit.changes, fit.units) == (24, 7)


def test_posterior_growth_is_the_conditional_law_of_the_dense_normal():
    changes, _ = simulate(RAGGED, seed=4)
    fit = fit_change(changes, PRIOR)

    found = posterior_growth(changes, fit)

    cov = dense_covariance(changes, fit.between_sd, fit.walk_sd, PRIOR.mean_sd)
    rates = np.full((8, 8), PRIOR.mean_sd**2) + np.eye(8) * fit.between_sd**2
    cross = rates[:, changes.unit] * changes.years
    solved = np.linalg.solve(cov, np.column_stack([changes.amount[:, np.newaxis], cross.T]))
    assert found.mean == pytest.approx(cross @ solved[:, 0], abs=1e-8)
    assert found.variance == pytest.approx(np.diag(rates - cross @ solved[:, 1:]), abs=1e-8)
    assert found.weight == pytest.approx(np.ones(24))


def test_fit_change_agrees_with_statsmodels_mixed_model():
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(5)
    unit = np.repeat(np.arange(150), 5)
    rate = rng.normal(-1.2, 1.0, 150)
    amount = rate[unit] + rng.normal(0, 1.1, unit.size)
    ones, variance = np.ones(unit.size), np.full(unit.size, 0.3)

    fit = fit_change(Changes(ones, amount, variance, unit, 150), FLAT)
    oracle = MixedLM(amount, ones[:, np.newaxis], groups=unit).fit(reml=True)

    assert fit.mean == pytest.approx(oracle.fe_params[0], rel=1e-3)
    assert fit.mean_sd == pytest.approx(oracle.bse_fe[0], rel=0.02)
    assert fit.between_sd**2 == pytest.approx(oracle.cov_re[0, 0], rel=0.03)
    assert fit.walk_sd**2 + 0.3 == pytest.approx(oracle.scale, rel=0.01)


def test_fit_change_recovers_what_was_simulated():
    changes, rate = simulate([6] * 400, seed=6)

    fit = fit_change(changes, PRIOR)
    found = posterior_growth(changes, fit)

    assert fit.mean == pytest.approx(-1.0, abs=0.2)
    assert fit.between_sd == pytest.approx(1.5, abs=0.15)
    assert fit.walk_sd == pytest.approx(0.8, abs=0.1)
    z = (rate - found.mean) / np.sqrt(found.variance)
    assert z.mean() == pytest.approx(0.0, abs=0.15)
    assert z.std() == pytest.approx(1.0, abs=0.1)


def test_fit_change_without_changes_is_the_prior():
    fit = fit_change(Changes(*np.zeros((3, 0)), np.zeros(0, dtype=np.int64), 2), PRIOR)

    assert fit == GrowthFit(0.0, pytest.approx(2.0), pytest.approx(2.0), pytest.approx(1.5), 0, 0)


def test_posterior_growth_of_a_unit_without_changes_is_its_kinds():
    changes, _ = simulate([0, 3], seed=7)
    fit = GrowthFit(mean=-1.0, mean_sd=0.5, between_sd=2.0, walk_sd=1.0)

    found = posterior_growth(changes, fit)

    assert (found.mean[0], found.variance[0]) == pytest.approx((-1.0, 2.0**2 + 0.5**2))
    assert found.variance[1] < found.variance[0]


def test_fit_change_from_one_change_stays_near_the_prior():
    one = Changes(np.ones(1), np.array([-2.0]), np.array([0.3]), np.zeros(1, dtype=np.int64), 1)

    fit = fit_change(one, PRIOR)

    assert -2.0 < fit.mean < 0.0
    assert 1.0 < fit.between_sd < 3.0
    assert 0.7 < fit.walk_sd < 2.5
    assert 1.0 < fit.mean_sd < 2.0


def test_fit_change_hardly_moves_for_mis_poured_tests():
    clean, _ = simulate([6] * 60, seed=8)
    rng = np.random.default_rng(9)
    spoilt = clean.amount.copy()
    bad = rng.choice(spoilt.size, 8, replace=False)
    spoilt[bad] += rng.choice([-25.0, 25.0], 8)
    dirty = Changes(clean.years, spoilt, clean.variance, clean.unit, clean.units)

    fit, reference = fit_change(dirty, PRIOR), fit_change(clean, PRIOR)
    found = posterior_growth(dirty, fit)

    assert fit.mean == pytest.approx(reference.mean, abs=0.1)
    assert fit.between_sd == pytest.approx(reference.between_sd, rel=0.08)
    assert fit.walk_sd == pytest.approx(reference.walk_sd, rel=0.12)
    assert set(np.flatnonzero(found.weight < 0.3)) == set(bad)
    assert found.mean == pytest.approx(posterior_growth(clean, reference).mean, abs=1.0)


def test_outlier_loses_pull_as_it_grows():
    fit = GrowthFit(mean=0.0, mean_sd=0.1, between_sd=1.0, walk_sd=0.5)

    def rate(miss):
        amount = np.array([-1.0, -1.0, -1.0, -1.0 + miss])
        changes = Changes(np.ones(4), amount, np.full(4, 0.2), np.zeros(4, dtype=np.int64), 1)
        return posterior_growth(changes, fit).mean[0]

    assert rate(3.0) > rate(0.0) + 0.4
    assert rate(10.0) < rate(3.0)
    assert rate(100.0) == pytest.approx(posterior_of_three(fit), abs=0.05)


def posterior_of_three(fit):
    changes = Changes(np.ones(3), -np.ones(3), np.full(3, 0.2), np.zeros(3, dtype=np.int64), 1)
    return posterior_growth(changes, fit).mean[0]


def test_fast_gauge_that_agrees_with_itself_is_no_outlier():
    fit = GrowthFit(mean=-1.0, mean_sd=0.1, between_sd=1.0, walk_sd=0.5)
    changes = Changes(np.ones(5), np.full(5, -6.0), np.full(5, 0.2), np.zeros(5, dtype=np.int64), 1)

    found = posterior_growth(changes, fit)

    assert found.mean[0] == pytest.approx(-5.6, abs=0.3)
    assert found.weight == pytest.approx(np.ones(5), abs=0.1)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.sampled_from([0.1, 3.0, 40.0]))
def test_fit_change_scales_with_its_unit(seed, shift):
    changes, _ = simulate([3, 1, 4, 2, 5], seed=seed)
    scaled = Changes(
        changes.years, shift * changes.amount, shift**2 * changes.variance, changes.unit, 5
    )
    prior = GrowthPrior(shift * PRIOR.mean_sd, shift * PRIOR.between_sd, shift * PRIOR.walk_sd)

    here, there = fit_change(changes, PRIOR), fit_change(scaled, prior)

    assert there.mean == pytest.approx(shift * here.mean, rel=1e-3, abs=1e-3 * shift)
    assert there.between_sd == pytest.approx(shift * here.between_sd, rel=1e-3)
    assert there.walk_sd == pytest.approx(shift * here.walk_sd, rel=1e-3)


def spoil(changes, *, share, miss):
    """Add a gross error to a share of the changes; give them and which they are."""
    rng = np.random.default_rng(9)
    bad = rng.choice(changes.amount.size, round(share * changes.amount.size), replace=False)
    amount = changes.amount.copy()
    amount[bad] += rng.choice([-miss, miss], bad.size)
    spoilt = Changes(changes.years, amount, changes.variance, changes.unit, changes.units)
    return spoilt, set(bad.tolist())


def test_fit_change_is_not_fooled_by_outliers_that_hide_each_other():
    """One in five is off by 25: their own spread would put each within 3.5 deviations."""
    clean, _ = simulate([8] * 50, seed=14)
    dirty, bad = spoil(clean, share=0.2, miss=25.0)

    fit = fit_change(dirty, PRIOR)

    assert fit.walk_sd == pytest.approx(fit_change(clean, PRIOR).walk_sd, rel=0.3)
    doubted = set(np.flatnonzero(posterior_growth(dirty, fit).weight < 0.3).tolist())
    assert bad <= doubted
    assert len(doubted - bad) <= 4


@pytest.mark.parametrize("share", [0.02, 0.2])
def test_fit_change_settles_where_fit_and_weights_agree(share):
    dirty, _ = spoil(simulate([8] * 50, seed=14)[0], share=share, miss=25.0)

    fit = fit_change(dirty, PRIOR)
    base = fit.walk_sd**2 * dirty.years + dirty.variance
    raised = base / posterior_growth(dirty, fit).weight - fit.walk_sd**2 * dirty.years

    def gain(between_sd, walk_sd):
        return log_marginal(dirty, raised, prior=PRIOR, between_sd=between_sd, walk_sd=walk_sd)

    best = gain(fit.between_sd, fit.walk_sd)
    for factor in (0.998, 1.002):
        assert gain(fit.between_sd * factor, fit.walk_sd) < best
        assert gain(fit.between_sd, fit.walk_sd * factor) < best


def test_outlier_is_judged_by_the_units_other_changes_only():
    """A lone change is held against its kind: expected variance 0.25 + 0.2 + 1 = 1.45, 10 off.

    Raised by 1.45 (100 / (3.5^2 1.45) - 1) = 6.71327, its weight is 0.45 / (0.45 + 6.71327).
    """
    fit = GrowthFit(mean=0.0, mean_sd=0.1, between_sd=1.0, walk_sd=0.5)
    lone = Changes(np.ones(1), np.array([10.0]), np.array([0.2]), np.zeros(1, dtype=np.int64), 1)

    assert posterior_growth(lone, fit).weight[0] == pytest.approx(0.062821, abs=1e-6)

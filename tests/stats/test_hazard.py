"""The Gamma-Poisson hazard against scipy's negative binomial and plain integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.stats import gamma, nbinom, norm

from fleet.stats.hazard import (
    HazardFit,
    HazardPosterior,
    HazardPrior,
    event_probability,
    fit_hazard,
    posterior_hazard,
)

PRIOR = HazardPrior(per_year=0.2)


def simulate(n, *, seed, shape=1.5, per_year=0.3):
    rng = np.random.default_rng(seed)
    years = rng.uniform(0.5, 12.0, n)
    rate = rng.gamma(shape, per_year / shape, n)
    return rng.poisson(rate * years), years


@pytest.mark.parametrize(("n", "seed"), [(5, 1), (40, 2), (300, 3)])
def test_fit_hazard_finds_the_maximum_by_scipys_negative_binomial(n, seed):
    events, years = simulate(n, seed=seed)

    def loss(x):
        shape, per_year = np.exp(x[0]), np.exp(x[1])
        scale = shape / per_year
        counts = nbinom.logpmf(events, shape, scale / (scale + years)).sum()
        return -(counts + norm.logpdf(x[0]) + norm.logpdf(x[1] - np.log(0.2)))

    best = np.exp(
        minimize(loss, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10}).x
    )
    fit = fit_hazard(events, years, prior=PRIOR)

    assert fit.shape == pytest.approx(best[0], rel=1e-3)
    assert fit.per_year == pytest.approx(best[1], rel=1e-3)
    assert (fit.events, fit.exposure_years) == (events.sum(), pytest.approx(years.sum()))


def test_fit_hazard_recovers_what_was_simulated():
    events, years = simulate(2000, seed=4)

    fit = fit_hazard(events, years, prior=PRIOR)

    assert fit.per_year == pytest.approx(0.3, rel=0.08)
    assert fit.shape == pytest.approx(1.5, rel=0.2)


def test_fit_hazard_without_exposure_is_the_prior():
    fit = fit_hazard(np.array([3, 0]), np.zeros(2), prior=HazardPrior(per_year=0.1, shape=2.0))

    assert fit == HazardFit(shape=2.0, scale_years=pytest.approx(20.0))


def test_fit_hazard_without_events_is_low_but_not_zero():
    fit = fit_hazard(np.zeros(30, dtype=np.int64), np.full(30, 4.0), prior=PRIOR)

    assert 0.001 < fit.per_year < 0.05


def test_posterior_hazard_adds_events_and_years():
    law = {"shape": np.array([1.0, 2.0]), "scale_years": np.array([5.0, 40.0])}

    found = posterior_hazard(np.array([2, 0]), np.array([3.0, 10.0]), **law)

    assert found.shape.tolist() == [3.0, 2.0]
    assert found.scale_years.tolist() == [8.0, 50.0]


def test_posterior_hazard_is_the_law_by_bayes_rule():
    """Prior Gamma(1.5, rate 4), 2 events in 3 years: mean by numerical integration."""

    def weight(rate):
        return gamma.pdf(rate, 1.5, scale=1 / 4) * (rate * 3) ** 2 * np.exp(-rate * 3)

    mean = quad(lambda r: r * weight(r), 0, 20)[0] / quad(weight, 0, 20)[0]
    law = {"shape": np.array([1.5]), "scale_years": np.array([4.0])}
    found = posterior_hazard(np.array([2]), np.array([3.0]), **law)

    assert found.shape[0] / found.scale_years[0] == pytest.approx(mean, rel=1e-6)


def test_event_probability_is_the_mean_over_the_gamma_law():
    posterior = HazardPosterior(np.array([0.7, 3.0]), np.array([2.0, 11.0]))
    years = np.array([0.0, 0.25, 2.0])

    found = event_probability(posterior, years[np.newaxis, :])

    for i, (a, b) in enumerate([(0.7, 2.0), (3.0, 11.0)]):
        for j, u in enumerate(years):
            none = quad(
                lambda r, u=u, a=a, b=b: np.exp(-r * u) * gamma.pdf(r, a, scale=1 / b), 0, 60
            )
            assert found[i, j] == pytest.approx(1 - none[0], abs=1e-6)


def test_event_probability_takes_one_time_for_each_unit():
    posterior = HazardPosterior(np.array([1.0, 1.0]), np.array([1.0, 3.0]))

    assert event_probability(posterior, np.array([1.0, 1.0])) == pytest.approx([0.5, 0.25])


@given(
    shape=st.floats(0.01, 50),
    scale=st.floats(0.1, 500),
    years=st.lists(st.floats(0, 50), min_size=2, max_size=5).map(sorted),
)
def test_event_probability_never_falls_with_time(shape, scale, years):
    posterior = HazardPosterior(np.array([shape]), np.array([scale]))

    found = event_probability(posterior, np.array([years]))[0]

    assert np.all(np.diff(found) >= 0)
    assert np.all((found >= 0) & (found <= 1))

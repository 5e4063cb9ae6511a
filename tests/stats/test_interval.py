"""Clopper-Pearson intervals; literals worked with another program from beta quantiles (95 %)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from fleet.errors import TooFewPointsError
from fleet.stats.interval import share_at_least, share_interval


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [(18, 20, 0.683, 0.988), (9, 10, 0.555, 0.997), (95, 100, 0.887, 0.984)],
)
def test_share_interval_agrees_with_worked_values(hits, trials, low, high):
    found = share_interval(hits, trials)

    assert (found.low, found.high) == (pytest.approx(low, abs=5e-4), pytest.approx(high, abs=5e-4))
    assert (found.hits, found.trials, found.share) == (hits, trials, hits / trials)


def test_share_interval_is_closed_at_the_ends():
    assert share_interval(0, 10).low == 0.0
    assert share_interval(10, 10).high == 1.0
    # first principles: 1 - 0.025 ** (1 / 10)
    assert share_interval(0, 10).high == pytest.approx(0.308497, abs=1e-6)
    assert share_interval(10, 10).low == pytest.approx(0.691503, abs=1e-6)


@pytest.mark.parametrize(("trials", "bound"), [(20, 0.861), (59, 0.950)])
def test_share_at_least_agrees_with_worked_values(trials, bound):
    assert share_at_least(trials, trials) == pytest.approx(bound, abs=5e-4)


def test_share_at_least_needs_59_passes_for_95_percent():
    assert share_at_least(58, 58) < 0.95 <= share_at_least(59, 59)
    assert share_at_least(0, 12) == 0.0


@given(trials=st.integers(1, 300), share=st.floats(0, 1), confidence=st.floats(0.5, 0.99))
def test_share_interval_inverts_the_binomial_tails(trials, share, confidence):
    hits = round(share * trials)
    found = share_interval(hits, trials, confidence=confidence)
    tail = (1 - confidence) / 2

    assert found.low <= found.share <= found.high
    if hits > 0:
        assert binom.sf(hits - 1, trials, found.low) == pytest.approx(tail, rel=1e-6)
        bound = share_at_least(hits, trials, confidence=confidence)
        assert binom.sf(hits - 1, trials, bound) == pytest.approx(2 * tail, rel=1e-6)
    if hits < trials:
        assert binom.cdf(hits, trials, found.high) == pytest.approx(tail, rel=1e-6)


def test_share_needs_a_trial():
    with pytest.raises(TooFewPointsError):
        share_interval(0, 0)
    with pytest.raises(TooFewPointsError):
        share_at_least(0, 0)


@pytest.mark.parametrize(("hits", "trials"), [(-1, 5), (6, 5)])
def test_share_refuses_counts_that_cannot_be(hits, trials):
    with pytest.raises(ValueError, match="cannot be"):
        share_interval(hits, trials)
    with pytest.raises(ValueError, match="cannot be"):
        share_at_least(hits, trials)

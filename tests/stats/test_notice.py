"""How fast people notice what struck: simulated calls, and the integral behind the formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from fleet.stats.notice import fit_notice, unnoticed
from fleet.stats.watch_count import Watches


def called_watches(faults: int, rate: float, *, seed: int, planned_days: float = 200.0) -> Watches:
    """Draw faults at any time of planned watches; noticed ones end early by a call."""
    rng = np.random.default_rng(seed)
    at = rng.uniform(0, planned_days, faults)
    told = at + rng.exponential(365.25 / rate, faults)
    called = told < planned_days
    start = np.full(faults, 738_000.0)
    seen = start + np.where(called, told, planned_days)
    yes, no = np.ones(faults, dtype=bool), np.zeros(faults, dtype=bool)
    return Watches(start, start, seen, yes, no, called, np.arange(faults), faults)


@pytest.mark.parametrize("rate", [0.8, 2.5, 8.0])
def test_rate_of_noticing_is_recovered(rate):
    assert fit_notice(called_watches(2000, rate, seed=1)) == pytest.approx(rate, rel=0.1)


def test_few_calls_say_nothing():
    seen = called_watches(200, 2.5, seed=2)
    few = np.flatnonzero(seen.called)[:4]

    assert fit_notice(replace(seen, called=np.isin(np.arange(200), few))) == 0.0
    five = np.flatnonzero(seen.called)[:5]
    assert fit_notice(replace(seen, called=np.isin(np.arange(200), five))) > 0.0


def test_unnoticed_is_the_mean_over_the_day_it_struck():
    expected = quad(lambda s: np.exp(-3.0 * s), 0, 0.7)[0] / 0.7

    assert unnoticed(3.0, np.array([0.7])) == pytest.approx([expected])
    assert unnoticed(3.0, np.zeros(1)) == pytest.approx([1.0])
    assert unnoticed(0.0, np.array([5.0])) == pytest.approx([1.0])

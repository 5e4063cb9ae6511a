"""Runs that disagree; expected values worked out by hand. 20 mL a tip, 800 mL: 40 tips a run."""

from __future__ import annotations

import pytest

from fleet.domain.repeat import repeat_variance
from tests.factories import make_runs


def test_runs_that_agree_add_nothing():
    assert repeat_variance(make_runs("as_found", 40, 41), 20.0) == 0.0
    assert repeat_variance(make_runs("as_found", 30, 30), 20.0) == 0.0


def test_one_run_has_nothing_to_disagree_with():
    assert repeat_variance(make_runs("as_found", 50), 20.0) == 0.0


def test_wrongly_poured_run_adds_its_scatter():
    # errors +25 and 0 %: s^2 = 312.5, of the mean of two half of it
    assert repeat_variance(make_runs("as_found", 50, 40), 20.0) == pytest.approx(156.25)
    # errors +25, 0, 0 %: s^2 = 208.333, of the mean of three a third
    assert repeat_variance(make_runs("as_found", 50, 40, 40), 20.0) == pytest.approx(69.4444, 1e-5)


def test_scatter_that_counting_explains_adds_nothing():
    """One run's count is good to 0.408 tips or 1.02 %: 3.5 of that is 3.57 %."""
    # 40 and 42 tips: s = 3.54 %
    assert repeat_variance(make_runs("as_found", 40, 42), 20.0) == 0.0
    # 40 and 43 tips: s = 5.30 %
    assert repeat_variance(make_runs("as_found", 40, 43), 20.0) == pytest.approx(14.0625)

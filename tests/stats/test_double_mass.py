"""The double-mass curve against two worked examples.

Sources: example A, station M against ten neighbours: S46 textbook exercise, data as printed,
answers [CALC]; example B, station X against twelve: S47 solution handout (scribd 407952109), with
the author's own solution; figures marked exact are [CALC].
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.errors import TooFewPointsError
from fleet.stats.double_mass import adjust_older, fit_double_mass, residual_mass
from tests.stats.worked_example import GROUP_M, GROUP_X, STATION_M, STATION_X


def test_best_break_of_example_a_is_after_1977_with_the_calculated_lines():
    curve = fit_double_mass(STATION_M, GROUP_M)

    assert curve.before == 9
    assert curve.sse == pytest.approx(1432.1, abs=0.05)
    assert (curve.slope_after, curve.slope_before) == pytest.approx((0.95195, 1.17962), abs=5e-6)
    assert curve.slope_ratio == pytest.approx(0.80700, abs=5e-6)
    assert curve.sse < curve.sse_one_line


def test_second_best_break_of_example_a_is_after_1978():
    assert fit_double_mass(STATION_M, GROUP_M, before=10).sse == pytest.approx(1648.4, abs=0.05)


@pytest.mark.parametrize(
    ("before", "old", "new", "factor", "mean"),
    [
        (9, 1.188915, 0.957710, 0.805533, 140.174),
        (10, 1.166214, 0.951317, 0.815731, 139.238),
    ],
)
def test_ratio_of_sums_of_example_a_matches_the_calculated_values(before, old, new, factor, mean):
    curve = fit_double_mass(STATION_M, GROUP_M, before=before)

    assert (curve.ratio_before, curve.ratio_after) == pytest.approx((old, new), abs=5e-7)
    assert curve.factor == pytest.approx(factor, abs=5e-7)
    assert np.mean(STATION_M) == pytest.approx(153.636, abs=5e-4)
    assert adjust_older(STATION_M, curve).mean() == pytest.approx(mean, abs=5e-4)


def test_example_b_matches_the_published_solution():
    curve = fit_double_mass(STATION_X, GROUP_X)

    assert curve.before == 12  # the break of 1982
    taken = fit_double_mass(STATION_X, GROUP_X, before=12)
    newer, older = (983 - 470) / (865 - 361), (470 - 47) / (361 - 29)
    adjusted = adjust_older(STATION_X, taken, factor=newer / older)
    assert (round(older, 2), round(newer, 2)) == (1.27, 1.02)
    assert np.rint(adjusted[:12]).tolist() == [38, 19, 34, 22, 20, 28, 23, 29, 30, 28, 46, 33]
    assert np.mean(STATION_X) == pytest.approx(32.8, abs=0.05)
    assert adjusted.mean() == pytest.approx(29.8, abs=0.05)
    assert adjusted.mean() == pytest.approx(29.8438, abs=5e-5)


def test_a_constant_ratio_leaves_nothing_unexplained():
    group = np.array([30.0, 12.0, 55.0, 8.0, 90.0, 41.0])

    curve = fit_double_mass(0.8 * group, group)

    assert curve.sse_one_line == pytest.approx(0.0, abs=1e-9)
    assert (curve.slope_before, curve.slope_after) == pytest.approx((0.8, 0.8))
    assert residual_mass(0.8 * group, group) == pytest.approx(np.zeros(6), abs=1e-9)


@given(place=st.integers(3, 17), factor=st.floats(0.3, 0.8), seed=st.integers(0, 99))
def test_a_break_without_noise_is_found_where_it_is(place, factor, seed):
    group = np.random.default_rng(seed).uniform(20, 120, 20)
    station = np.where(np.arange(20) < place, group, factor * group)

    curve = fit_double_mass(station, group)

    assert curve.before == place
    assert curve.factor == pytest.approx(factor)
    assert adjust_older(station, curve) == pytest.approx(factor * group)
    assert int(np.argmax(np.abs(residual_mass(station, group)))) + 1 == place


def test_double_mass_refuses_what_it_cannot_draw():
    with pytest.raises(TooFewPointsError, match="at least 4 periods; 3 given"):
        fit_double_mass([1, 2, 3], [1, 2, 3])
    with pytest.raises(ValueError, match="equally long"):
        fit_double_mass([1, 2, 3, 4], [1, 2, 3])
    with pytest.raises(ValueError, match="not negative"):
        fit_double_mass([1, 2, -3, 4], [1, 2, 3, 4])
    with pytest.raises(ValueError, match="no slope"):
        fit_double_mass([0, 0, 0, 0], [1, 2, 3, 4])
    with pytest.raises(ValueError, match="after 1 of 5 periods leaves too few"):
        fit_double_mass([1, 2, 3, 4, 5], [1, 2, 3, 4, 5], before=1)

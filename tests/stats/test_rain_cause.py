"""Causes moved by likelihood ratios: against odds x ratio and against sums done by hand."""

from __future__ import annotations

from itertools import product
from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.stats.rain_cause import move_by_odds, quiet_log_ratio, weigh_causes


def weigh_one(p: dict[str, float], ratio: dict[str, float]) -> dict[str, float]:
    """Weigh the causes of one gauge."""
    weighed, _ = weigh_causes(
        {name: np.array([value]) for name, value in p.items()},
        {name: np.array([log(value)]) for name, value in ratio.items()},
    )
    return {name: float(value[0]) for name, value in weighed.items()}


def test_one_cause_moves_by_its_odds():
    after = weigh_one({"blockage": 0.1}, {"blockage": 18.0})

    assert after["blockage"] == pytest.approx(2.0 / 3.0, rel=1e-9)


def test_ratios_of_one_change_nothing():
    before = {"blockage": 0.1, "deaths": 0.05, "disconnection": 0.0, "knock": 0.02}

    after = weigh_one(before, dict.fromkeys(before, 1.0))

    assert after == pytest.approx(before, abs=1e-12)


def test_silence_is_shared_out_between_the_causes_that_explain_it():
    before = {"blockage": 0.06, "deaths": 0.02}

    after = weigh_one(before, {"blockage": 1e6, "deaths": 1e6})

    any_cause = 1.0 - 0.94 * 0.98
    assert after["blockage"] == pytest.approx(0.06 / any_cause, rel=1e-3)
    assert after["deaths"] == pytest.approx(0.02 / any_cause, rel=1e-3)


def test_a_cause_that_is_certain_explains_the_rest_away():
    after = weigh_one(
        {"blockage": 0.05, "disconnection": 1.0}, {"blockage": 1e5, "disconnection": 1e5}
    )

    assert after["disconnection"] > 0.9999
    assert after["blockage"] == pytest.approx(0.05, abs=1e-3)


def test_rain_that_goes_along_disproves_what_was_only_unproven():
    after = weigh_one({"disconnection": 1.0}, {"disconnection": 1e-12})

    assert after["disconnection"] < 0.01


def test_weighing_agrees_with_every_set_of_causes_written_out():
    p, ratio = {"a": 0.3, "b": 0.2, "c": 0.1}, {"a": 5.0, "b": 0.5, "c": 20.0}
    whole, parts = 0.0, dict.fromkeys(p, 0.0)
    for held in product((False, True), repeat=3):
        weight, loudest = 1.0, 1.0
        for (name, chance), there in zip(p.items(), held, strict=True):
            weight *= chance if there else 1.0 - chance
            if there:
                weight *= min(ratio[name], 1.0)
                loudest = max(loudest, ratio[name])
        whole += weight * loudest
        for name, there in zip(p, held, strict=True):
            parts[name] += weight * loudest * there

    after = weigh_one(p, ratio)

    assert after == pytest.approx({name: part / whole for name, part in parts.items()}, rel=1e-9)


@given(
    st.lists(st.floats(0.0, 0.999), min_size=3, max_size=3),
    st.lists(st.floats(-30.0, 30.0), min_size=3, max_size=3),
)
def test_probabilities_stay_between_none_and_certain(chances, logs):
    names = ("a", "b", "c")

    after, together = weigh_causes(
        {name: np.array([p]) for name, p in zip(names, chances, strict=True)},
        {name: np.array([value]) for name, value in zip(names, logs, strict=True)},
    )

    assert all(0.0 <= float(p[0]) < 1.0 for p in after.values())
    assert max(float(p[0]) for p in after.values()) <= float(together[0]) + 1e-9


def test_any_cause_is_surer_than_each_of_those_that_share_a_silence():
    p = {"blockage": np.array([0.06]), "deaths": np.array([0.02])}

    each, together = weigh_causes(p, dict.fromkeys(p, np.array([log(1e6)])))

    assert each["blockage"][0] < 0.8
    assert together[0] > 0.99998


def test_any_cause_of_untouched_ones_is_that_of_independent_ones():
    p = {"blockage": np.array([0.1]), "deaths": np.array([0.2])}

    _, together = weigh_causes(p, dict.fromkeys(p, np.array([0.0])))

    assert together[0] == pytest.approx(1.0 - 0.9 * 0.8, rel=1e-12)


def test_quiet_ratio_is_the_share_of_beginnings_that_still_hide():
    ratio = np.exp(quiet_log_ratio(np.array([0.0, 30.0, 365.0]), np.array([10.0]), told=1.0))

    assert ratio[0, 1] == pytest.approx((10.0 / 30.0) * (1.0 - exp(-3.0)), rel=1e-9)
    assert ratio[0, 2] == pytest.approx(10.0 / 365.0, rel=1e-3)
    assert ratio[0, 0] > 0.95


def test_quiet_ratio_keeps_what_the_rain_never_shows():
    ratio = np.exp(quiet_log_ratio(np.array([1e6]), np.array([10.0]), told=0.7))

    assert ratio[0, 0] == pytest.approx(0.3, abs=1e-4)


def test_quiet_says_nothing_where_nobody_watches():
    ratio = quiet_log_ratio(np.array([0.0, 365.0]), np.array([np.inf]), told=0.8)

    assert ratio.tolist() == [[0.0, 0.0]]


def test_move_by_odds_keeps_certainty_and_none():
    moved = move_by_odds(np.array([[0.0, 1.0]]), np.array([[-3.0, -3.0]]))

    assert moved.tolist() == [[0.0, 1.0]]

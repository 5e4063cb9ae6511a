"""Worth and its split by hand: trapezoids and shares of -log(1 - p) worked out on paper [CALC]."""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from fleet.stats.forecast import Causes
from fleet.stats.worth import driver_shares, worth_record_days


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=float)[:, np.newaxis]


def causes(drift: float, blockage: float, resistance: float, deaths: float, off: float) -> Causes:
    never = column(0.0)
    return Causes(
        drift=column(drift),
        knock=never,
        blockage=column(blockage),
        resistance=column(resistance),
        deaths=column(deaths),
        disconnection=column(off),
    )


def test_worth_follows_the_days_as_they_are_spaced() -> None:
    """p 0.5 against 0, 0.25, 0.5 on days 0, 10, 40: 10 x 0.375 + 30 x 0.125 = 7.5 record-days."""
    worth = worth_record_days(
        np.array([0.5, 0.1]),
        np.array([[0.0, 0.25, 0.5], [0.0, 0.1, 0.9]]),
        days=np.array([0.0, 10.0, 40.0]),
        importance=np.array([1.0, 3.0]),
    )

    assert worth == pytest.approx([7.5, 1.5])


def test_worth_of_more_days_than_gauges_is_summed_over_the_days() -> None:
    worth = worth_record_days(
        np.array([0.2]), np.zeros((1, 5)), days=np.arange(5.0), importance=np.array([2.0])
    )

    assert worth.tolist() == pytest.approx([1.6])


def test_shares_are_those_of_the_hazards() -> None:
    """Drift 0.5, blockage 0.2, switch 0.1 and 0.3, off 0.4: parts of the sum of -log(1 - p)."""
    now = causes(0.5, 0.2, 0.1, 0.3, 0.4)
    total = -log(0.5) - log(0.8) - log(0.9) - log(0.7) - log(0.6)

    shares = driver_shares(now, worth=np.array([10.0]), compliance=np.array([0.0]))

    assert shares.drift == pytest.approx([-log(0.5) / total])
    assert shares.switch == pytest.approx([(-log(0.9) - log(0.7)) / total])
    assert shares.age == pytest.approx([(-log(0.8) - log(0.6)) / total])


def test_compliance_is_all_of_the_ages() -> None:
    """6 of 8 record-days are compliance; drift alone has the rest."""
    shares = driver_shares(
        causes(0.5, 0.0, 0.0, 0.0, 0.0), worth=np.array([2.0]), compliance=np.array([6.0])
    )

    assert (shares.drift, shares.age, shares.switch) == (
        pytest.approx([0.25]),
        pytest.approx([0.75]),
        pytest.approx([0.0]),
    )


def test_small_worth_is_split_like_a_large_one() -> None:
    shares = driver_shares(
        causes(0.5, 0.0, 0.0, 0.0, 0.0), worth=np.array([0.2]), compliance=np.array([0.2])
    )

    assert shares.drift == pytest.approx([0.5])


def test_worth_of_nothing_is_split_by_the_hazards_and_no_hazard_is_age() -> None:
    nothing = {"worth": np.array([0.0]), "compliance": np.array([0.0])}

    drifting = driver_shares(causes(0.5, 0.0, 0.0, 0.0, 0.0), **nothing)
    sound = driver_shares(causes(0.0, 0.0, 0.0, 0.0, 0.0), **nothing)

    assert (drifting.drift.tolist(), drifting.age.tolist()) == ([1.0], [0.0])
    assert (sound.age.tolist(), sound.drift.tolist(), sound.switch.tolist()) == (
        [1.0],
        [0.0],
        [0.0],
    )

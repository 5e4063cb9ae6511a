"""Counts of watches: by hand, and against the probabilities of what each look found."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fleet.domain.state import GaugeState
from fleet.domain.watch import Sign, Watch
from fleet.stats.clock import PLAIN, Clock
from fleet.stats.watch_count import Watches, count_watches, gather_watches, settle_counts
from tests.factories import make_gauge

YEAR = 365.25


def watches(*signs: Sign, years: float = 1.0) -> Watches:
    sign = np.array(signs, dtype=np.int64)
    start = np.full(len(signs), 738_000.0)
    never = np.zeros(len(signs), dtype=bool)
    unit = np.zeros(len(signs), dtype=np.int64)
    seen = start + years * YEAR
    return Watches(start, start, seen, sign == 2, sign == 1, never, unit, 1)


def test_half_of_a_watch_that_struck_is_exposure():
    counts = count_watches(watches(Sign.WELL, Sign.STRUCK, Sign.WELL), PLAIN)

    assert counts.events.tolist() == [1.0]
    assert counts.exposure == pytest.approx([2.5], rel=1e-6)


def test_beginnings_count_as_well_where_they_say_nothing():
    counts = count_watches(watches(Sign.WELL, Sign.BEGUN), PLAIN)

    assert (counts.events.tolist(), counts.exposure.tolist()) == ([0.0], [2.0])


def test_beginnings_count_as_events_that_come_oftener():
    counts = count_watches(watches(Sign.WELL, Sign.BEGUN, Sign.STRUCK), Clock(begun=3.0))

    # 3 for the clean look, (3 + 1) / 2 for the beginning, 1 / 2 for what struck
    assert counts.events.tolist() == [2.0]
    assert counts.exposure == pytest.approx([5.5], rel=1e-6)


@pytest.mark.parametrize("rate", [0.05, 0.2, 0.5])
@pytest.mark.parametrize(
    ("sign", "probability"),
    [
        (Sign.WELL, lambda x: np.exp(-3 * x)),
        (Sign.BEGUN, lambda x: np.exp(-x) - np.exp(-3 * x)),
        (Sign.STRUCK, lambda x: 1 - np.exp(-x)),
    ],
)
def test_counts_give_the_probability_of_each_look(rate, sign, probability):
    """Events log(rate) - exposure rate + factor is the log probability, to a twentieth."""
    counts = count_watches(watches(sign, years=0.8), Clock(wear=1.5, begun=3.0))

    value = counts.events[0] * np.log(rate) - counts.exposure[0] * rate + counts.log_factor

    assert value == pytest.approx(np.log(probability(rate * 0.8**1.5)), abs=0.05)


def test_counts_at_a_rate_have_the_slope_of_the_probability():
    """d/d rate of the log probability, by central differences, is events / rate - exposure."""
    clock, rate, step = Clock(begun=3.0), 1.7, 1e-5

    for sign, probability in (
        (Sign.BEGUN, lambda x: np.exp(-x) - np.exp(-3 * x)),
        (Sign.STRUCK, lambda x: 1 - np.exp(-x)),
    ):
        counts = count_watches(watches(sign), clock, np.array([rate]))
        ends = [np.log(probability(rate + side)) for side in (step, -step)]
        slope = (ends[0] - ends[1]) / (2 * step)
        assert counts.events[0] / rate - counts.exposure[0] == pytest.approx(slope, rel=1e-6)


def test_counts_settle_at_the_most_likely_rate():
    """Nineteen struck of twenty, a nearly flat law: 1 - exp(-rate) = 0.95."""
    seen = watches(*[Sign.STRUCK] * 19, Sign.WELL)
    flat = np.array([1e-9])

    counts = settle_counts(seen, PLAIN, shape=flat, scale_years=flat)

    assert counts.events[0] / counts.exposure[0] == pytest.approx(-np.log(0.05), rel=0.02)


def test_watches_are_gathered_with_whose_they_are():
    day = date(2024, 1, 1)
    one = Watch(day, day, date(2024, 3, 1), Sign.BEGUN, "V1")
    two = Watch(day, date(2024, 3, 1), date(2024, 9, 1), Sign.STRUCK, "V2", called=True)
    none = Watch(day, day, day, Sign.STRUCK, "V0")
    empty = GaugeState(make_gauge())

    found = gather_watches(
        [empty, replace(empty, blockage_watches=(none, one, two))],
        lambda state: state.blockage_watches,
    )

    assert (found.units, found.unit.tolist()) == (2, [1, 1])
    assert (found.seen_day - found.well_day).tolist() == [60.0, 184.0]
    assert (found.begun.tolist(), found.struck.tolist()) == ([True, False], [False, True])
    assert found.called.tolist() == [False, True]


def test_no_watches_are_nothing():
    counts = count_watches(gather_watches([], lambda state: state.switch_watches), PLAIN)

    assert (counts.events.size, counts.log_factor) == (0, 0.0)

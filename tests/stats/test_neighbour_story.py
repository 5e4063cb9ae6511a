"""Stories of faults against spells of known cause, and their ratios against what came true.

Sources: how causes show is common practice without a published source; everything else is first
principles: a mean likelihood ratio of 1 for fit gauges, posterior = prior odds x ratio.
"""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from fleet.stats.neighbour_level import tabulate_levels
from fleet.stats.neighbour_story import (
    SHARE_OF_CAUSE,
    Alarm,
    Cause,
    Frame,
    cause_log_ratios,
    log_sum,
    spread_bases,
    tell_fit,
    tell_stories,
)

SD = 0.08
SPELLS = 24
FRAME = Frame(
    base_sd=0.03,
    doubt=0.05,
    place_level=0.0,
    place_sd=0.3,
    low=log(0.95),
    high=log(1.05),
    days=8.0 * np.arange(SPELLS),
)


def paths_of(alarm: Alarm, begin: int, size: float) -> np.ndarray:
    """Give the log ratio that a fault of a size, begun at a spell, makes without noise."""
    value = np.zeros(SPELLS)
    if alarm in (Alarm.SINKING, Alarm.RISING):
        value[begin:] = size * np.linspace(0, 1, SPELLS - begin)
    else:
        value[begin:] = size
    return value


def judge(value: np.ndarray, frame: Frame = FRAME):
    table = tabulate_levels(value, np.full(value.size, SD), persistence=1.0)
    fit = tell_fit(table, frame)
    told = tell_stories(table, frame)
    return told, {alarm: story.log_likelihood - fit for alarm, story in told.items()}


@pytest.mark.parametrize(
    ("alarm", "size"),
    [
        (Alarm.SILENT, -4.5),
        (Alarm.CHOKED, log(0.2)),
        (Alarm.HALVED, log(0.5)),
        (Alarm.DOUBLED, log(2.0)),
        (Alarm.STEP_DOWN, log(0.75)),
        (Alarm.STEP_UP, log(1.3)),
        (Alarm.SINKING, log(0.55)),
        (Alarm.RISING, log(1.4)),
    ],
)
def test_each_story_is_told_of_its_own_fault_and_where_it_began(alarm, size):
    noise = np.random.default_rng(3).normal(0, SD / 2, SPELLS)

    told, logs = judge(paths_of(alarm, 9, size) + noise)

    assert max(logs, key=logs.get) is alarm
    assert logs[alarm] > 5
    begin = told[alarm].begin
    assert begin.sum() == pytest.approx(1.0)
    middle = int(np.searchsorted(np.cumsum(begin), 0.5))
    slow = alarm in (Alarm.SINKING, Alarm.RISING)
    assert middle == pytest.approx(9, abs=4 if slow else 0)
    if alarm is not Alarm.SILENT:
        assert told[alarm].offset == pytest.approx(size, abs=0.15)


def test_a_gauge_at_rest_is_more_likely_fit_than_anything_else():
    _, logs = judge(np.random.default_rng(5).normal(0, SD, SPELLS))

    assert max(logs.values()) < 0
    assert cause_log_ratios(logs)[Cause.DISCONNECTION] < -5


def test_a_slow_fall_within_tolerance_is_held_for_fit():
    _, logs = judge(paths_of(Alarm.SINKING, 0, log(0.975)))

    assert logs[Alarm.SINKING] < 0


def test_one_wild_spell_raises_no_alarm():
    value = np.random.default_rng(6).normal(0, SD, SPELLS)
    value[11] = -3.0

    _, logs = judge(value)

    assert max(logs.values()) < 1


def test_a_usual_level_in_doubt_weakens_a_step_that_came_with_the_service():
    value = np.full(SPELLS, 0.5)

    sure = judge(value, FRAME)[1][Alarm.DOUBLED]
    doubted = judge(value, Frame(0.03, 0.5, 0.5, 0.3, log(0.95), log(1.05), FRAME.days))[1]

    assert doubted[Alarm.DOUBLED] < sure - 2


def test_a_gauge_without_a_usual_level_is_still_found_silent_but_not_stepped():
    unknown = Frame(0.3, 1.0, 0.0, 0.3, log(0.95), log(1.05), FRAME.days)

    silent = judge(np.full(SPELLS, -4.5), unknown)[1]
    lower = judge(np.full(SPELLS, -0.2), unknown)[1]

    assert silent[Alarm.SILENT] > 50
    assert max(lower.values()) < 1


def test_one_spell_alone_can_be_judged():
    table = tabulate_levels(np.array([-4.0]), np.array([SD]), persistence=1.0)
    frame = Frame(0.03, 0.05, 0.0, 0.3, log(0.95), log(1.05), np.array([3.0]))

    told = tell_stories(table, frame)

    assert told[Alarm.SILENT].log_likelihood - tell_fit(table, frame) > 4
    assert all(story.begin == pytest.approx([1.0]) for story in told.values())


def test_weights_of_causes_and_of_levels_add_up_to_1():
    assert [sum(shares.values()) for shares in SHARE_OF_CAUSE.values()] == pytest.approx([1.0] * 4)
    assert set(SHARE_OF_CAUSE) == set(Cause)
    assert log_sum(spread_bases(FRAME)[1]) == pytest.approx(0.0, abs=1e-12)


def test_a_cause_s_ratio_is_the_mean_of_its_stories_ratios_by_share():
    logs = {alarm: -50.0 for alarm in Alarm} | {Alarm.SILENT: log(40.0)}

    found = cause_log_ratios(logs)

    assert np.exp(found[Cause.DISCONNECTION]) == pytest.approx(40.0)
    assert np.exp(found[Cause.SWITCH]) == pytest.approx(20.0)
    assert np.exp(found[Cause.BLOCKAGE]) == pytest.approx(16.0)
    assert found[Cause.DRIFT] < -40


@pytest.fixture(scope="module")
def dealt() -> tuple[np.ndarray, np.ndarray]:
    """Give the ratio for a step down of 400 gauges, and whether each had one (every other)."""
    dice = np.random.default_rng(13)
    days = FRAME.days[:12]
    frame = Frame(0.03, 0.05, 0.0, 0.3, log(0.95), log(1.05), days)
    ratios = []
    for gauge in range(400):
        value = dice.normal(0, 0.03) + SD * 0.91 * dice.standard_t(4, 12)
        if gauge % 2:
            value[int(dice.integers(12)) :] += log(dice.uniform(0.6, 0.95))
        ratios.append(np.exp(judge(value, frame)[1][Alarm.STEP_DOWN]))
    return np.array(ratios), np.arange(400) % 2 == 1


def test_ratios_of_fit_gauges_are_1_in_the_mean_at_most(dealt):
    ratios, faulty = dealt

    assert ratios[~faulty].mean() < 1.3
    assert np.mean(ratios[~faulty] > 20) <= 0.05


def test_posteriors_come_true_as_often_as_they_say(dealt):
    ratios, faulty = dealt
    said = ratios / (1 + ratios)

    for low, high in ((0.0, 0.4), (0.4, 0.9), (0.9, 1.01)):
        those = (said >= low) & (said < high)
        assert those.sum() > 40
        assert faulty[those].mean() == pytest.approx(said[those].mean(), abs=0.12)
    assert np.mean((said - faulty) ** 2) < 0.75 * 0.25  # the score of saying a half each time

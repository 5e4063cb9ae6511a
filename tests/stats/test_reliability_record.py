"""What a group's records say of its interval, by hand (first principles).

Sources beside the figures: Clopper-Pearson 18 of 20 is 0.683 to 0.988 (worked value).
"""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.found import AgedFinding, Found
from fleet.domain.spell import Spell
from fleet.stats.reliability_record import (
    end_of_interval,
    life_of_services,
    memoryless_interval,
    reactive_interval,
    staircase_counts,
)
from fleet.stats.staircase import Step
from tests.factories import make_check


def finding(
    age_days: int | None, *, drift: bool | None = False, share: float | None = None, **causes
) -> AgedFinding:
    found = Found(drift, causes.get("blockage", False), causes.get("switch"), share)
    return AgedFinding(make_check(date(2024, 1, 1)), found, age_days, True)


PASSES = [finding(190) for _ in range(18)]
FAILURES = [finding(170, drift=True), finding(260, blockage=True, drift=None)]


def test_end_of_interval_counts_verdicts_at_half_to_one_and_a_half_intervals():
    outside = [finding(89), finding(271, drift=True), finding(None), finding(180, drift=None)]

    end = end_of_interval([*PASSES, *FAILURES, *outside], 180)

    assert end is not None
    assert (end.seen.hits, end.seen.trials) == (18, 20)
    assert (end.seen.low, end.seen.high) == pytest.approx((0.683, 0.988), abs=5e-4)
    assert end.mean_age_days == pytest.approx((18 * 190 + 170 + 260) / 20)
    assert (end.youngest_days, end.oldest_days) == (170, 260)


def test_both_edges_of_the_end_count():
    end = end_of_interval([finding(90), finding(270)], 180)

    assert end is not None
    assert end.seen.trials == 2


def test_end_of_interval_without_a_verdict_is_nothing():
    assert end_of_interval([finding(20), finding(180, drift=None)], 180) is None


def test_memoryless_interval_is_capped_at_twice_the_age_tried():
    end = end_of_interval([*PASSES, *FAILURES], 180)
    assert end is not None

    found = memoryless_interval(end, 0.9)

    # 18 of 20 is the target itself, so the age tried; the bounds from 0.683 and 0.988
    assert found.days == pytest.approx(192.5)
    assert found.low_days == pytest.approx(192.5 * 0.105361 / 0.3813, rel=2e-3)
    assert (found.high_days, found.capped) == (385.0, True)


def test_reactive_interval_stays_at_the_target_and_grows_by_a_tenth_without_failures():
    at_target, all_fit = end_of_interval([*PASSES, *FAILURES], 180), end_of_interval(PASSES, 180)
    assert at_target is not None
    assert all_fit is not None

    kept = reactive_interval(at_target, 180, extension=0.10, target=0.90)
    grown = reactive_interval(all_fit, 180, extension=0.10, target=0.90)

    assert kept.days == pytest.approx(180.0)
    assert kept.reduction == pytest.approx(0.5759, abs=5e-5)  # NCSLI RP-1 A1, worked value
    assert grown.days == pytest.approx(198.0)


def test_staircase_counts_the_newest_result_of_each_gauge():
    histories = [
        [finding(180, drift=True, share=1.2), finding(180, share=0.5)],
        [finding(180, share=0.5), finding(180, share=0.9)],
        [finding(180, share=0.5), finding(180, share=1.1, drift=True)],
        [finding(180, share=0.5), finding(180, drift=None)],  # the newest told nothing
        [finding(180, share=0.5), finding(180, blockage=True, drift=None)],
        [finding(180, share=0.5), finding(180, switch=True, drift=None)],
        [finding(180, drift=None)],
        [],
    ]

    assert staircase_counts(histories) == {Step.EXTEND: 2, Step.KEEP: 1, Step.REDUCE: 3}


def test_life_of_services_needs_enough_of_them():
    life = life_of_services([Spell(180, None)] * 30, 0.9)

    assert (life.spells, life.failures, life.fit, life.age) == (30, 0, None, None)
    assert life.why_not == "0 of 30 services ended unfit; at least 5 of 20 are needed"
    assert life_of_services([], 0.9).spells == 0


def test_life_of_services_gives_the_age_at_the_target():
    spells = [Spell(80 + 4 * n, None) for n in range(40)]
    spells += [Spell(0, 140 + 15 * n) for n in range(12)]

    life = life_of_services(spells, 0.9)

    assert (life.spells, life.failures, life.why_not) == (52, 12, "")
    assert life.fit is not None
    assert life.age is not None
    assert life.age.low_days < life.age.days < life.age.high_days < 400

"""Access rules: expected windows are worked out by hand."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.access import (
    AccessSpan,
    clip_windows,
    clock_text,
    merge_windows,
    open_windows,
    shift_windows,
)
from fleet.domain.plan import Window

MONDAY = date(2026, 11, 23)
SATURDAY = date(2026, 11, 28)


def test_site_without_rules_is_always_open():
    assert open_windows((), MONDAY) == (Window(0, 1440),)


def test_weekday_rule_closes_the_other_days():
    rule = AccessSpan(weekdays=frozenset({"mon", "tue"}))

    assert open_windows((rule,), MONDAY) == (Window(0, 1440),)
    assert open_windows((rule,), SATURDAY) == ()


def test_hours_bound_the_window():
    rule = AccessSpan(opens_min=480, closes_min=720)

    assert open_windows((rule,), MONDAY) == (Window(480, 720),)


@pytest.mark.parametrize(
    ("first", "last", "is_open"),
    [
        (date(2026, 11, 23), None, True),
        (date(2026, 11, 24), None, False),
        (None, date(2026, 11, 23), True),
        (None, date(2026, 11, 22), False),
    ],
)
def test_date_range_binds_with_both_ends_included(first, last, is_open):
    rule = AccessSpan(first_day=first, last_day=last)

    assert bool(open_windows((rule,), MONDAY)) is is_open


def test_rules_add_up_and_touching_windows_join():
    rules = (
        AccessSpan(opens_min=720, closes_min=840),
        AccessSpan(opens_min=480, closes_min=720),
        AccessSpan(opens_min=900, closes_min=960),
    )

    assert open_windows(rules, MONDAY) == (Window(480, 840), Window(900, 960))


def test_dated_windows_alone_close_every_other_day():
    tide = {MONDAY: (Window(300, 420), Window(1020, 1140))}

    assert open_windows((), MONDAY, dated=tide) == (Window(300, 420), Window(1020, 1140))
    assert open_windows((), SATURDAY, dated=tide) == ()


def test_dated_windows_and_rules_must_both_allow_a_visit():
    tide = {MONDAY: (Window(300, 420), Window(400, 500), Window(1020, 1140))}
    rules = (AccessSpan(opens_min=360, closes_min=450), AccessSpan(opens_min=1100, closes_min=1200))

    assert open_windows(rules, MONDAY, dated=tide) == (Window(360, 450), Window(1100, 1140))


def test_no_dated_windows_leave_the_rules_alone():
    assert open_windows((), MONDAY, dated={}) == (Window(0, 1440),)


def test_clipping_drops_what_is_empty():
    windows = (Window(0, 100), Window(200, 300))

    assert clip_windows(windows, 100, 250) == (Window(200, 250),)


def test_shift_moves_both_ends():
    assert shift_windows((Window(60, 120),), -60) == (Window(0, 60),)


def test_rule_reads_as_a_person_would_say_it():
    rule = AccessSpan(
        weekdays=frozenset({"fri", "mon"}),
        opens_min=450,
        closes_min=720,
        first_day=date(2026, 4, 1),
        note="ring the keeper",
    )

    assert str(rule) == "Mon Fri 07:30-12:00 from 2026-04-01 (ring the keeper)"


def test_clock_text_pads_both_parts():
    assert clock_text(65) == "01:05"


minutes = st.integers(0, 1440)
windows = st.lists(
    st.tuples(minutes, minutes).filter(lambda w: w[0] < w[1]).map(lambda w: Window(*w)), max_size=8
)


@given(windows)
def test_merging_keeps_every_minute_and_leaves_no_overlap(given_windows):
    merged = merge_windows(given_windows)

    def covered(spans):
        return {minute for w in spans for minute in range(w.opens_min, w.closes_min)}

    assert covered(merged) == covered(given_windows)
    assert all(a.closes_min < b.opens_min for a, b in pairwise(merged))

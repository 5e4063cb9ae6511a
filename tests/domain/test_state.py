"""Derivation of a gauge's state; expected values worked out by hand.

The gauge has 40 nominal tips a run (20 mL a tip, 800 mL); one tip of two runs is 1.25 %.
"""

from dataclasses import replace
from datetime import date, timedelta
from functools import reduce
from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.code import MeasuredAt, NotDoneReason, Phase, VisitOutcome, VisitPurpose
from fleet.domain.history import GaugeHistory, SwitchReadings
from fleet.domain.state import GaugeState, advance, derive_state, log_ohm
from fleet.domain.watch import Sign, Watch
from tests.factories import make_check, make_gauge, make_runs

GAUGE = make_gauge(installed_on=date(2023, 1, 1))
SPRING = date(2024, 1, 1)
AUTUMN = date(2024, 7, 1)
WINTER = date(2025, 1, 1)
HALF_YEAR = 182 / 365.25


def derive(*records, gauge=GAUGE):
    return derive_state(GaugeHistory(gauge, records))


def switch(phase="as_found", **values):
    return SwitchReadings(Phase(phase), **values)


def failed_attempt(on):
    return make_check(
        on, outcome=VisitOutcome.NOT_DONE, not_done_reason=NotDoneReason.NO_ACCESS, checked=False
    )


def test_state_without_records_is_a_gauge_never_seen():
    state = derive()

    assert state == GaugeState(gauge=GAUGE)
    assert state.never_verified
    assert state.serviced_or_installed_on == date(2023, 1, 1)


def test_drift_is_found_less_the_level_that_was_left():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(37, 38), left=(40, 40)),
    )

    (change,) = state.drift
    assert change.years == pytest.approx(HALF_YEAR)
    # left: 80 tips and 2 halves for emptied buckets, +1.25 %; found: 75 and 1 half, -5.625 %
    assert change.amount == pytest.approx(-5.625 - 1.25)
    # two emptied runs before; one emptied and one of unknown residue after; 1 tip = 1.25 %
    assert change.variance == pytest.approx((2 / 12 + 1 / 12 + 1 / 6) * 1.25**2)
    assert change.visit_ref == "V20240701"


def test_adjustment_resets_the_level_but_not_the_history():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(36, 36), left=(39, 40), adjusted=True),
        make_check(WINTER, found=(39, 40), left=(39, 40)),
    )

    assert [round(change.amount, 3) for change in state.drift] == [-10.625, -0.625]
    assert state.level_percent == pytest.approx(0.0)
    assert state.level_on == WINTER


def test_cleaning_without_as_left_makes_the_level_unknown():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(38, 38)),
        make_check(WINTER, found=(36, 36), left=(40, 40)),
    )

    assert len(state.drift) == 1
    before = derive(make_check(SPRING, left=(40, 40)), make_check(AUTUMN, found=(38, 38)))
    assert (before.level_percent, before.level_variance, before.level_on) == (None, 0.0, None)
    assert before.last_service_on == AUTUMN


def test_untouched_gauge_keeps_as_found_as_its_level():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(38, 38), cleaned=False),
    )

    assert state.level_percent == pytest.approx(100 * (76.5 - 80) / 80)
    assert state.level_on == AUTUMN
    assert state.last_service_on == SPRING


def test_missing_as_found_gives_no_change_and_keeps_the_last_one_seen():
    state = derive(
        make_check(SPRING, found=(39, 39), left=(40, 40)),
        make_check(AUTUMN, left=(39, 40)),
    )

    assert state.drift == ()
    assert state.level_percent == pytest.approx(0.0)
    assert state.last_as_found is not None
    assert state.last_as_found.visited_on == SPRING
    assert state.last_as_left is not None
    assert state.last_as_left.visited_on == AUTUMN


def test_visit_that_only_looked_leaves_the_level_as_it_was():
    state = derive(make_check(SPRING, left=(40, 40)), make_check(AUTUMN, cleaned=False))

    assert (state.level_on, state.last_service_on, state.last_visit_on) == (SPRING, SPRING, AUTUMN)


def test_blocked_gauge_is_a_blockage_and_not_drift():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(12, 5), left=(40, 40), blocked_found=True),
    )

    assert state.drift == ()
    assert state.blockage_refs == ("V20240701",)
    # it blocked somewhere between the two visits, on average half way
    assert state.blockage_years == pytest.approx(HALF_YEAR / 2)


def test_reading_of_a_blocked_gauge_is_not_taken_for_its_level():
    state = derive(
        make_check(SPRING, left=(39, 40)),
        make_check(AUTUMN, found=(12, 5), blocked_found=True, blocked_left=True, cleaned=False),
        make_check(WINTER, found=(39, 39), left=(40, 40)),
    )

    assert [round(change.amount, 3) for change in state.drift] == [-1.875]
    assert state.drift[0].years == pytest.approx((WINTER - SPRING).days / 365.25)


def test_blockage_left_behind_counts_once_and_its_time_not_as_exposure():
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, blocked_found=True, blocked_left=True, cleaned=False),
        make_check(WINTER, blocked_found=True, left=(40, 40)),
    )

    assert state.blockage_refs == ("V20240701",)
    assert not state.left_blocked
    assert state.blockage_years == pytest.approx(HALF_YEAR / 2)


def test_blockage_found_before_anybody_watched_is_no_event():
    old = make_check(date(2022, 5, 1), same_instrument=False, blocked_found=True, left=(40, 40))

    state = derive(old)

    assert state.blockage_watches == (Watch(*[date(2022, 5, 1)] * 3, Sign.STRUCK, "V20220501"),)
    assert (state.blockage_refs, state.blockage_years) == (("V20220501",), 0.0)
    later = derive(old, make_check(date(2022, 9, 1), blocked_found=True))
    assert later.blockage_refs == ("V20220501", "V20220901")


def test_exposure_begins_with_the_first_record_and_not_with_the_installation():
    dead = switch(no_closure=True)
    works = switch(closed_ohm=0.3)

    first = derive(make_check(SPRING, blocked_found=True, switch_found=dead, left=(40, 40)))
    seen = derive(
        make_check(SPRING, switch_found=works),
        make_check(AUTUMN, blocked_found=True, switch_found=dead),
    )

    assert first.blockage_watches == first.switch_watches
    assert first.blockage_watches == (Watch(SPRING, SPRING, SPRING, Sign.STRUCK, "V20240101"),)
    assert seen.blockage_watches == (Watch(SPRING, SPRING, AUTUMN, Sign.STRUCK, "V20240701"),)
    assert seen.switch_watches == (Watch(SPRING, SPRING, AUTUMN, Sign.STRUCK, "V20240701"),)


def test_dirt_counts_from_the_last_clean_and_not_from_the_last_look():
    looked = make_check(AUTUMN, cleaned=False)

    state = derive(make_check(SPRING), looked, make_check(WINTER, partly_found=True))

    assert state.blockage_watches == (
        Watch(SPRING, SPRING, AUTUMN, Sign.WELL, "V20240701"),
        Watch(SPRING, AUTUMN, WINTER, Sign.BEGUN, "V20250101"),
    )
    assert state.way_clean_on == WINTER


def test_fault_that_called_for_a_repair_is_at_most_a_month_old():
    called = make_check(AUTUMN, blocked_found=True, purpose=VisitPurpose.REPAIR)
    until = AUTUMN - timedelta(30)

    state = derive(make_check(SPRING), called)

    assert state.blockage_watches == (
        Watch(SPRING, SPRING, until, Sign.WELL, "V20240701", called=True),
        Watch(SPRING, until, AUTUMN, Sign.STRUCK, "V20240701", called=True),
    )


def test_tips_through_a_dead_switch_are_neither_drift_nor_level():
    dead = switch(closed_ohm=0.3, manual_tips=7)

    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(28, 28), switch_found=dead, cleaned=False),
        make_check(WINTER, found=(39, 39), left=(40, 40)),
    )

    # found 78 tips and 1 half of 80, -1.875 %; left 80 and 2 halves, +1.25 %
    assert [round(change.amount, 3) for change in state.drift] == [-3.125]
    assert state.drift[0].years == pytest.approx((WINTER - SPRING).days / 365.25)


def test_as_left_through_a_dead_switch_is_no_level():
    dead = switch("as_left", manual_tips=7)

    state = derive(make_check(SPRING, left=(28, 28), switch_left=dead))

    assert (state.level_percent, state.level_on) == (None, None)


def test_runs_that_disagree_count_for_little():
    """A volume poured wrong: 50 and 40 of 40 tips, errors +25 and 0 %, s^2 / 2 = 156.25."""
    state = derive(
        make_check(SPRING, left=(40, 40)),
        make_check(AUTUMN, found=(50, 40), left=(40, 40)),
    )

    counting = (2 / 12 + 1 / 12 + 1 / 6) * 1.25**2
    assert state.drift[0].variance == pytest.approx(156.25 + counting)


def test_switch_left_with_half_its_resistance_is_taken_for_a_new_one():
    def check(day, found, left):
        return make_check(
            day,
            switch_found=switch(closed_ohm=found),
            switch_left=switch("as_left", closed_ohm=left),
        )

    kept = derive(check(SPRING, 1.0, 1.0), check(AUTUMN, 2.0, 1.1))
    renewed = derive(check(SPRING, 1.0, 1.0), check(AUTUMN, 2.0, 0.9))

    assert (kept.switch_new_on, renewed.switch_new_on) == (SPRING, AUTUMN)


def test_open_resistance_alone_does_not_show_that_the_switch_closes():
    state = derive(make_check(SPRING, switch_found=switch(open_ohm=1e7)))

    assert (state.switch_seen_on, state.switch_new_on) == (None, None)


def test_reading_through_a_cable_of_unknown_resistance_shows_only_that_the_switch_closes():
    at_logger = switch(measured_at=MeasuredAt.LOGGER)

    state = derive(make_check(SPRING, switch_found=at_logger))

    assert (state.switch_seen_on, state.switch_ohm) == (SPRING, None)


def test_blockage_belongs_to_the_site_and_drift_to_the_instrument():
    predecessor = make_check(
        date(2022, 6, 1), left=(30, 30), blocked_found=True, same_instrument=False, serial="00001"
    )
    before = make_check(date(2022, 1, 1), left=(40, 40), same_instrument=False, serial="00001")
    elsewhere = make_check(date(2022, 7, 1), left=(40, 40), blocked_found=True, same_site=False)

    state = derive(before, predecessor, elsewhere, make_check(AUTUMN, found=(38, 38)))

    assert state.blockage_refs == ("V20220601",)
    (change,) = state.drift
    assert change.years == pytest.approx((AUTUMN - date(2022, 7, 1)).days / 365.25)
    assert change.amount == pytest.approx(-4.375 - 1.25)


def test_service_of_the_predecessor_is_not_that_of_the_gauge():
    state = derive(make_check(date(2022, 6, 1), left=(40, 40), same_instrument=False))

    assert (state.last_service_on, state.services, state.last_as_left) == (None, 0, None)
    assert state.serviced_or_installed_on == date(2023, 1, 1)


def test_service_at_an_earlier_site_is_not_that_of_the_gauge():
    state = derive(make_check(date(2022, 6, 1), left=(40, 40), same_site=False))

    assert (state.last_service_on, state.last_as_left) == (None, None)
    assert state.level_percent == pytest.approx(1.25)


def test_failed_attempt_is_counted_and_changes_nothing_else():
    served = derive(make_check(SPRING, left=(40, 40)))

    state = advance(advance(served, failed_attempt(AUTUMN)), failed_attempt(WINTER))

    assert state.attempts_since_service == 2
    assert (state.last_visit_on, state.last_visit_ref) == (WINTER, "V20250101")
    assert (
        replace(state, attempts_since_service=0, last_visit_on=SPRING, last_visit_ref="V20240101")
        == served
    )


def test_service_ends_the_count_of_failed_attempts():
    state = derive(failed_attempt(SPRING), make_check(AUTUMN, left=(40, 40)))

    assert (state.attempts_since_service, state.services) == (0, 1)


def test_partly_done_visit_with_a_check_counts_as_a_check():
    state = derive(make_check(SPRING, left=(40, 40), outcome=VisitOutcome.PARTLY_DONE))

    assert (state.last_service_on, state.level_on) == (SPRING, SPRING)


@pytest.mark.parametrize(
    ("changes", "left_disconnected"),
    [
        ({"left": (40, 40), "restoration_proven": None}, True),
        ({"left": (40, 40), "restoration_proven": False}, True),
        ({"left": (40, 40), "restoration_proven": True}, False),
        ({"isolated": True, "restoration_proven": None}, True),
        ({"isolated": False, "restoration_proven": None}, False),
        ({"isolated": False, "restoration_proven": False}, True),
    ],
)
def test_gauge_is_left_disconnected_unless_reconnection_is_proven(changes, left_disconnected):
    state = derive(make_check(SPRING, **changes))

    assert state.left_disconnected is left_disconnected
    assert state.disconnected_ref == ("V20240101" if left_disconnected else None)


def test_gauge_stays_disconnected_until_somebody_proves_otherwise():
    left = make_check(SPRING, left=(40, 40), restoration_proven=None)
    looked = make_check(AUTUMN, cleaned=False, isolated=False, restoration_proven=None)
    proved = make_check(WINTER, cleaned=False, isolated=False)

    assert derive(left, looked).left_disconnected
    assert derive(left, looked).disconnected_ref == "V20240101"
    assert not derive(left, failed_attempt(AUTUMN), proved).left_disconnected
    assert derive(left, failed_attempt(AUTUMN)).left_disconnected


def test_switch_growth_is_the_change_of_log_resistance():
    state = derive(
        make_check(SPRING, switch_left=switch("as_left", closed_ohm=0.2)),
        make_check(AUTUMN, switch_found=switch(closed_ohm=0.4)),
    )

    (change,) = state.switch_growth
    assert change.amount == pytest.approx(log(2))
    assert change.years == pytest.approx(HALF_YEAR)
    # a meter reading is taken to be good to 5 % (from memory of meter data sheets)
    assert change.variance == pytest.approx(2 * 0.05**2)
    assert (state.switch_ohm, state.switch_ohm_on) == (0.4, AUTUMN)


def test_replaced_switch_starts_a_new_level_but_keeps_the_history():
    state = derive(
        make_check(SPRING, switch_found=switch(closed_ohm=1.0)),
        make_check(
            AUTUMN,
            switch_found=switch(closed_ohm=4.0),
            switch_left=switch("as_left", closed_ohm=0.1),
        ),
        make_check(WINTER, switch_found=switch(closed_ohm=0.2)),
    )

    assert [change.amount for change in state.switch_growth] == pytest.approx([log(4), log(2)])
    assert state.switch_ohm == 0.2


@pytest.mark.parametrize("dead", [{"no_closure": True}, {"manual_tips": 7}, {"manual_tips": 11}])
def test_dead_switch_is_a_death_once_and_no_growth(dead):
    state = derive(
        make_check(SPRING, switch_found=switch(closed_ohm=1.0)),
        make_check(AUTUMN, switch_found=switch(closed_ohm=2.0, **dead)),
        make_check(WINTER, switch_found=switch(**dead)),
    )

    assert state.switch_death_refs == ("V20240701",)
    assert state.switch_left_dead
    assert state.switch_growth == ()
    assert state.switch_ohm == 1.0
    assert state.switch_years == pytest.approx(HALF_YEAR / 2)


def test_mended_switch_is_not_left_dead():
    state = derive(
        make_check(
            SPRING,
            switch_found=switch(no_closure=True),
            switch_left=switch("as_left", closed_ohm=0.1),
        )
    )

    assert (state.switch_left_dead, state.switch_ohm, state.switch_new_on) == (False, 0.1, SPRING)


def test_log_ohm_is_floored_at_the_meters_last_digit():
    assert log_ohm(0.0) == log_ohm(0.01) == pytest.approx(log(0.02))
    assert log_ohm(3.0) == pytest.approx(log(3.0))


def test_two_visits_on_one_day_make_no_change():
    state = derive(make_check(SPRING, left=(40, 40)), make_check(SPRING, found=(38, 38)))

    assert state.drift == ()


TIPS = st.lists(st.integers(30, 50), min_size=1, max_size=3)
READINGS = st.builds(
    SwitchReadings,
    phase=st.just(Phase.AS_FOUND),
    closed_ohm=st.none() | st.floats(0, 20),
    no_closure=st.booleans(),
    manual_tips=st.none() | st.integers(8, 10),
)
RECORDS = st.builds(
    make_check,
    st.dates(date(2021, 1, 1), date(2025, 1, 1)),
    outcome=st.sampled_from(VisitOutcome),
    checked=st.booleans(),
    same_instrument=st.booleans(),
    same_site=st.booleans(),
    cleaned=st.booleans(),
    adjusted=st.booleans(),
    restoration_proven=st.none() | st.booleans(),
    blocked_found=st.booleans(),
    blocked_left=st.booleans(),
    partly_found=st.booleans(),
    purpose=st.sampled_from(VisitPurpose),
    as_found=st.none() | TIPS.map(lambda tips: make_runs("as_found", *tips)),
    as_left=st.none() | TIPS.map(lambda tips: make_runs("as_left", *tips)),
    switch_found=st.none() | READINGS,
    switch_left=st.none() | READINGS,
)
HISTORIES = st.lists(RECORDS, max_size=8).map(
    lambda records: tuple(sorted(records, key=lambda record: record.visited_on))
)


@given(records=HISTORIES, cut=st.integers(0, 8))
def test_state_kept_up_visit_by_visit_equals_the_state_derived_afresh(records, cut):
    early = derive(*records[:cut])

    assert reduce(advance, records[cut:], early) == derive(*records)


@given(records=HISTORIES)
def test_state_counts_no_time_twice_and_no_event_without_exposure(records):
    state = derive(*records)
    span_years = (date(2025, 1, 1) - date(2021, 1, 1)).days / 365.25

    assert 0 <= state.blockage_years <= span_years
    assert 0 <= state.switch_years <= span_years
    watches = (*state.blockage_watches, *state.switch_watches)
    assert all(watch.new_on <= watch.well_on <= watch.seen_on for watch in watches)
    assert all(watch.well_on < watch.seen_on or watch.sign is Sign.STRUCK for watch in watches)
    assert sum(change.years for change in state.drift) <= span_years + 1e-9
    assert all(change.years > 0 and change.variance > 0 for change in state.drift)
    assert (state.level_percent is None) == (state.level_on is None)


@given(records=HISTORIES, days=st.integers(1, 1000))
def test_state_depends_on_spans_and_not_on_the_calendar(records, days):
    def moved(record):
        return replace(record, visited_on=record.visited_on + timedelta(days))

    def found_later(change):
        return replace(change, found_on=change.found_on + timedelta(days))

    later = replace(GAUGE, installed_on=GAUGE.installed_on + timedelta(days))
    here, there = derive(*records), derive(*map(moved, records), gauge=later)

    assert there.drift == tuple(map(found_later, here.drift))
    assert there.switch_growth == tuple(map(found_later, here.switch_growth))
    assert there.blockage_years == pytest.approx(here.blockage_years)
    assert there.level_percent == here.level_percent


def test_switch_mended_without_a_reading_has_no_known_resistance():
    weak = make_check(date(2024, 1, 10), switch_left=SwitchReadings(Phase.AS_LEFT, 2.0))
    mended = make_check(
        date(2024, 7, 10),
        switch_found=SwitchReadings(Phase.AS_FOUND, no_closure=True),
        switch_left=SwitchReadings(Phase.AS_LEFT, manual_tips=10),
    )

    state = derive_state(GaugeHistory(make_gauge(), (weak, mended)))

    assert (state.switch_ohm, state.switch_ohm_on, state.switch_left_dead) == (None, None, False)


def test_blockage_left_stays_until_a_service():
    left = make_check(date(2024, 1, 10), blocked_found=True, blocked_left=True)
    look = make_check(date(2024, 2, 10), cleaned=False)
    service = make_check(date(2024, 3, 10))

    looked = derive_state(GaugeHistory(make_gauge(), (left, look)))
    serviced = derive_state(GaugeHistory(make_gauge(), (left, look, service)))

    assert (looked.left_blocked, serviced.left_blocked) == (True, False)

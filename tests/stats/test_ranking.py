"""The ranking against a slow recomputation (slow_ranking.py), and what must not change it."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.domain.state import GaugeState
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.ranking import rank_states
from tests.factories import make_gauge
from tests.stats.fleet_factory import AS_OF, AUTUMN, POLICY, drifting_by, make_fleet, with_gauge
from tests.stats.slow_ranking import slow_worth

FLEET = make_fleet(40, seed=12)
MODEL = fit_fleet(FLEET)
KNOWN = next(
    state
    for state in FLEET
    if state.level_percent is not None
    and not (state.left_blocked or state.left_disconnected or state.switch_left_dead)
)


def rank(states, *, policy=POLICY, model=MODEL, as_of=AS_OF, **options):
    return rank_states(states, [policy] * len(states), model, as_of=as_of, **options)


def forecast(state, **options):
    (row,) = rank([state], **options)
    return row


def test_ranking_agrees_with_the_slow_recomputation():
    sound = [row for row in rank(FLEET) if row.drift.doubted + row.resistance.doubted == 0]
    facts = {"blocked": 0, "dead": 0, "off": 0, "unknown": 0}

    for row in sound:
        state = row.state
        now, p, worth = slow_worth(state, POLICY, row.model, as_of=AS_OF, horizon_days=365)
        assert row.p_drift == pytest.approx(1 - (1 - now["drift"]) * (1 - now["knock"]), abs=1e-9)
        assert row.p_blockage == pytest.approx(now["blockage"], abs=1e-9)
        assert row.p_switch == pytest.approx(1 - (1 - now["worn"]) * (1 - now["dead"]), abs=1e-9)
        assert row.p_disconnection == pytest.approx(now["disconnection"], abs=1e-12)
        assert row.p == pytest.approx(p, abs=1e-9)
        assert row.worth_record_days == pytest.approx(worth, rel=1e-4, abs=2e-3)
        facts["blocked"] += state.left_blocked
        facts["dead"] += state.switch_left_dead
        facts["off"] += state.left_disconnected
        facts["unknown"] += state.level_percent is None

    assert len(sound) > 30
    assert min(facts.values()) > 0


def test_ranking_agrees_with_the_slow_recomputation_where_drift_goes_by_season():
    model, flat = drifting_by(MODEL, AUTUMN), {row.state: row for row in rank(FLEET)}
    moved = 0

    for row in rank(FLEET, model=model):
        if row.drift.doubted + row.resistance.doubted == 0:
            now, p, worth = slow_worth(row.state, POLICY, row.model, as_of=AS_OF, horizon_days=365)
            level = 1 - (1 - now["drift"]) * (1 - now["knock"])
            assert row.p_drift == pytest.approx(level, abs=1e-9)
            assert row.p == pytest.approx(p, abs=1e-9)
            assert row.worth_record_days == pytest.approx(worth, rel=1e-3, abs=0.02)
            moved += abs(row.p_drift - flat[row.state].p_drift) > 0.005

    assert moved > 5


def test_ranking_agrees_with_the_slow_recomputation_under_another_policy():
    policy = replace(
        POLICY, as_found_low_tips=58, as_found_high_tips=61, closed_field_limit_ohm=0.6
    )

    for row in rank(FLEET, policy=policy, horizon_days=200):
        if row.drift.doubted + row.resistance.doubted == 0:
            _, p, worth = slow_worth(row.state, policy, row.model, as_of=AS_OF, horizon_days=200)
            assert row.p == pytest.approx(p, abs=1e-9)
            assert row.worth_record_days == pytest.approx(worth, rel=1e-4, abs=2e-3)


def test_ranking_puts_the_highest_worth_first_and_counts_from_one():
    rows = rank(FLEET)
    totals = [row.total_record_days for row in rows]

    assert totals == sorted(totals, reverse=True)
    assert [row.rank for row in rows] == list(range(1, 41))


def test_ranking_orders_equals_by_site_then_position_then_serial():
    twins = [
        with_gauge(KNOWN, site_code=site, position=position, serial=serial)
        for site, position, serial in [
            ("S2", "a", "1"),
            ("S1", "b", "1"),
            ("S1", "a", "2"),
            ("S1", "a", "1"),
        ]
    ]

    keys = [
        (r.state.gauge.site_code, r.state.gauge.position, r.state.gauge.serial) for r in rank(twins)
    ]

    assert keys == [("S1", "a", "1"), ("S1", "a", "2"), ("S1", "b", "1"), ("S2", "a", "1")]


def test_ranking_of_nothing_is_empty():
    assert rank([]) == ()
    assert rank([], model=fit_fleet([])) == ()


def test_ranking_refuses_what_cannot_be():
    with pytest.raises(ValueError, match="1 states but 2 policies"):
        rank_states([KNOWN], [POLICY, POLICY], MODEL, as_of=AS_OF)
    with pytest.raises(ValueError, match="horizon_days 0"):
        rank([KNOWN], horizon_days=0)
    with pytest.raises(ValueError, match=r"S\d+ main: its state knows of .*, after 2022-01-01"):
        rank([KNOWN], as_of=date(2022, 1, 1))


def test_gauge_never_seen_is_ranked_from_its_type_and_its_installation():
    state = GaugeState(make_gauge(installed_on=AS_OF - timedelta(400), type_code="TB0"))

    row = forecast(state)

    assert (row.age_days, row.days_overdue) == (400, 220)
    assert not row.drift.known
    assert (row.drift.age_days, row.drift.start) == (400, MODEL.of("TB0").as_left.mean)
    assert (row.resistance.age_days, row.blockage.age_days, row.deaths.age_days) == (400,) * 3
    assert 0 < row.p < 1
    assert row.worth_record_days > 0


@pytest.mark.parametrize(
    ("fact", "cause", "share"),
    [
        ("left_blocked", "p_blockage", "age_share"),
        ("left_disconnected", "p_disconnection", "age_share"),
        ("switch_left_dead", "p_switch", "switch_share"),
    ],
)
def test_known_fault_makes_the_gauge_unfit_for_certain(fact, cause, share):
    row = forecast(replace(KNOWN, **{fact: True}))

    assert row.p == pytest.approx(1.0, abs=2e-9)
    assert getattr(row, cause) == pytest.approx(1.0, abs=2e-9)
    assert getattr(row, share) > 0.9
    assert row.worth_record_days > forecast(KNOWN).worth_record_days


def test_gauge_left_out_of_tolerance_does_not_heal_by_waiting():
    bad = replace(KNOWN, level_percent=-9.0, level_variance=0.04, level_on=AS_OF - timedelta(300))
    back = replace(bad, drift=tuple(replace(c, amount=9 * c.years) for c in KNOWN.drift) * 5)

    assert forecast(back).drift.now > -9.0
    assert forecast(back).p_drift == pytest.approx(1.0, abs=1e-6)


def test_weak_switch_is_worth_less_than_a_dead_one_and_more_than_a_good_one():
    def worth(ohm, **changes):
        seen = {"switch_ohm": ohm, "switch_ohm_on": AS_OF - timedelta(100)}
        return forecast(replace(KNOWN, **seen, **changes)).worth_record_days

    assert worth(0.2) < worth(6.0)
    assert worth(4.5, switch_left_dead=True) > worth(4.5)


def test_service_keeps_the_resistance_but_replaces_a_failing_switch():
    seen_on = AS_OF - timedelta(10)

    def after(ohm):
        row = forecast(replace(KNOWN, switch_ohm=ohm, switch_ohm_on=seen_on))
        return row.p_at_horizon

    # worn, not yet failing: the service does not better it; failing for sure: a new switch does
    assert after(4.0) > after(0.2) + 0.1
    assert after(40.0) < after(4.0)


def test_rank_row_holds_the_numbers_it_rests_on():
    row = forecast(KNOWN, policy=replace(POLICY, compliance_record_days=0.5))
    model = MODEL.of(KNOWN.gauge.type_code)

    assert row.model == model
    assert row.age_days == (AS_OF - KNOWN.last_service_on).days
    assert (row.interval_days, row.days_overdue) == (180, max(0, row.age_days - 180))
    assert row.compliance_record_days == pytest.approx(0.5 * row.days_overdue)
    assert row.total_record_days == row.worth_record_days + row.compliance_record_days
    assert row.nominal_tips == pytest.approx(150.0)
    assert (row.drift.known, row.drift.start) == (True, KNOWN.level_percent)
    assert row.drift.start_sd == pytest.approx(KNOWN.level_variance**0.5)
    years = row.drift.age_days / 365.25
    assert row.drift.now == pytest.approx(row.drift.start + row.drift.rate_per_year * years)
    assert row.drift.now_sd == pytest.approx(
        (KNOWN.level_variance + row.drift.rate_sd**2 * years**2 + model.drift.walk_sd**2 * years)
        ** 0.5
    )
    assert (row.drift.low, row.drift.high) == (-5.0, 5.0)
    assert row.resistance.high == pytest.approx(log(5.0))
    assert row.blockage.per_year == pytest.approx(row.blockage.shape / row.blockage.scale_years)
    assert row.blockage.shape == pytest.approx(model.blockage.shape + len(KNOWN.blockage_refs))
    assert row.p_after_service <= row.p_at_horizon
    assert row.horizon_days == 365


def test_doubted_changes_are_counted():
    state = next(s for s in FLEET if len(s.drift) >= 4)
    first, *rest = state.drift

    assert forecast(replace(state, drift=(replace(first, amount=80.0), *rest))).drift.doubted == 1
    assert forecast(state).drift.doubted == 0


def test_compliance_is_all_the_ages_share():
    overdue = replace(KNOWN, last_service_on=AS_OF - timedelta(1180))

    plain = forecast(overdue)
    priced = forecast(overdue, policy=replace(POLICY, compliance_record_days=2.0))

    assert priced.compliance_record_days == 2000.0
    assert priced.worth_record_days == plain.worth_record_days
    total = plain.worth_record_days + 2000.0
    assert priced.drift_share * total == pytest.approx(plain.drift_share * plain.worth_record_days)
    assert priced.age_share > plain.age_share


@settings(max_examples=50, deadline=None)
@given(index=st.integers(0, 39), factor=st.sampled_from([0.5, 2.0, 3.0]))
def test_worth_is_proportional_to_importance(index, factor):
    state = FLEET[index]
    heavier = with_gauge(state, importance=factor * state.gauge.importance)

    assert forecast(heavier).worth_record_days == pytest.approx(
        factor * forecast(state).worth_record_days
    )
    assert forecast(heavier).p == forecast(state).p


@settings(max_examples=50, deadline=None)
@given(index=st.integers(0, 39), days=st.lists(st.integers(0, 900), min_size=2, max_size=4))
def test_longer_age_never_lowers_p(index, days):
    rows = [forecast(FLEET[index], as_of=AS_OF + timedelta(day)) for day in sorted(days)]

    for cause in ("p_drift", "p_blockage", "p_switch", "p", "days_overdue"):
        values = [getattr(row, cause) for row in rows]
        assert all(b >= a - 1e-12 for a, b in pairwise(values)), cause


@settings(max_examples=50, deadline=None)
@given(index=st.integers(0, 39), horizon=st.integers(1, 900))
def test_rows_keep_their_bounds(index, horizon):
    row = forecast(FLEET[index], horizon_days=horizon)

    assert 0 <= row.p < 1
    assert 0 <= row.worth_record_days <= row.state.gauge.importance * horizon * row.p + 1e-9
    assert max(row.p_drift, row.p_blockage, row.p_switch, row.p_disconnection) <= row.p + 1e-12
    shares = (row.age_share, row.drift_share, row.switch_share)
    assert sum(shares) == pytest.approx(1.0)
    assert all(-1e-12 <= share <= 1 + 1e-12 for share in shares)


@settings(max_examples=15, deadline=None)
@given(order=st.permutations(range(40)))
def test_ranking_does_not_depend_on_the_order_of_the_gauges(order):
    shuffled = [FLEET[i] for i in order]

    assert fit_fleet(shuffled) == MODEL
    rows, again = rank(FLEET), rank(shuffled)
    assert [row.state.gauge for row in again] == [row.state.gauge for row in rows]
    assert [row.total_record_days for row in again] == pytest.approx(
        [row.total_record_days for row in rows], rel=1e-12
    )


@settings(max_examples=50, deadline=None)
@given(index=st.integers(0, 39))
def test_filtered_list_ranks_as_the_whole_does(index):
    whole = {row.state.gauge.site_code: row for row in rank(FLEET)}
    state = FLEET[index]

    assert forecast(state).worth_record_days == pytest.approx(
        whole[state.gauge.site_code].worth_record_days, rel=1e-12
    )


@settings(max_examples=15, deadline=None)
@given(names=st.lists(st.text("0123456789ABC-", min_size=1, max_size=8), min_size=39, max_size=39))
def test_worth_does_not_depend_on_the_serials_of_other_gauges(names):
    renamed = [FLEET[0]] + [
        with_gauge(state, serial=name) for state, name in zip(FLEET[1:], names, strict=True)
    ]

    rows = {row.state.gauge.site_code: row for row in rank(renamed, model=fit_fleet(renamed))}

    assert rows["S000"].worth_record_days == forecast(FLEET[0]).worth_record_days


def test_ranking_is_the_same_to_the_last_bit_each_time():
    assert rank(FLEET) == rank(FLEET)


def test_tighter_tolerance_never_lowers_p_drift():
    loose, tight = rank(FLEET), rank(FLEET, policy=replace(POLICY, as_found_tolerance_percent=3.0))
    by_site = {row.state.gauge.site_code: row.p_drift for row in tight}

    assert all(by_site[row.state.gauge.site_code] >= row.p_drift for row in loose)
    assert np.mean(list(by_site.values())) > np.mean([row.p_drift for row in loose])


def test_level_measured_without_a_service_counts_from_its_own_day():
    looked_on = AS_OF - timedelta(20)
    state = replace(
        KNOWN, last_service_on=AS_OF - timedelta(300), level_on=looked_on, last_visit_on=looked_on
    )

    row = forecast(state)
    _, p, worth = slow_worth(state, POLICY, row.model, as_of=AS_OF, horizon_days=365)

    assert (row.age_days, row.drift.age_days) == (300, 20)
    assert row.p == pytest.approx(p, abs=1e-9)
    assert row.worth_record_days == pytest.approx(worth, rel=1e-4, abs=2e-3)


def test_gauge_within_its_interval_is_not_overdue():
    fresh = replace(KNOWN, last_service_on=AS_OF - timedelta(179))

    row = forecast(fresh, policy=replace(POLICY, compliance_record_days=2.0))

    assert (row.age_days, row.days_overdue, row.compliance_record_days) == (179, 0, 0.0)


def test_ranking_counts_what_the_policy_adds_for_being_overdue():
    overdue = replace(
        with_gauge(KNOWN, site_code="S900", importance=0.01),
        last_service_on=AS_OF - timedelta(1180),
    )
    due = replace(with_gauge(KNOWN, site_code="S901"), last_service_on=AS_OF - timedelta(100))
    priced = replace(POLICY, compliance_record_days=2.0)

    plain, paid = rank([overdue, due]), rank([overdue, due], policy=priced)

    assert [row.state.gauge.site_code for row in plain] == ["S901", "S900"]
    assert [row.state.gauge.site_code for row in paid] == ["S900", "S901"]

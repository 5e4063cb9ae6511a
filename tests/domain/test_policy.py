"""The policy in force, resolved from dated rows by scope; expected values by hand."""

from dataclasses import replace
from datetime import date
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.code import DecisionRule, PolicyScope
from fleet.domain.policy import Policy, PolicyBook, PolicyRow, PolicyTerms
from fleet.errors import ConflictError

COMPLETE = PolicyTerms(
    service_interval_days=180,
    as_found_tolerance_percent=5.0,
    as_left_tolerance_percent=3.0,
    reject_limit_percent=10.0,
    minimum_as_found_runs=2,
    minimum_as_left_runs=2,
    closed_field_limit_ohm=5.0,
    closed_workshop_limit_ohm=1.0,
    open_limit_ohm=1e6,
    decision_rule=DecisionRule.SIMPLE,
    target_reliability=0.9,
    compliance_record_days=0.0,
)
NETWORK = PolicyRow(PolicyScope.NETWORK, "", date(2020, 1, 1), COMPLETE, "network rule")
TYPE = PolicyRow(
    PolicyScope.TYPE,
    "TB05",
    date(2021, 1, 1),
    PolicyTerms(as_found_tolerance_percent=7.5, service_interval_days=240),
    "type rule",
)
SITE = PolicyRow(
    PolicyScope.SITE, "S01", date(2022, 1, 1), PolicyTerms(service_interval_days=90), "site rule"
)


def ask(*rows, on=date(2025, 6, 2), type_code="TB05", site_code="S01"):
    return PolicyBook(rows).in_force(type_code=type_code, site_code=site_code, on=on)


@pytest.mark.parametrize("rows", list(permutations((NETWORK, TYPE, SITE))))
def test_policy_takes_each_term_from_the_narrowest_scope(rows):
    policy = ask(*rows)

    assert policy.service_interval_days == 90
    assert policy.as_found_tolerance_percent == 7.5
    assert policy.as_left_tolerance_percent == 3.0


@pytest.mark.parametrize(
    ("on", "interval_days", "tolerance"),
    [
        (date(2020, 1, 1), 180, 5.0),
        (date(2020, 12, 31), 180, 5.0),
        (date(2021, 1, 1), 240, 7.5),
        (date(2021, 12, 31), 240, 7.5),
        (date(2022, 1, 1), 90, 7.5),
    ],
)
def test_policy_starts_on_its_day_and_not_before(on, interval_days, tolerance):
    policy = ask(NETWORK, TYPE, SITE, on=on)

    assert policy.service_interval_days == interval_days
    assert policy.as_found_tolerance_percent == tolerance


def test_policy_of_another_type_or_site_is_not_seen():
    assert ask(NETWORK, TYPE, SITE, type_code="TB02", site_code="S02") == replace(
        ask(NETWORK), basis="network from 2020-01-01: network rule"
    )


def test_policy_row_replaces_the_older_row_of_its_scope_altogether():
    newer = PolicyRow(
        PolicyScope.TYPE, "TB05", date(2023, 1, 1), PolicyTerms(reject_limit_percent=15.0), "new"
    )

    policy = ask(NETWORK, TYPE, newer)

    assert policy.reject_limit_percent == 15.0
    assert policy.as_found_tolerance_percent == 5.0
    assert policy.service_interval_days == 180


def test_policy_tells_the_basis_of_every_row_used():
    assert ask(NETWORK, TYPE, SITE).basis == (
        "network from 2020-01-01: network rule; type from 2021-01-01: type rule; "
        "site from 2022-01-01: site rule"
    )


def test_policy_lets_explicit_bands_stay_unset():
    policy = ask(NETWORK)

    assert isinstance(policy, Policy)
    assert (policy.as_found_low_tips, policy.as_left_high_tips) == (None, None)


def test_policy_refuses_a_day_on_which_a_needed_term_is_missing():
    with pytest.raises(
        ConflictError, match=r"on 2019-12-31 sets service_interval_days, .*compliance_record_days"
    ):
        ask(NETWORK, TYPE, SITE, on=date(2019, 12, 31))
    with pytest.raises(ConflictError, match=r"sets decision_rule\. Add a network-wide policy row"):
        ask(replace(NETWORK, terms=replace(COMPLETE, decision_rule=None)))


def test_policy_keeps_a_term_set_to_zero():
    site = replace(SITE, terms=PolicyTerms(compliance_record_days=0.0))
    network = replace(NETWORK, terms=replace(COMPLETE, compliance_record_days=2.0))

    assert ask(network, site).compliance_record_days == 0.0


@given(
    starts=st.lists(st.dates(date(2020, 1, 1), date(2025, 1, 1)), unique=True, min_size=1),
    on=st.dates(date(2020, 1, 1), date(2026, 1, 1)),
)
def test_policy_in_force_is_the_latest_that_has_started(starts, on):
    rows = [
        PolicyRow(
            PolicyScope.TYPE, "TB05", day, PolicyTerms(service_interval_days=i + 1), f"row {i}"
        )
        for i, day in enumerate(starts)
    ]
    started = [(day, i + 1) for i, day in enumerate(starts) if day <= on]
    expected = max(started)[1] if started else 180

    assert ask(NETWORK, *rows, on=on).service_interval_days == expected


def test_network_row_that_leaves_terms_blank_inherits_them_from_the_row_before():
    newer = PolicyRow(
        PolicyScope.NETWORK,
        "",
        date(2024, 1, 1),
        PolicyTerms(service_interval_days=120),
        "shorter interval",
    )

    policy = ask(NETWORK, newer)
    before = ask(NETWORK, newer, on=date(2023, 12, 31))

    assert (policy.service_interval_days, policy.as_found_tolerance_percent) == (120, 5.0)
    assert policy.basis == (
        "network from 2020-01-01: network rule; network from 2024-01-01: shorter interval"
    )
    assert (before.service_interval_days, before.basis) == (
        180,
        "network from 2020-01-01: network rule",
    )


def test_network_row_that_is_complete_stands_alone():
    newer = replace(NETWORK, valid_from=date(2024, 1, 1), basis="all anew")

    assert ask(NETWORK, newer).basis == "network from 2024-01-01: all anew"


def test_tip_band_of_the_network_is_not_inherited_by_a_row_without_one():
    banded = replace(NETWORK, terms=replace(COMPLETE, as_found_low_tips=37))
    newer = PolicyRow(
        PolicyScope.NETWORK, "", date(2024, 1, 1), PolicyTerms(service_interval_days=120), "short"
    )

    assert ask(banded).as_found_low_tips == 37
    assert ask(banded, newer).as_found_low_tips is None


def test_later_row_of_a_type_takes_the_place_of_the_earlier_one():
    newer = PolicyRow(
        PolicyScope.TYPE,
        "TB05",
        date(2024, 1, 1),
        PolicyTerms(service_interval_days=200),
        "newer type rule",
    )

    policy = ask(NETWORK, TYPE, newer)

    assert (policy.service_interval_days, policy.as_found_tolerance_percent) == (200, 5.0)

"""Policies as columns: each gauge has the terms, and the limits, of its own."""

from dataclasses import replace
from datetime import date

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.check import limits_percent
from fleet.domain.code import Phase, PolicyScope
from fleet.domain.policy import PolicyBook, PolicyRow, PolicyTerms
from fleet.domain.state import log_ohm
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.gauge_column import columns_of
from fleet.stats.policy_column import policies_in_force, policy_columns
from tests.stats.fleet_factory import AS_OF, POLICY, make_fleet

BANDS = [
    POLICY,
    replace(POLICY, as_found_low_tips=58, as_found_high_tips=61, closed_field_limit_ohm=0.6),
    replace(POLICY, as_found_low_tips=37, as_found_tolerance_percent=7.5),
]


@given(st.lists(st.tuples(st.sampled_from(BANDS), st.floats(5.0, 500.0)), min_size=1, max_size=8))
def test_limits_are_those_of_the_domain_to_the_last_bit(pairs) -> None:
    columns = policy_columns([policy for policy, _ in pairs])
    nominal = np.array([tips for _, tips in pairs])

    low, high = columns.as_found_limits(nominal)

    for place, (policy, tips) in enumerate(pairs):
        expected = limits_percent(policy, Phase.AS_FOUND, nominal_tips=tips)
        assert (low[place], high[place]) == expected
        assert columns.of(place) == policy
    ohm = [log_ohm(policy.closed_field_limit_ohm) for policy, _ in pairs]
    assert columns.closed_limit_log_ohm().tolist() == ohm


def _row(scope: PolicyScope, code: str, **terms: object) -> PolicyRow:
    return PolicyRow(scope, code, date(2020, 1, 1), PolicyTerms(**terms), "test")


def test_policies_in_force_are_those_of_each_gauges_type_and_site() -> None:
    names = PolicyTerms.__dataclass_fields__
    network = {name: getattr(POLICY, name) for name in names}
    book = PolicyBook(
        [
            _row(PolicyScope.NETWORK, "", **network),
            _row(PolicyScope.TYPE, "TB1", service_interval_days=90),
            _row(PolicyScope.SITE, "S004", service_interval_days=30),
            _row(PolicyScope.SITE, "S007", as_found_tolerance_percent=2.0),
            _row(PolicyScope.SITE, "ELSEWHERE", service_interval_days=7),
        ]
    )
    states = make_fleet(20, seed=3)
    columns = columns_of(states, fit_fleet(states))

    found = policies_in_force(book, columns, on=AS_OF)

    for place, state in enumerate(states):
        gauge = state.gauge
        own = book.in_force(type_code=gauge.type_code, site_code=gauge.site_code, on=AS_OF)
        assert found.of(place) == own
    assert found.numbers("service_interval_days")[4] == 30.0
    assert found.numbers("service_interval_days")[7] == 90.0
    assert len(found.policies) == 4  # two types, and the two sites with rows of their own

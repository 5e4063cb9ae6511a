"""What a check found, cause by cause (first principles: 800 mL make 40 tips of 20 mL)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fleet.domain.audit.evidence import AuditedGauge
from fleet.domain.code import Phase, VisitOutcome
from fleet.domain.found import Found, aged_findings, found_of
from fleet.domain.history import GaugeHistory, SwitchReadings
from tests.factories import make_check, make_gauge
from tests.stats.fleet_factory import POLICY

GAUGE = make_gauge(installed_on=date(2023, 1, 1))
DAY = date(2024, 3, 1)


def found(**changes: object) -> Found:
    return found_of(make_check(DAY, **changes), GAUGE, POLICY)


def switch(**values: object) -> SwitchReadings:
    return SwitchReadings(Phase.AS_FOUND, **values)  # type: ignore[arg-type]


def test_passed_test_is_fit_and_gives_the_share_of_the_tolerance():
    seen = found(found=(39, 39))  # 78 of 80 is -2.5 %, half of 5 %

    assert (seen.drift, seen.blockage, seen.switch, seen.unfit) == (False, False, None, False)
    assert seen.limit_share == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("tips", "share"),
    [((37, 37), 1.5), ((43, 43), 1.5), ((30, 30), 5.0)],  # -7.5, +7.5 and -25 % of 5 %
)
def test_failed_and_rejected_tests_are_drift(tips, share):
    seen = found(found=tips)

    assert (seen.drift, seen.unfit) == (True, True)
    assert seen.limit_share == pytest.approx(share)


def test_explicit_band_is_the_limit_on_its_own_side():
    policy = replace(POLICY, as_found_low_tips=37, as_found_high_tips=41)

    low = found_of(make_check(DAY, found=(38, 38)), GAUGE, policy)
    high = found_of(make_check(DAY, found=(42, 42)), GAUGE, policy)

    assert (low.drift, low.limit_share) == (False, pytest.approx(2 / 3))  # -2 of -3 tips
    assert (high.drift, high.limit_share) == (True, pytest.approx(2.0))  # +2 of +1 tip


def test_no_tolerance_at_all_is_passed_by_no_error_alone():
    policy = replace(POLICY, as_found_tolerance_percent=0.0)

    assert found_of(make_check(DAY, found=(40, 40)), GAUGE, policy).limit_share == 0.0
    assert found_of(make_check(DAY, found=(39, 39)), GAUGE, policy).limit_share == float("inf")


def test_one_run_where_two_are_asked_is_neither_fit_nor_unfit():
    seen = found(found=(40,))

    assert (seen.drift, seen.unfit) == (None, None)


def test_nothing_measured_is_neither_fit_nor_unfit():
    assert found() == Found(None, False, None)
    assert found().unfit is None


def test_good_switch_without_a_test_is_not_fit():
    assert found(switch_found=switch(closed_ohm=0.4)) == Found(None, False, False)
    assert found(switch_found=switch(closed_ohm=0.4)).unfit is None


def test_blocked_gauge_is_unfit_and_its_tips_tell_nothing_of_drift():
    seen = found(found=(20, 12), blocked_found=True)

    assert seen == Found(None, True, None)
    assert seen.unfit is True


@pytest.mark.parametrize(
    "readings",
    [{"no_closure": True}, {"manual_tips": 7}, {"closed_ohm": 5.1}, {"open_ohm": 1e5}],
    ids=str,
)
def test_failed_switch_is_unfit_and_its_tips_tell_nothing_of_drift(readings):
    seen = found(found=(20, 20), switch_found=switch(**readings))

    assert seen == Found(None, False, True)
    assert seen.unfit is True


def findings(*records, installed_on: date = date(2023, 1, 1)):
    gauge = replace(GAUGE, installed_on=installed_on)
    audited = AuditedGauge(GaugeHistory(gauge, records), "Quellmoor")
    return aged_findings(audited, lambda _: POLICY)


def test_age_counts_from_the_last_service_on_record():
    ages = [
        (finding.age_days, finding.serviced)
        for finding in findings(
            make_check(date(2024, 1, 1), left=(40, 40)),
            make_check(date(2024, 3, 1), found=(40, 40), cleaned=False),
            make_check(date(2024, 5, 1), found=(40, 40), left=(40, 40)),
            make_check(date(2024, 5, 1), found=(40, 40), cleaned=False),
        )
    ]

    # 1 January to 1 March 2024 are 60 days, to 1 May 121
    assert ages == [(None, True), (60, False), (121, True), (0, False)]


def test_installation_without_a_record_proves_no_service():
    (finding,) = findings(make_check(date(2024, 1, 1), found=(40, 40), cleaned=False))

    assert (finding.age_days, finding.serviced) == (None, False)


def test_check_on_the_day_of_installation_starts_the_age():
    day = date(2023, 1, 1)

    new, later = findings(
        make_check(day, cleaned=False), make_check(date(2023, 1, 31), found=(40, 40))
    )

    assert (new.age_days, new.serviced) == (None, True)
    assert later.age_days == 30


def test_failed_attempt_finds_nothing():
    attempt = make_check(DAY, outcome=VisitOutcome.NOT_DONE, checked=False)

    assert findings(attempt) == []


def test_each_check_is_judged_by_the_policy_it_is_asked_for():
    gauge = AuditedGauge(GaugeHistory(GAUGE, (make_check(DAY, found=(38, 38)),)), "Quellmoor")
    wide = replace(POLICY, as_found_tolerance_percent=7.5)
    asked = []

    def policy_on(day: date):
        asked.append(day)
        return wide

    (finding,) = aged_findings(gauge, policy_on)

    assert asked == [DAY]
    assert finding.found.drift is False  # -5 % of 7.5 %
    assert finding.found.limit_share == pytest.approx(2 / 3)

"""How long services lasted, between the checks that told (first principles)."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.code import VisitPurpose
from fleet.domain.found import AgedFinding, Found
from fleet.domain.spell import Spell, spells_of
from tests.factories import make_check

FIT = Found(drift=False, blockage=False, switch=None)
UNFIT = Found(drift=True, blockage=False, switch=None)
UNTOLD = Found(drift=None, blockage=False, switch=None)


def finding(
    found: Found,
    age_days: int | None,
    *,
    serviced: bool = True,
    purpose: VisitPurpose = VisitPurpose.ROUTINE,
) -> AgedFinding:
    record = make_check(date(2024, 1, 1), purpose=purpose)
    return AgedFinding(record, found, age_days, serviced)


START = finding(UNTOLD, None)


def test_gauge_found_fit_at_each_service_had_not_failed_yet():
    assert spells_of([START, finding(FIT, 180), finding(FIT, 200)]) == [
        Spell(180, None),
        Spell(200, None),
    ]


def test_gauge_found_unfit_failed_at_some_time_since_the_service():
    assert spells_of([START, finding(UNFIT, 180), finding(FIT, 90)]) == [
        Spell(0, 180),
        Spell(90, None),
    ]


def test_look_without_service_narrows_the_time_of_the_failure():
    looked = finding(FIT, 60, serviced=False)

    assert spells_of([START, looked, finding(UNFIT, 180)]) == [Spell(60, 180)]
    assert spells_of([START, looked]) == [Spell(60, None)]


def test_fault_that_called_for_a_repair_is_at_most_thirty_days_old():
    repair = VisitPurpose.REPAIR

    assert spells_of([START, finding(UNFIT, 100, purpose=repair)]) == [Spell(70, 100)]
    assert spells_of([START, finding(UNFIT, 12, purpose=repair)]) == [Spell(0, 12)]
    seen = [START, finding(FIT, 90, serviced=False), finding(UNFIT, 100, purpose=repair)]
    assert spells_of(seen) == [Spell(90, 100)]


def test_check_without_a_verdict_tells_nothing():
    assert spells_of([START, finding(UNTOLD, 180), finding(FIT, 200)]) == [Spell(200, None)]


def test_checks_before_the_first_service_on_record_tell_nothing():
    assert spells_of([finding(UNFIT, None, serviced=False), finding(FIT, None)]) == []


def test_gauge_left_unfit_starts_no_spell_until_it_is_serviced():
    checks = [
        START,
        finding(UNFIT, 100, serviced=False),
        finding(UNFIT, 150, serviced=False),
        finding(UNFIT, 170),
        finding(FIT, 80),
    ]

    assert spells_of(checks) == [Spell(0, 100), Spell(80, None)]


@pytest.mark.parametrize("again", [FIT, UNFIT])
def test_second_check_on_the_day_of_the_service_is_no_spell(again):
    assert spells_of([START, finding(again, 0, serviced=False), finding(FIT, 50)]) == [
        Spell(50, None)
    ]

"""Watches, and the call for a repair that ends one (first principles)."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.watch import Sign, Watch, ended, struck_refs, years_watched

NEW, WELL, SEEN = date(2024, 1, 1), date(2024, 3, 1), date(2024, 9, 1)


def watch(sign: Sign, *, called: bool = False, well_on: date = WELL) -> Watch:
    return Watch(NEW, well_on, SEEN, sign, "V1", called)


def test_half_of_a_watch_that_struck_counts():
    whole = 184 / 365.25

    assert watch(Sign.WELL).years == pytest.approx(whole)
    assert watch(Sign.BEGUN).years == pytest.approx(whole)
    assert watch(Sign.STRUCK).years == pytest.approx(whole / 2)
    assert years_watched([watch(Sign.WELL), watch(Sign.STRUCK)]) == pytest.approx(1.5 * whole)


def test_visits_that_found_it_struck_are_named():
    assert struck_refs([watch(Sign.WELL), watch(Sign.BEGUN), watch(Sign.STRUCK)]) == ("V1",)


def test_call_for_a_repair_splits_the_watch_a_month_before():
    well, rest = ended(watch(Sign.STRUCK, called=True))

    assert (well.well_on, well.seen_on, well.sign) == (WELL, date(2024, 8, 2), Sign.WELL)
    assert (rest.well_on, rest.seen_on, rest.sign) == (date(2024, 8, 2), SEEN, Sign.STRUCK)
    assert rest.new_on == well.new_on == NEW


@pytest.mark.parametrize(
    "one",
    [
        watch(Sign.STRUCK),
        watch(Sign.WELL, called=True),
        watch(Sign.STRUCK, called=True, well_on=date(2024, 8, 2)),
    ],
)
def test_other_watches_stay_whole(one):
    assert ended(one) == (one,)

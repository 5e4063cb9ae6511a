"""Which of thousands of sites have their drives asked for. Counts and minutes by hand [CALC]."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.domain.plan import LeftOutReason, Place
from fleet.planning.shortlist import preselect
from tests.benchmarks.week import DAYS, DEPOT, make_candidates, make_technician_days

TWO = make_technician_days(2)


def codes(found):
    return [candidate.place.key for candidate in found.candidates]


def test_a_thousand_sites_are_all_looked_at():
    candidates = make_candidates(1000, seed=1)

    found = preselect(candidates, TWO)

    assert found.candidates == candidates
    assert found.passed_over == ()


def test_of_more_a_thousand_are_kept_in_the_order_given_and_the_others_told():
    candidates = make_candidates(1400, seed=1)

    found = preselect(candidates, TWO)

    kept = set(codes(found))
    assert codes(found) == [c.place.key for c in candidates if c.place.key in kept]
    assert len(kept) == 1000
    assert len(found.passed_over) == 400
    assert {left.site_code for left in found.passed_over} == {
        c.place.key for c in candidates if c.place.key not in kept
    }
    assert {left.reason for left in found.passed_over} == {LeftOutReason.NO_ROOM}


def test_shifts_are_filled_eight_times_where_that_takes_more_sites():
    # 20 technicians x 5 days x 510 min x 8 = 408,000 min for sites of about 60 min and a drive
    candidates = make_candidates(7000, seed=1)

    found = preselect(candidates, make_technician_days(20))

    assert 408_000 / 90 < len(found.candidates) < 408_000 / 45


def test_named_and_must_visit_sites_are_kept_however_poor():
    candidates = list(make_candidates(1400, seed=1))
    candidates[3] = replace(candidates[3], worth=0.0, must_visit=True)
    candidates[5] = replace(candidates[5], worth=0.0)
    candidates[7] = replace(candidates[7], worth=0.0)

    kept = set(codes(preselect(candidates, TWO, always={"P0005"})))

    assert {"P0003", "P0005"} <= kept
    assert "P0007" not in kept
    assert len(kept) == 1000


def test_richer_nearer_and_shorter_works_go_first():
    start = Place("S", DEPOT.latitude_deg, DEPOT.longitude_deg)
    plain = make_candidates(1, seed=1)[0]
    every = [
        replace(
            plain,
            place=replace(start, key=f"A{n:04d}", longitude_deg=start.longitude_deg + n / 1e5),
            worth=5.0,
            service_min=60,
            windows=dict.fromkeys(DAYS, next(iter(plain.windows.values()))),
        )
        for n in range(1003)
    ]
    every[10] = replace(every[10], worth=4.9)
    every[20] = replace(every[20], service_min=62)
    far = replace(every[30].place, longitude_deg=start.longitude_deg + 1.0)
    every[30] = replace(every[30], place=far)

    left = {left.site_code for left in preselect(every, TWO).passed_over}

    assert left == {"A0010", "A0020", "A0030"}


def test_sites_that_nobody_can_serve_take_no_place_and_are_told_so():
    candidates = list(make_candidates(1100, seed=1))
    candidates[0] = replace(candidates[0], worth=1000.0, windows={})
    candidates[1] = replace(candidates[1], worth=1000.0, skill="climbing")

    found = preselect(candidates, TWO)

    reasons = {left.site_code: left.reason for left in found.passed_over}
    assert reasons["P0000"] is LeftOutReason.CLOSED
    assert reasons["P0001"] is LeftOutReason.NO_SKILL
    assert len(found.candidates) == 1000


def test_words_tell_the_worth_an_hour_and_what_it_would_have_to_be():
    found = preselect(make_candidates(1400, seed=1), TWO)

    words = found.passed_over[0].detail
    own, least = (float(word) for word in words.split() if word.replace(".", "").isdigit())
    assert words.startswith("passed over before the search: about ")
    assert own <= least


def test_without_anybody_at_work_no_drive_is_asked_for():
    found = preselect(make_candidates(1400, seed=1), ())

    assert found.candidates == ()
    assert {left.reason for left in found.passed_over} == {LeftOutReason.NO_CREW}
    assert len(found.passed_over) == 1400


@pytest.mark.parametrize("longitude_deg", [0.0, 179.9999])
def test_neighbours_are_found_across_the_date_line(longitude_deg):
    candidates = [
        replace(c, place=replace(c.place, longitude_deg=longitude_deg + (n % 2) * 0.0002))
        for n, c in enumerate(make_candidates(1200, seed=1))
    ]
    wrapped = [
        replace(
            c,
            place=replace(
                c.place,
                longitude_deg=c.place.longitude_deg - 360.0 * (c.place.longitude_deg > 180.0),
            ),
        )
        for c in candidates
    ]
    days = [replace(day, start=replace(DEPOT, longitude_deg=longitude_deg)) for day in TWO]

    assert codes(preselect(wrapped, days)) == codes(preselect(candidates, days))

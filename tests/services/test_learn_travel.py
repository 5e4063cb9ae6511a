"""Drives in the records, and what is learned from them. Distances: [CALC] a hundredth of a degree
of latitude is 1.11195 km."""

from __future__ import annotations

from datetime import UTC, date

import pytest

from fleet.planning.distance import Pace
from fleet.services.learn_travel import depot_drives, learned_pace
from fleet.services.load_network import load_network
from fleet.store.journal import Wish
from fleet.store.queries.drive import recorded_drives
from tests.driven_days import days_of_drives
from tests.factories import TODAY

AS_OF = date(2025, 6, 1)


@pytest.fixture
def put(loaded, clock, tmp_path):
    """Load more rows: ``put(folder, reason)``."""

    def call(folder, reason="more"):
        source = folder.write(tmp_path / f"more{clock.move(minutes=1):%H%M}")
        load_network(loaded, source, Wish("tester", "load", reason), clock=clock, today=TODAY)

    return call


def found(sessions, depot="NORTH", **when):
    with sessions() as session:
        return depot_drives(session, depot, **{"as_of": AS_OF, **when})


def test_drives_are_between_visits_of_one_day(loaded, put):
    put(days_of_drives(2))

    with loaded() as session:
        drives = recorded_drives(session, "NORTH", as_of=AS_OF)

    assert [(d.from_visit, d.to_visit, d.minutes) for d in drives] == [
        ("D00-S01", "D00-S02", 11.0),
        ("D00-S02", "D00-S03", 13.0),
        ("D01-S01", "D01-S02", 11.0),
        ("D01-S02", "D01-S03", 13.0),
    ]


def test_two_who_drive_together_are_one_drive(loaded, put):
    folder = days_of_drives(1)
    for row in folder.rows("visits"):
        row["technician_codes"] = "T01 T02"
    put(folder)

    assert len(found(loaded).drives) == 2


def test_visit_of_another_depot_between_is_no_drive(loaded, put):
    put(days_of_drives(1).change("visits", {"visit_ref": "D00-S02"}, site_code="S05"))

    assert found(loaded).drives == ()


def test_times_that_are_no_drive_are_set_aside(loaded, put):
    folder = days_of_drives(1)
    folder.change("visits", {"visit_ref": "D00-S01"}, departed_at="2025-01-20T10:15+01:00")
    folder.change(
        "visits",
        {"visit_ref": "D00-S03"},
        arrived_at="2025-01-20T16:00+01:00",
        departed_at="2025-01-20T17:00+01:00",
    )
    put(folder)

    drives = found(loaded)

    assert (drives.drives, drives.set_aside) == ((), 2)  # before it left; 4 h 49 min


def test_pace_is_learned_with_its_interval(loaded, put):
    put(days_of_drives(20))

    pace = learned_pace(found(loaded), Pace(speed_kmh=58.0, basis="set by hand"))

    assert pace.speed_kmh == 58.0
    assert pace.circuity == pytest.approx((11 / 7.783 + 13 / 8.896) / 2 * 58 / 60, abs=0.002)
    assert "learned from 40 legs on 20 days to 2025-02-08" in str(pace)
    assert "with 95 % confidence" in str(pace)


def test_too_few_drives_keep_the_setting_and_say_so(loaded, put):
    put(days_of_drives(14))

    pace = learned_pace(found(loaded), Pace())

    assert (pace.circuity, pace.speed_kmh) == (1.3, 60.0)
    assert str(pace).endswith("(a default, not learned; too few to learn from: 28 legs, 30 needed)")


def test_speed_is_learned_where_the_set_one_is_too_slow(loaded, put):
    put(days_of_drives(20, minutes=lambda km: round(km * 1.0)))

    pace = learned_pace(found(loaded), Pace(circuity=1.3, speed_kmh=20.0))

    assert pace.circuity == 1.3
    assert pace.speed_kmh > 60.0
    assert "km/h with 95 % confidence" in pace.basis


def test_drives_are_as_of_a_day_and_as_known_on_an_instant(loaded, put, clock):
    put(days_of_drives(20))
    before = clock.at.replace(tzinfo=UTC)
    clock.move(hours=1)
    put(
        days_of_drives(1)
        .change("visits", {"visit_ref": "D00-S02"}, arrived_at="2025-01-20T10:30+01:00")
        .only("visits", visit_ref="D00-S02"),
        "miswritten",
    )

    def first(**when):
        return found(loaded, **when).drives[0].minutes

    assert first() == 30.0
    assert first(known_on=before) == 11.0
    assert len(found(loaded, as_of=date(2025, 1, 21)).drives) == 4

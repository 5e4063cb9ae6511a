"""The source of driving times beside the records. [CALC] T01 drives on 20 days from S01 to S02
(7.7836 km of latitude) in 11 min and on to S03 (8.8956 km) in 13 min: medians below by hand."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.errors import NotFoundError
from fleet.services.load_network import load_network
from fleet.services.travel import TravelChoice
from fleet.services.travel_table import travel_table
from fleet.store.journal import Wish
from tests.driven_days import days_of_drives
from tests.factories import TODAY

AS_OF = date(2025, 6, 1)


@pytest.fixture
def table(loaded, clock, tmp_path):
    source = days_of_drives(20).write(tmp_path / "more")
    load_network(loaded, source, Wish("tester", "load", "more"), clock=clock, today=TODAY)

    def call(named="great-circle", depot="NORTH", **when):
        choice = TravelChoice(str(named), tmp_path / "cache", clock)
        frame = travel_table(loaded, choice, depot_code=depot, **{"as_of": AS_OF, **when})
        return frame.to_dict("records")

    return call


def test_table_holds_the_records_against_the_source(table):
    (row,) = table()

    # 7.7836 x 1.3 min -> 11 planned, 8.8956 x 1.3 -> 12: ratios 1 and 13/12, twenty each
    assert row["recorded_over_source"] == pytest.approx((1 + 13 / 12) / 2, abs=0.001)
    assert (row["legs"], row["days"], row["set_aside"]) == (40, 20, 0)
    assert row["learned_circuity"] == pytest.approx((11 / 7.7836 + 13 / 8.8956) / 2, abs=0.001)
    assert row["circuity_low"] <= row["learned_circuity"] <= row["circuity_high"]
    assert row["road_over_straight"] != row["road_over_straight"]  # missing: no roads known
    assert row["learned_speed_kmh"] == 60.0


def test_source_that_knows_the_km_tells_circuity_and_speed_apart(table, tmp_path):
    matrix = tmp_path / "drives.csv"
    matrix.write_text("from_key,to_key,minutes,km\nS01,S02,10,11.6754\nS02,S03,10,13.3434\n")

    (row,) = table(matrix)

    assert row["road_over_straight"] == pytest.approx(1.5, abs=0.001)
    min_per_km = (11 / 7.7836 + 13 / 8.8956) / 2
    assert row["learned_speed_kmh"] == pytest.approx(1.5 * 60 / min_per_km, abs=0.1)
    assert row["learned_circuity"] == pytest.approx(1.5, abs=0.001)
    assert row["recorded_over_source"] == pytest.approx(1.2, abs=0.001)
    assert row["source"].startswith("Matrix drives.csv of ")


def test_table_has_a_row_a_depot_and_says_what_is_too_little(table):
    north, south = table(depot=None)

    assert (north["depot_code"], south["depot_code"]) == ("NORTH", "SOUTH")
    assert south["legs"] == 0
    assert south["learned_circuity"] != south["learned_circuity"]
    assert "0 legs, 30 needed" in south["note"]


def test_table_is_as_of_a_day(table):
    assert table(as_of=date(2025, 1, 21))[0]["legs"] == 4


def test_table_of_a_depot_that_is_not_there_says_which_are(table):
    with pytest.raises(NotFoundError, match="NORTH, SOUTH"):
        table(depot="EAST")

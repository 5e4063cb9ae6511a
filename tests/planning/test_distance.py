"""Driving times and distances.

Sources: [CALC] first principles on the sphere of mean radius 6371.0088 km and on the WGS 84
ellipsoid (a = 6378.137 km, f = 1/298.257223563): a quarter of a great circle is R pi / 2, a
degree of meridian at the equator is a (1 - e2) pi / 180 = 110.574 km.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.domain.plan import Place
from fleet.planning.distance import Pace, great_circle_travel, haversine_km

A = Place("A", 0.0, 0.0)
B = Place("B", 0.0, 1.0)

positions = st.tuples(st.floats(-90, 90), st.floats(-180, 180))


def test_haversine_gives_quarter_circle_from_first_principles():
    assert haversine_km([0.0, 90.0], [0.0, 0.0])[0, 1] == pytest.approx(10007.557, abs=0.001)


def test_haversine_gives_half_circle_between_antipodes_from_first_principles():
    assert haversine_km([0.0, 0.0], [0.0, 180.0])[0, 1] == pytest.approx(20015.115, abs=0.001)


def test_haversine_stays_within_its_stated_error_of_wgs84_where_it_is_worst():
    degree_of_meridian_at_equator_km = 110.574

    km = haversine_km([0.0, 1.0], [0.0, 0.0])[0, 1]

    assert km == pytest.approx(degree_of_meridian_at_equator_km, rel=0.006)
    assert km != pytest.approx(degree_of_meridian_at_equator_km, rel=0.005)


def test_haversine_crosses_the_date_line_the_short_way():
    assert haversine_km([0.0, 0.0], [179.5, -179.5])[0, 1] == pytest.approx(111.195, abs=0.001)


@given(st.lists(positions, min_size=3, max_size=3))
def test_haversine_is_symmetric_and_keeps_the_triangle_rule(places):
    km = haversine_km([place[0] for place in places], [place[1] for place in places])

    assert km == pytest.approx(km.T)
    assert km.diagonal() == pytest.approx([0.0, 0.0, 0.0])
    assert km[0, 2] <= km[0, 1] + km[1, 2] + 1e-6


def test_great_circle_travel_rounds_up_to_whole_minutes():
    travel = great_circle_travel([A, B], Pace(circuity=1.3, speed_kmh=60.0))

    assert travel.drive_km("A", "B") == pytest.approx(144.5536, abs=0.0005)
    assert travel.drive_min("A", "B") == 145
    assert travel.drive_min("B", "A") == 145
    assert travel.drive_min("A", "A") == 0


def test_great_circle_travel_adds_the_start_of_every_drive():
    travel = great_circle_travel([A, B, Place("A2", 0.0, 0.0)], Pace(1.3, 60.0, 2.5))

    assert travel.drive_min("A", "B") == 148  # 144.55 + 2.5, rounded up
    assert travel.drive_min("A", "A2") == 0  # the same spot is no drive
    assert travel.source.endswith("at 60 km/h and 2.5 min a drive (a default, not learned)")


def test_great_circle_travel_says_how_it_was_found():
    travel = great_circle_travel([A, B], Pace(circuity=1.25, speed_kmh=70.0, basis="set"))

    assert travel.source == "Great-circle distance x 1.25 at 70 km/h (set)"


def test_great_circle_travel_of_no_places_is_empty():
    assert great_circle_travel([]).minutes == ()


def test_great_circle_travel_names_everything_wrong_at_once():
    with pytest.raises(ValueError, match="comes twice") as caught:
        great_circle_travel([A, A, Place("X", 95.0, 0.0)], Pace(0.9, 0.0, -1.0))

    text = str(caught.value)
    assert "place 'X': latitude 95.0" in text
    assert "circuity 0.9" in text
    assert "speed 0.0 km/h" in text
    assert "start of -1.0 min" in text


@pytest.mark.parametrize("latitude", [float("nan"), float("inf")])
def test_great_circle_travel_refuses_positions_that_are_not_numbers(latitude):
    with pytest.raises(ValueError, match="not on the globe"):
        great_circle_travel([Place("X", latitude, 0.0)])

"""Drives that a source knows, and what is filled in.

Sources: [CALC] a degree of the great circle is 6371.0088 pi / 180 = 111.195 km; x 1.3 at 60 km/h
144.55 min.
"""

from __future__ import annotations

import numpy as np
import pytest

from fleet.domain.plan import Place, Walk
from fleet.planning.distance import Pace
from fleet.planning.drives import Drives, Leg, known_travel, matrix_drives, name_sites

A = Place("A", 0.0, 0.0)
B = Place("B", 0.0, 1.0)
C = Place("C", 1.0, 0.0)
PACE = Pace(1.3, 60.0)


def travel_by(places, legs):
    return known_travel(places, matrix_drives(places, legs, source="Matrix m.csv"), PACE)


def test_matrix_gives_each_way_from_the_rows():
    travel = travel_by([A, B], [Leg("A", "B", 90.0, 80.0), Leg("B", "A", 95.5, 81.0)])

    assert (travel.drive_min("A", "B"), travel.drive_km("A", "B")) == (90, 80.0)
    assert (travel.drive_min("B", "A"), travel.drive_km("B", "A")) == (96, 81.0)
    assert (travel.source, travel.straight) == ("Matrix m.csv", ())


def test_gaps_are_filled_along_the_great_circle_and_told():
    travel = travel_by([A, B, C], [Leg("A", "B", 90.0, 80.0), Leg("B", "A", 90.0, 80.0)])

    assert travel.drive_min("A", "B") == 90
    assert travel.drive_min("A", "C") == 145
    assert travel.drive_km("A", "C") == pytest.approx(144.554, abs=0.001)
    assert travel.straight == ("C",)
    assert travel.source == (
        "Matrix m.csv; 1 site by straight line (C; 4 of 6 drives): "
        "great-circle distance x 1.30 at 60 km/h (a default, not learned)"
    )


def test_places_named_for_gaps_touch_every_gap_and_leave_out_the_start():
    keys = "depot", "S1", "S2", "ISLE"
    places = [Place(key, 0.0, 0.1 * number) for number, key in enumerate(keys)]
    minutes = np.full((4, 4), 10.0)
    minutes[3, :] = minutes[:, 3] = np.nan
    minutes[1, 2] = np.nan

    travel = known_travel(places, Drives(minutes, minutes, "Roads"), PACE)

    assert travel.straight == ("S2", "ISLE")
    assert "2 sites by straight line (S2, ISLE; 7 of 12 drives)" in travel.source


def test_a_distance_alone_that_is_missing_is_no_gap():
    minutes = np.array([[0.0, 12.0], [13.0, 0.0]])

    travel = known_travel([A, B], Drives(minutes, np.full((2, 2), np.nan), "Service"), PACE)

    assert (travel.drive_min("A", "B"), travel.straight, travel.source) == (12, (), "Service")
    assert travel.drive_km("A", "B") == pytest.approx(144.554, abs=0.001)


def test_walks_come_through():
    walk = Walk("B", 1.2, 36)
    zero = np.zeros((2, 2))

    assert known_travel([A, B], Drives(zero, zero, "Roads", (walk,)), PACE).walks == (walk,)


def test_matrix_passes_over_rows_of_other_places_and_from_a_place_to_itself():
    travel = travel_by([A, B], [Leg("A", "Z", 5.0, 5.0), Leg("A", "A", 5.0, 5.0)])

    assert travel.drive_min("A", "A") == 0
    assert "2 of 2 drives" in travel.source


def test_matrix_names_every_bad_leg():
    legs = [
        Leg("A", "B", -1.0, 5.0),
        Leg("B", "A", 5.0, float("nan")),
        Leg("A", "C", 5.0, 5.0),
        Leg("A", "C", 6.0, 5.0),
    ]

    with pytest.raises(ValueError, match=r"minutes=-1\.0") as caught:
        travel_by([A, B, C], legs)

    assert "km=nan" in str(caught.value)
    assert "minutes=6.0, km=5.0): given before" in str(caught.value)


def test_many_sites_are_named_in_part():
    assert name_sites([f"S{n}" for n in range(11)]).endswith("S6, S7 and 3 more")

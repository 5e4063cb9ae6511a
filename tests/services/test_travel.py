"""The user's matrix of drives: read whole or refused with everything that is wrong."""

from __future__ import annotations

import pytest

from fleet.domain.plan import Place
from fleet.errors import InputError
from fleet.planning.distance import Leg, great_circle_travel
from fleet.services.travel import read_legs, travel_source

HEAD = "from_key,to_key,minutes,km\n"
PLACES = [
    Place("depot:NORTH", 44.9, -34.75),
    Place("S01", 44.95, -34.7),
    Place("S02", 45.02, -34.7),
]


@pytest.fixture
def matrix(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "drives.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def problems_of(path):
    with pytest.raises(InputError) as caught:
        read_legs(path)
    return [str(problem) for problem in caught.value.problems]


def test_without_a_matrix_drives_follow_the_great_circle():
    assert travel_source(None) is great_circle_travel


def test_legs_are_read_in_order_with_blank_lines_and_bom_passed_over(matrix):
    path = matrix(f"\ufeff{HEAD}depot:NORTH,S01,12.5,10.25\n\nS01,depot:NORTH,14,10.25\n,,,\n")

    assert read_legs(path) == [
        Leg("depot:NORTH", "S01", 12.5, 10.25),
        Leg("S01", "depot:NORTH", 14.0, 10.25),
    ]


def test_given_legs_are_used_each_way_and_gaps_filled_and_told(matrix):
    path = matrix(f"{HEAD}depot:NORTH,S01,12.5,10.25\nS01,depot:NORTH,14,10.25\nX,Y,1,1\n")

    travel = travel_source(path)(PLACES)

    assert travel.drive_min("depot:NORTH", "S01") == 13  # rounded up
    assert travel.drive_min("S01", "depot:NORTH") == 14
    assert travel.drive_km("depot:NORTH", "S01") == 10.25
    straight = great_circle_travel(PLACES)
    assert travel.drive_min("S01", "S02") == straight.drive_min("S01", "S02")
    assert travel.source.startswith("Travel matrix given by the user; 4 of 6 legs missing")


def test_every_problem_of_the_matrix_is_told_at_once(matrix):
    found = problems_of(
        matrix(
            HEAD
            + "depot:NORTH,S01,twelve,10\n"
            + "S01,S02,-1,nan\n"
            + "S02,S01,12\n"
            + 'S02,depot:NORTH,"12,5",1e9\n'
            + ",S01,1,1\n"
            + "S01,S02,2,2\n"
        )
    )

    assert [text.split(":")[0] for text in found] == [
        "drives.csv row 2, column minutes",
        "drives.csv row 3, column minutes",
        "drives.csv row 3, column km",
        "drives.csv row 4",
        "drives.csv row 5, column minutes",
        "drives.csv row 5, column km",
        "drives.csv row 6, column from_key",
        "drives.csv row 7, column from_key, to_key",
    ]
    assert "'twelve' found; a number such as 12.5 is expected" in found[0]
    assert "0 to 10000 is expected" in found[1]
    assert "decimal comma; write 12.5" in found[4]
    assert "row 3 has the same" in found[7]


@pytest.mark.parametrize(
    ("text", "encoding", "words"),
    [
        ("", "utf-8", "an empty file"),
        ("from_key;to_key;minutes;km\n", "utf-8", "columns separated by semicolons"),
        ("from,to,minutes,km\n", "utf-8", "an unknown column"),
        (HEAD + "depot:NORTH,Dårnvik,1,1\n", "latin-1", "not UTF-8"),
        (HEAD + 'S01,"S02,1,1\n', "utf-8", "a quotation mark is opened and never closed"),
    ],
    ids=["empty", "semicolons", "names", "encoding", "quotes"],
)
def test_a_file_that_is_no_matrix_says_why(matrix, text, encoding, words):
    assert any(words in problem for problem in problems_of(matrix(text, encoding)))

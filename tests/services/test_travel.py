"""Where driving times come from: every source behind one choice, read whole or refused."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from fleet.domain.plan import Place
from fleet.errors import FleetError, FleetWarning, InputError, NotFoundError
from fleet.planning.distance import great_circle_travel
from fleet.planning.drives import Leg
from fleet.services.travel import TravelChoice, read_legs, travel_choice, travel_source
from fleet.services.travel_setting import TravelSetting, read_travel_setting
from fleet.settings import Settings
from tests.factories import FrozenClock
from tests.ingest.routing_stand_in import StandIn, listening
from tests.planning.road_world import PLACES as ROAD_PLACES
from tests.planning.road_world import write_extract, write_pbf

HEAD = "from_key,to_key,minutes,km\n"
PLACES = [
    Place("depot:NORTH", 44.9, -34.75),
    Place("S01", 44.95, -34.7),
    Place("S02", 45.02, -34.7),
]
AS_OF = date(2025, 6, 1)


@pytest.fixture
def matrix(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "drives.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


@pytest.fixture
def timed(loaded, tmp_path):
    """Time the drives between places: ``timed(source, places)``."""

    def call(named, places=PLACES, *, depot="NORTH", clock=None):
        choice = TravelChoice(str(named), tmp_path / "cache", clock or FrozenClock())
        return travel_source(choice, depot, sessions=loaded, as_of=AS_OF)(places)

    return call


def problems_of(path):
    with pytest.raises(InputError) as caught:
        read_legs(path)
    return [str(problem) for problem in caught.value.problems]


def test_great_circle_is_a_source_by_name(timed):
    assert timed("great-circle") == great_circle_travel(PLACES)


def test_option_wins_over_the_settings():
    settings = Settings("sqlite://", "tester", travel="learned")

    assert travel_choice(None, settings).named == "learned"
    assert travel_choice("great-circle", settings).named == "great-circle"


def test_legs_are_read_in_order_with_blank_lines_and_bom_passed_over(matrix):
    path = matrix(f"\ufeff{HEAD}depot:NORTH,S01,12.5,10.25\n\nS01,depot:NORTH,14,10.25\n,,,\n")

    assert read_legs(path) == [
        Leg("depot:NORTH", "S01", 12.5, 10.25),
        Leg("S01", "depot:NORTH", 14.0, 10.25),
    ]


def test_matrix_is_used_each_way_and_gaps_filled_and_told(matrix, timed, tmp_path):
    matrix(f"{HEAD}depot:NORTH,S01,12.5,10.25\nS01,depot:NORTH,14,10.25\nX,Y,1,1\n")
    (tmp_path / "travel.toml").write_text('source = "drives.csv"\ndated = 2025-05-02\n')

    travel = timed(tmp_path / "travel.toml")

    assert travel.drive_min("depot:NORTH", "S01") == 13  # rounded up
    assert travel.drive_min("S01", "depot:NORTH") == 14
    assert travel.drive_km("depot:NORTH", "S01") == 10.25
    straight = great_circle_travel(PLACES)
    assert travel.drive_min("S01", "S02") == straight.drive_min("S01", "S02")
    assert travel.source.startswith(
        "Matrix drives.csv of 2025-05-02; 1 site by straight line (S02; 4 of 6 drives): "
    )


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


def test_roads_are_used_and_what_they_lack_is_told(timed, tmp_path):
    extract = write_extract(tmp_path / "small.osm")
    packed = write_pbf(extract, tmp_path / "small.osm.pbf", timestamp="2025-05-20T20:21:22Z")
    places = [ROAD_PLACES[key] for key in ("depot:A", "B", "W", "M", "G")]

    travel = timed(packed, places)

    assert travel.drive_min("depot:A", "B") == 10  # 11.12 km at 68 km/h: 9.81
    assert travel.straight == ("W", "G")
    assert travel.source.startswith("Roads: small.osm.pbf of 2025-05-20 (")
    assert "; 2 sites by straight line (W, G; 14 of 20 drives): great-circle" in travel.source
    (walk,) = travel.walks
    assert (walk.key, walk.minutes) == ("M", 11)  # 2 x 0.3336 km at 4 km/h: 10.0 min, over by 1 s
    assert walk.km == pytest.approx(0.334, abs=0.001)


def test_roads_are_read_once_for_the_same_bytes(timed, tmp_path, monkeypatch):
    extract = write_extract(tmp_path / "small.osm")
    places = [ROAD_PLACES[key] for key in ("depot:A", "B")]
    first = timed(extract, places)
    monkeypatch.setattr("fleet.services.road_travel.read_roads", None)

    again = timed(extract, places)
    other = timed(extract, [*places, ROAD_PLACES["M"]])  # the roads are kept, the drives are new

    assert again == first
    assert other.drive_min("depot:A", "M") == 5
    with extract.open("a") as file:
        file.write("\n")
    with pytest.raises(TypeError):
        timed(extract, places)


def test_private_roads_and_walking_speed_are_settings(timed, tmp_path):
    write_extract(tmp_path / "small.osm")
    (tmp_path / "travel.toml").write_text(
        'source = "small.osm"\nwalk_kmh = 2\ndated = 2025-05-01\n'
        "[depot.SOUTH]\nprivate_roads = true\n"
    )
    places = [ROAD_PLACES[key] for key in ("depot:A", "P")]

    north = timed(tmp_path / "travel.toml", places)
    south = timed(tmp_path / "travel.toml", places, depot="SOUTH")

    assert [walk.minutes for walk in north.walks] == [60]  # 2 x 0.9946 km at 2 km/h: 59.7 min
    assert south.walks == ()
    assert "Roads: small.osm of 2025-05-01" in south.source


def test_service_is_asked_once_in_a_while(timed):
    clock = FrozenClock(datetime(2025, 6, 2, 8, tzinfo=UTC))
    with listening(StandIn(lambda a, b: (600.0, 9000.0))) as service:
        address = f"{service.address}/table/v1/driving"
        first = timed(address, clock=clock)
        clock.move(days=29)
        again = timed(address, clock=clock)
        asked = len(service.asked)
        clock.move(days=3)
        renewed = timed(address, clock=clock)
        renewals = len(service.asked)

    assert first.drive_min("S01", "S02") == 10
    assert again == first
    assert first.source == f"Routing service {address}, answers of 2025-06-02"
    assert (asked, renewals) == (1, 2)
    assert renewed.source.endswith("answers of 2025-07-04")


def test_older_answers_are_used_where_the_service_is_away(timed, monkeypatch):
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    clock = FrozenClock(datetime(2025, 6, 2, 8, tzinfo=UTC))
    with listening(StandIn(lambda a, b: (600.0, 9000.0))) as service:
        address = f"{service.address}/table/v1/driving"
        timed(address, clock=clock)
    clock.move(days=40)

    with pytest.warns(FleetWarning, match=r"Answers of 2025-06-02 are used\."):
        travel = timed(address, clock=clock)

    assert travel.source.endswith("answers of 2025-06-02")
    with pytest.raises(FleetError, match="does not answer"):
        timed(address, PLACES[:2], clock=clock)


def test_service_that_knows_no_way_leaves_gaps(timed):
    def drive(a, b):
        return None if 45.02 in (a[1], b[1]) else (600.0, 9000.0)

    with listening(StandIn(drive)) as service:
        travel = timed(f"{service.address}/sources_to_targets")

    assert travel.straight == ("S02",)
    assert np.array(travel.minutes)[0, 1] == 10


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ("crow", "'crow' found; great-circle, learned, a matrix"),
        ("none.csv", "'none.csv' found; there is no such file"),
        ("none.osm.pbf", "there is no such file"),
        ("http://localhost/route/v1/driving", "the address of a routing service"),
        ("http:///table/v1/driving", "the address of a routing service"),
        ("none.toml", r"none.toml: settings in TOML are expected"),
    ],
)
def test_what_is_no_source_says_what_is(named, words):
    with pytest.raises(InputError, match=words):
        read_travel_setting(named, "NORTH")


def test_every_problem_of_the_settings_is_told_at_once(tmp_path):
    path = tmp_path / "travel.toml"
    path.write_text(
        'source = "crow"\nspeed_kmh = 0\nfast = true\n'
        '[depot.NORTH]\ncircuity = "1.3"\nprivate_roads = 1\ndated = 2025-01-01T00:00:00Z\n'
        '[depot.SOUTH]\nsource = "gone.csv"\nradius_km = nan\n'
    )

    with pytest.raises(InputError) as caught:
        read_travel_setting(str(path), "NORTH")

    assert [str(p).split(": ")[0] for p in caught.value.problems] == [
        "travel.toml, column source",
        "travel.toml, column speed_kmh",
        "travel.toml, column fast",
        "travel.toml, column depot.NORTH.circuity",
        "travel.toml, column depot.NORTH.private_roads",
        "travel.toml, column depot.NORTH.dated",
        "travel.toml, column depot.SOUTH.source",
        "travel.toml, column depot.SOUTH.radius_km",
    ]


def test_settings_of_a_depot_win_over_those_of_all(tmp_path):
    path = tmp_path / "travel.toml"
    path.write_text("speed_kmh = 58\ncircuity = 1.2\n[depot.NORTH]\ncircuity = 1.4\n")

    assert read_travel_setting(str(path), "NORTH") == TravelSetting(speed_kmh=58, circuity=1.4)
    assert str(read_travel_setting(str(path), "SOUTH").pace) == (
        "great-circle distance x 1.20 at 58 km/h (set by hand)"
    )


def test_settings_of_a_depot_that_is_not_there_are_refused(timed, tmp_path):
    path = tmp_path / "travel.toml"
    path.write_text("[depot.NROTH]\ncircuity = 1.4\n")

    with pytest.raises(NotFoundError, match=r"NROTH, which is no depot\. Depots: NORTH, SOUTH\."):
        timed(path)

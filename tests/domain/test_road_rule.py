"""What a vehicle may use. The tags' meaning is that of the OpenStreetMap wiki, from memory; the
mile of 1.609344 km and the nautical mile of 1.852 km are exact."""

from __future__ import annotations

import pytest

from fleet.domain.road_rule import RoadRule, duration_min, limit_kmh, road_rule


@pytest.mark.parametrize(
    ("tags", "forward", "backward"),
    [
        ({"highway": "secondary"}, 60, 60),
        ({"highway": "secondary", "maxspeed": "100"}, 85, 85),
        ({"highway": "secondary", "maxspeed": "50 mph"}, 68.397, 68.397),
        ({"highway": "secondary", "maxspeed:backward": "40"}, 60, 34),
        ({"highway": "secondary", "maxspeed": "none"}, 60, 60),
        ({"highway": "track", "maxspeed": "80"}, 15, 15),
        ({"highway": "service", "maxspeed": "10"}, 8.5, 8.5),
        ({"highway": "residential", "oneway": "yes"}, 30, 0),
        ({"highway": "residential", "oneway": "-1"}, 0, 30),
        ({"highway": "motorway"}, 100, 0),
        ({"highway": "motorway_link", "oneway": "no"}, 55, 55),
        ({"highway": "tertiary", "junction": "roundabout"}, 50, 0),
        ({"highway": "tertiary", "access": "no", "motor_vehicle": "yes"}, 50, 50),
        ({"highway": "tertiary", "access": "destination"}, 50, 50),
        ({"highway": "tertiary", "barrier": "gate"}, 50, 50),
    ],
    ids=str,
)
def test_rule_gives_the_speed_each_way(tags, forward, backward):
    rule = road_rule(tags)

    assert rule is not None
    assert (rule.forward_kmh, rule.backward_kmh) == pytest.approx((forward, backward), abs=0.001)


@pytest.mark.parametrize(
    "tags",
    [
        {"highway": "footway"},
        {"highway": "cycleway"},
        {"highway": "construction"},
        {"building": "yes"},
        {"highway": "primary", "motor_vehicle": "no"},
        {"highway": "primary", "motorcar": "no", "motor_vehicle": "yes"},
        {"highway": "track", "access": "private"},
        {"highway": "track", "vehicle": "forestry"},
        {"route": "ferry", "motor_vehicle": "no"},
        {"route": "bus"},
    ],
    ids=str,
)
def test_rule_closes_what_no_vehicle_may_use(tags):
    assert road_rule(tags) is None


def test_private_roads_open_only_where_the_crews_may_use_them():
    private = {"highway": "track", "access": "private"}

    assert road_rule(private, private_open=True) is not None
    assert road_rule({**private, "motor_vehicle": "no"}, private_open=True) is None


def test_nobody_parks_on_a_motorway_or_a_ferry():
    assert not road_rule({"highway": "motorway"}).stoppable
    assert road_rule({"highway": "trunk"}).stoppable
    assert road_rule({"route": "ferry", "duration": "PT1H5M"}) == RoadRule(15.0, 15.0, False, 65.0)


def test_ferry_without_a_duration_goes_at_its_own_speed():
    assert road_rule({"route": "ferry", "oneway": "yes"}) == RoadRule(15.0, 0.0, False, None)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("40", 40), ("1:05", 65), ("01:30:30", 90.5), ("P1DT1H", 1500), ("PT45M", 45),
        ("PT30S", 0.5), ("soon", None), ("", None), ("P", None), ("00:00", None), ("1:2:3:4", None),
    ],
)  # fmt: skip
def test_duration_is_read_in_its_usual_forms(text, minutes):
    assert duration_min(text) == minutes


@pytest.mark.parametrize(
    ("text", "kmh"),
    [("80", 80), ("30 mph", 48.28032), ("20 knots", 37.04), ("walk", 6), ("XX:rural", None),
     ("0", None), ("50;80", None)],
)  # fmt: skip
def test_limit_is_read_or_left(text, kmh):
    assert limit_kmh(text) == (kmh if kmh is None else pytest.approx(kmh))

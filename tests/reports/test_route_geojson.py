"""GeoJSON. Source: RFC 7946: longitude before latitude, no crs member, 3.1.9 (read): a line over
the 180th meridian is cut; the example there goes from 45 N 170 E to 45 N 170 W."""

import json
from dataclasses import replace

import pytest

from fleet.reports.route_geojson import line_geometry, route_geojson


@pytest.fixture(scope="module")
def collection(week):
    return json.loads(route_geojson(week))


def test_line_over_the_antimeridian_is_cut_as_rfc_7946_shows():
    assert line_geometry([(170.0, 45.0), (-170.0, 45.0)]) == {
        "type": "MultiLineString",
        "coordinates": [[(170.0, 45.0), (180.0, 45.0)], [(-180.0, 45.0), (-170.0, 45.0)]],
    }


def test_line_back_over_the_antimeridian_is_cut_where_it_crosses():
    line = line_geometry([(179.0, 10.0), (-178.0, 16.0), (179.0, 10.0)])

    assert line["coordinates"] == [
        [(179.0, 10.0), (180.0, 12.0)],
        [(-180.0, 12.0), (-178.0, 16.0), (-180.0, 12.0)],
        [(180.0, 12.0), (179.0, 10.0)],
    ]


def test_geojson_has_a_line_a_day_and_a_point_a_stop(collection):
    kinds = [feature["properties"]["kind"] for feature in collection["features"]]

    assert collection["type"] == "FeatureCollection"
    assert set(collection) == {"type", "features"}
    assert kinds == (["day"] + ["stop"] * 4) * 5
    assert all(set(f) == {"type", "geometry", "properties"} for f in collection["features"])


def test_geojson_puts_longitude_first_rfc_7946(collection):
    line, stop = collection["features"][:2]

    assert line["geometry"]["coordinates"][0] == [-34.9, 44.8]
    assert line["geometry"]["coordinates"][-1] == [-34.9, 44.8]
    assert stop["geometry"] == {"type": "Point", "coordinates": [-34.951618, 44.833773, 211.0]}
    assert stop["properties"]["serials"] == ["00010"]


def test_geojson_of_an_unknown_height_has_two_coordinates(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], elevation_m=None)

    text = route_geojson(replace(one_card, days=(replace(day, stops=(stop,)),)))

    assert len(json.loads(text)["features"][1]["geometry"]["coordinates"]) == 2


def test_geojson_tells_how_a_stop_is_reached(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], straight_line=True, on_foot="1.2 km beyond the road")

    text = route_geojson(replace(one_card, days=(replace(day, stops=(stop,)),)))

    told = json.loads(text)["features"][1]["properties"]
    assert (told["drive_min"], told["drive_km"]) == (35, 28.4)
    assert (told["drive_estimated"], told["on_foot"]) == (True, "1.2 km beyond the road")

"""GPX 1.1, read back with the standard library.

Source: GPX 1.1 schema, read whole (http://www.topografix.com/GPX/1/1/gpx.xsd in a stored copy,
2026-11-25); its rules stand in gpx_schema.py.
"""

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from fleet.reports.route_gpx import route_gpx
from tests.reports.gpx_schema import faults

NS = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def root(week):
    return ET.fromstring(route_gpx(week))


def test_gpx_is_valid_by_the_schema(week, one_card):
    assert faults(route_gpx(week)) == []
    assert faults(route_gpx(one_card)) == []


def test_gpx_is_valid_on_the_180th_meridian_and_at_the_pole(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], latitude_deg=-90.0, longitude_deg=179.9999999)
    day = replace(day, start_longitude_deg=180.0, stops=(stop,))

    text = route_gpx(replace(one_card, days=(day,)))

    assert faults(text) == []
    assert text.count(b'lon="-180.0"') == 3


@pytest.mark.parametrize(
    ("good", "bad", "fault"),
    [
        (b' version="1.1"', b' version="1.0"', "gpx version='1.0' is not '1.1'"),
        (b' creator="fleet"', b"", "gpx lacks creator"),
        (b"<number>1</number>", b"<number>-1</number>", "number '-1' is no nonNegativeInteger"),
        (b"<ele>", b"<ele>about ", "is no decimal"),
        (b'lat="', b'lat="1e', "is no latitude"),
        (b"<time>", b"<time>on ", "is no dateTime"),
        (b"GPX/1/1", b"GPX/1/0", "is not of the namespace"),
        (b"<desc>", b"<color>red</color><desc>", "color is not foreseen in metadata"),
    ],
)
def test_check_of_the_schema_finds_what_is_wrong(week, good, bad, fault):
    text = route_gpx(week)
    assert good in text

    assert any(fault in found for found in faults(text.replace(good, bad)))


def test_check_of_the_schema_finds_a_wrong_order(week):
    text = (
        route_gpx(week)
        .replace(b"<number>1</number>", b"")
        .replace(b"<rte>", b"<rte><number>1</number>", 1)
    )

    assert "rte: name after number" in faults(text)


def test_gpx_carries_the_required_attributes(root):
    assert root.get("version") == "1.1"
    assert root.get("creator") == "fleet"
    assert all({"lat", "lon"} == set(p.attrib) for p in root.iter(f"{NS}rtept"))


def test_gpx_drives_each_day_from_the_start_through_the_stops_and_back(root):
    routes = root.findall(f"{NS}rte")
    names = [point.find(f"{NS}name").text for point in routes[1].iter(f"{NS}rtept")]

    assert len(routes) == 5
    assert names == ["Depot Norra", "1 SK005", "2 SK006", "3 SK007", "4 SK008", "Depot Norra"]
    assert root.find(f"{NS}metadata/{NS}time").text == "2025-02-28T15:04:00Z"


def test_gpx_writes_small_degrees_without_exponent(one_card):
    day = replace(one_card.days[0], start_latitude_deg=0.00002, start_longitude_deg=-0.00001)

    point = ET.fromstring(route_gpx(replace(one_card, days=(day,)))).find(f".//{NS}rtept")

    assert "e" not in point.get("lat") + point.get("lon")
    assert float(point.get("lat")) == 0.00002
    assert float(point.get("lon")) == -0.00001


def test_gpx_carries_hostile_texts(one_card):
    day = one_card.days[0]
    stop = replace(day.stops[0], site_name="<b>\x00 & ]]> \ud800")

    root = ET.fromstring(route_gpx(replace(one_card, days=(replace(day, stops=(stop,)),))))

    assert "<b> & ]]> \ufffd" in root.findall(f".//{NS}rtept")[1].find(f"{NS}desc").text


def test_gpx_is_the_same_twice(week):
    assert route_gpx(week) == route_gpx(week)

"""GPX 1.1, read back with the standard library.

Source: GPX 1.1 schema documentation (gpxType, rteType, wptType, latitudeType, longitudeType),
read: order of elements, required attributes, decimal degrees.
"""

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from fleet.reports.route_gpx import route_gpx

NS = "{http://www.topografix.com/GPX/1/1}"
ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds"],
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    "rtept": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym"],
}


@pytest.fixture(scope="module")
def root(week):
    return ET.fromstring(route_gpx(week))


def test_gpx_follows_the_element_order_of_the_schema(root):
    for name, order in ORDER.items():
        for element in root.iter(NS + name):
            places = [order.index(child.tag.removeprefix(NS)) for child in element]
            assert places == sorted(places), name


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

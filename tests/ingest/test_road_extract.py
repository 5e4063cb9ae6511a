"""Reading an extract: files made by hand (tests/planning/road_world.py), values as worked there."""

from __future__ import annotations

import sys
from datetime import date

import numpy as np
import pytest

from fleet.domain.road import Circle
from fleet.errors import FleetError, InputError
from fleet.ingest.road_extract import read_roads
from tests.planning.road_world import write_extract, write_pbf

ALL = Circle(0.0, 0.0, 200.0)


@pytest.fixture
def extract(tmp_path):
    return write_extract(tmp_path / "small.osm")


def test_extract_gives_the_pieces_that_may_be_driven(extract):
    roads = read_roads(extract, ALL)

    assert len(roads.km) == 7  # A-B, B-C, B-D, D-C, C-E (ferry), E-F, the island's
    assert roads.km[0] == pytest.approx(11.1195, abs=1e-4)
    assert np.isinf(roads.backward_min).sum() == 1
    assert roads.stoppable.tolist().count(False) == 1


def test_extract_is_cropped_to_whole_ways(extract):
    near = read_roads(extract, Circle(0.0, 0.0, 12.0))

    assert len(near.km) == 4  # A-B and the two ways from B; D lies outside, its way is whole


def test_packed_extract_reads_the_same_and_tells_its_day(extract, tmp_path):
    packed = write_pbf(extract, tmp_path / "small.osm.pbf", timestamp="2026-11-01T20:21:22Z")

    roads, again = read_roads(extract, ALL), read_roads(packed, ALL)

    assert again.dated == date(2026, 11, 1)
    assert roads.dated is None
    assert again.km == pytest.approx(roads.km)


def test_file_that_is_no_extract_says_so(tmp_path):
    path = tmp_path / "drives.osm.pbf"
    path.write_bytes(b"from_key,to_key\n")

    with pytest.raises(InputError, match=r"drives\.osm\.pbf: no OpenStreetMap extract"):
        read_roads(path, ALL)


def test_extract_of_elsewhere_says_what_was_looked_for(extract):
    with pytest.raises(InputError, match=r"a road within 25 km around 40\.0000, 10\.0000"):
        read_roads(extract, Circle(40.0, 10.0, 25.0))


def test_missing_reader_says_how_to_get_it(extract, monkeypatch):
    monkeypatch.setitem(sys.modules, "osmium", None)

    with pytest.raises(FleetError, match="pip install osmium"):
        read_roads(extract, ALL)


def test_closed_way_between_nodes_on_one_spot_stays_closed(tmp_path):
    path = tmp_path / "spot.osm"
    path.write_text(
        '<osm version="0.6"><node id="1" version="1" lat="0" lon="0"/>'
        '<node id="2" version="1" lat="0" lon="0"/><node id="3" version="1" lat="0" lon="0.1"/>'
        '<way id="1" version="1"><nd ref="1"/><nd ref="2"/><nd ref="3"/>'
        '<tag k="highway" v="primary"/><tag k="oneway" v="yes"/></way></osm>'
    )

    assert np.isinf(read_roads(path, ALL).backward_min).all()

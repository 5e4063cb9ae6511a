"""The user's base map: GeoJSON after RFC 7946, read whole or refused with every faulty feature."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fleet.domain.sheet import MapLine
from fleet.errors import InputError
from fleet.services.base_map import read_map_lines

SAMPLE = Path(__file__).parents[2] / "sample_network" / "outline.geojson"
A, B, C = [-34.8, 44.8], [-34.6, 45.0], [-34.7, 45.2]


@pytest.fixture
def base_map(tmp_path):
    def write(content):
        path = tmp_path / "map.geojson"
        text = content if isinstance(content, str) else json.dumps(content)
        path.write_text(text, encoding="utf-8")
        return path

    return write


def collection(*geometries, **properties):
    features = [
        {"type": "Feature", "properties": properties or None, "geometry": geometry}
        for geometry in geometries
    ]
    return {"type": "FeatureCollection", "features": features}


def shape(kind, coordinates):
    return {"type": kind, "coordinates": coordinates}


def problems_of(path):
    with pytest.raises(InputError) as caught:
        read_map_lines(path)
    return [problem.expected for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("geometry", "lines"),
    [
        (shape("LineString", [A, B]), [[A, B]]),
        (shape("MultiLineString", [[A, B], [B, C]]), [[A, B], [B, C]]),
        (shape("Polygon", [[A, B, C, A]]), [[A, B, C, A]]),
        (shape("MultiPolygon", [[[A, B, C, A]], [[B, C, A, B]]]), [[A, B, C, A], [B, C, A, B]]),
        (shape("LineString", [[*A, 120.0], [*B, 90.0]]), [[A, B]]),
    ],
    ids=["line", "lines", "area", "areas", "with heights"],
)
def test_lines_and_areas_are_read_as_lines(base_map, geometry, lines):
    read = read_map_lines(base_map(collection(geometry, kind="road")))

    assert read == tuple(MapLine("road", tuple(map(tuple, line))) for line in lines)


def test_feature_without_a_kind_is_a_line(base_map):
    (line,) = read_map_lines(base_map(collection(shape("LineString", [A, B]))))

    assert line.kind == "line"


def test_sample_networks_outline_is_read():
    kinds = {line.kind for line in read_map_lines(SAMPLE)}

    assert {"coast", "road"} <= kinds


def test_empty_collection_is_an_empty_map(base_map):
    assert read_map_lines(base_map(collection())) == ()


def test_every_faulty_feature_is_told(base_map):
    found = problems_of(
        base_map(
            collection(
                shape("LineString", [A, B]),
                shape("Point", A),
                shape("LineString", [[200.0, 95.0], B]),
                shape("LineString", [A]),
                shape("LineString", [A, ["x", 1]]),
                shape("Polygon", [A, B, C]),
                None,
                shape("LineString", [A, [True, False]]),
            )
        )
    )

    assert [text.split(":")[0] for text in found] == [f"feature {n}" for n in range(2, 9)]
    assert found[0].startswith("feature 2: 'Point' found; LineString, MultiLineString")
    assert found[1] == (
        "feature 3: [200.0, 95.0] is no position of longitude and latitude in degrees"
    )
    assert found[2] == "feature 4: a line of at least two positions is expected"


@pytest.mark.parametrize(
    "content",
    [
        "no json",
        "[]",
        '"text"',
        "{}",
        '{"features": 3}',
        '{"type": "LineString", "coordinates": [[1, 2], [3, 4]]}',
        "[" * 100_000,
    ],
    ids=["text", "list", "string", "empty", "number", "bare geometry", "deep"],
)
def test_what_is_no_collection_is_refused(base_map, content):
    (problem,) = problems_of(base_map(content))

    assert problem.startswith("a GeoJSON FeatureCollection of lines and areas in longitude")


@pytest.mark.parametrize(
    "feature", [7, None, {"geometry": 7}, {"geometry": {"type": "LineString"}, "properties": [1]}]
)
def test_oddly_made_features_are_told_and_never_crash(base_map, feature):
    (problem,) = problems_of(base_map({"features": [feature]}))

    assert problem.startswith("feature 1: ")


def test_missing_file_and_other_encodings_are_told(tmp_path):
    latin = tmp_path / "latin.geojson"
    latin.write_bytes('{"features": "Dårnvik"}'.encode("latin-1"))

    for path in (tmp_path / "none.geojson", latin):
        assert problems_of(path)[0].startswith("a GeoJSON FeatureCollection")

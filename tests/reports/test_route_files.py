"""All files or none, under names that every system takes."""

from dataclasses import replace
from math import nan

import pytest

from fleet.errors import FleetError, InputError
from fleet.reports.route_files import file_stem, write_route_files


def test_write_route_files_writes_the_five_formats(one_card, tmp_path):
    paths = write_route_files(one_card, tmp_path / "new" / "folder", paper="a4")

    names = ["2025-W10-N-T01" + ending for ending in (".pdf", ".html", ".gpx", ".ics", ".geojson")]
    assert [path.name for path in paths] == names
    assert sorted(p.name for p in (tmp_path / "new" / "folder").iterdir()) == sorted(names)
    assert paths[0].read_bytes().startswith(b"%PDF-")


def test_write_route_files_replaces_older_ones(one_card, tmp_path):
    (tmp_path / "2025-W10-N-T01.ics").write_text("old")

    paths = write_route_files(one_card, tmp_path, paper="letter")

    assert paths[3].read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")


def test_write_route_files_refuses_every_bad_position_and_writes_nothing(one_card, tmp_path):
    day = one_card.days[0]
    stop = replace(day.stops[0], latitude_deg=200.0, longitude_deg=nan)
    sheet = replace(one_card, days=(replace(day, stops=(stop,), start_longitude_deg=-180.5),))

    with pytest.raises(InputError) as caught:
        write_route_files(sheet, tmp_path, paper="a4")

    assert [str(problem) for problem in caught.value.problems] == [
        "round 2025-W10-N, column start of 2025-03-04 longitude_deg: '-180.5' found; "
        "a number from -180 to 180 is expected (decimal degrees, WGS 84).",
        "round 2025-W10-N, column site SK006 latitude_deg: '200.0' found; "
        "a number from -90 to 90 is expected (decimal degrees, WGS 84).",
        "round 2025-W10-N, column site SK006 longitude_deg: 'nan' found; "
        "a number from -180 to 180 is expected (decimal degrees, WGS 84).",
    ]
    assert list(tmp_path.iterdir()) == []


def test_write_route_files_says_where_it_cannot_write(one_card, tmp_path):
    (tmp_path / "file").write_text("not a folder")

    with pytest.raises(FleetError, match="Cannot write the route sheet to "):
        write_route_files(one_card, tmp_path / "file", paper="a4")


@pytest.mark.parametrize(
    "codes",
    [("../../etc/passwd", "T01"), ("a/b", "T01"), ("\x00", ""), ("CON",), ("x" * 300, "T"),
     ("раунд", "T01"), ("", ""), (".hidden", ""), ("a:b|c", "*"), ("\ud800",)],
)  # fmt: skip
def test_file_stem_takes_hostile_codes(codes):
    stem = file_stem(*codes)

    assert stem.isascii()
    assert 1 <= len(stem) <= 80
    assert not set(stem) & set('/\\:*?"<>|\x00 ')
    assert not stem.startswith(".")
    assert stem.upper() != "CON"


def test_file_stem_keeps_different_codes_apart():
    assert len({file_stem(code, "T01") for code in ("a/b", "a-b", "a:b", "a b")}) == 4
    assert file_stem("2025-W10", "T01") == "2025-W10-T01"

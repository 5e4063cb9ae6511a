"""CSV files after RFC 4180: every way in which a file can be unreadable has its own message."""

import csv

import pytest

from fleet.ingest.catalogue import TABLES
from fleet.ingest.csv_file import read_csv
from fleet.ingest.file_log import FileLog

CLOSURES = TABLES["closures"]
HEADER = b"depot_code,day,name\n"
GOOD = HEADER + b"NORTH,2025-06-06,stocktaking\n"


def test_good_file_has_no_problems(closures):
    assert closures(GOOD) == []


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + GOOD,
        GOOD.replace(b"\n", b"\r\n"),
        GOOD.rstrip(b"\n"),
        GOOD + b"\n\n",
        GOOD + b",,\n,,\n",
        b'name,day,"depot_code"\n"stock, taking",2025-06-06,NORTH\n',
        HEADER,
    ],
    ids=["bom", "crlf", "no-last-end", "blank-lines", "blank-rows", "any-order", "no-rows"],
)
def test_harmless_ways_of_writing_are_read(closures, content):
    assert closures(content) == []


@pytest.mark.parametrize("content", [b"", b"\xef\xbb\xbf", b"\n", b",,\n"])
def test_empty_file_is_told(closures, content):
    assert closures(content) == [
        "closures.csv: an empty file; a first row with the column names is expected: "
        "depot_code,day,name"
    ]


def test_windows_1252_is_told_with_its_place(closures):
    assert closures(GOOD + "NORTH,2025-06-07,Fête\n".encode("cp1252")) == [
        "closures.csv: not UTF-8 at byte 67 (line 3): perhaps saved as Windows-1252; "
        "save it as 'CSV UTF-8 (comma separated)'"
    ]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_told(closures, encoding):
    (told,) = closures(GOOD.decode().encode(encoding))

    assert told.startswith("closures.csv: ")
    assert "saved as UTF-16" in told
    assert told.endswith("save it as 'CSV UTF-8 (comma separated)'")


def test_zero_byte_is_told_with_its_place(closures):
    assert closures(GOOD + b"NORTH,2025-06-07,a\0b\n") == [
        "closures.csv: a zero byte at byte 67 (line 3): perhaps saved as UTF-16, or no text at "
        "all; save it as 'CSV UTF-8 (comma separated)'"
    ]


def test_file_that_ends_inside_a_character_is_told(closures):
    (told,) = closures(GOOD + "NORTH,2025-06-07,Fê".encode()[:-1])

    assert told.startswith("closures.csv: not UTF-8 at byte 68: the file ends inside a character")


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (b"x" * 14 + b"\n" + b"\xc3\n" + b"y" * 40, "byte 15 (line 2)"),
        (b"x" * 14 + b"\n" + "é\n".encode() + b"y\xff" + b"y" * 40, "byte 19 (line 3)"),
        (b"x" * 14 + b"\n" + b"xy\n\xff", "byte 18 (line 3)"),
    ],
    ids=["at-the-seam", "after-the-seam", "nothing-waiting"],
)
def test_broken_character_across_chunks_is_told_with_its_place(
    tmp_path, monkeypatch, content, place
):
    monkeypatch.setattr("fleet.ingest.csv_file._CHUNK", 16)
    path = tmp_path / "closures.csv"
    path.write_bytes(content)
    log = FileLog("closures.csv")

    assert list(read_csv(path, CLOSURES, log)) == []
    assert [str(problem) for problem in log.problems] == [
        f"closures.csv: not UTF-8 at {place}: perhaps saved as Windows-1252; "
        "save it as 'CSV UTF-8 (comma separated)'"
    ]


def test_zero_byte_before_a_broken_character_is_told_first(closures):
    (told,) = closures(b"a\0b\xff")

    assert told.startswith("closures.csv: a zero byte at byte 1 (line 1): ")


def test_characters_across_chunks_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr("fleet.ingest.csv_file._CHUNK", 3)
    path = tmp_path / "closures.csv"
    path.write_text("depot_code,day,name\nNORTH,2025-06-06,麻野台ที่สูง\n", encoding="utf-8")
    log = FileLog("closures.csv")

    rows = list(read_csv(path, CLOSURES, log))

    assert rows == [(2, {"depot_code": "NORTH", "day": "2025-06-06", "name": "麻野台ที่สูง"})]
    assert log.problems == []


def test_endless_line_is_told(closures, monkeypatch):
    monkeypatch.setattr("fleet.ingest.csv_file._LINE_LIMIT", 50)

    assert closures(HEADER + b"x" * 60) == [
        "closures.csv: line 2 is longer than 50 bytes; this is no table"
    ]


@pytest.mark.parametrize(
    ("sign", "words"), [(b";", "semicolons"), (b"\t", "tabs"), (b"|", "upright strokes")]
)
def test_other_separators_are_told(closures, sign, words):
    (told,) = closures(GOOD.replace(b",", sign))

    assert told == (
        f"closures.csv row 1: {b'depot_code,day,name'.replace(b',', sign).decode()!r} found; "
        f"columns separated by {words}; save it as CSV with commas"
    )


def test_rows_of_another_width_are_told_and_the_rest_is_read(closures):
    assert closures(HEADER + b"NORTH,2025-06-06\nNORTH,2025-06-07,a,b\nNORTH,2025-6-8,c\n") == [
        "closures.csv row 2: 2 cells where the header has 3",
        "closures.csv row 3: 4 cells where the header has 3; a comma inside a cell needs "
        "quotation marks",
        "closures.csv row 4, column day: '2025-6-8' found; year-month-day is expected; "
        "write 2025-06-08",
    ]


def test_quotation_mark_never_closed_is_told(closures):
    assert closures(GOOD + b'NORTH,2025-06-07,"open\nNORTH,2025-06-08,more\n') == [
        "closures.csv row 3: a quotation mark is opened and never closed; nothing below it was read"
    ]


def test_quotation_mark_swallowing_more_than_a_cell_may_hold_is_told(closures):
    swallowed = b"NORTH,2025-06-08,more\n" * 7000

    assert closures(GOOD + b'NORTH,2025-06-07,"open\n' + swallowed) == [
        "closures.csv row 3: a quotation mark is opened and never closed; nothing below it was read"
    ]


def test_text_after_a_closing_quotation_mark_is_told(closures):
    assert closures(GOOD + b'NORTH,2025-06-07,"a"b\n') == [
        "closures.csv row 3: a cell goes on after its closing quotation mark; "
        'write "" for one inside a cell; nothing below it was read'
    ]


def test_rows_below_a_cell_of_several_lines_are_told_as_records(problems, network):
    network.change("sites", {"site_code": "S02"}, hazards="bull\nbees")
    network.change("sites", {"site_code": "S02"}, importance="high")
    network.change("sites", {"site_code": "S04"}, importance="low")

    assert problems(network) == [
        "sites.csv row 3, column importance: 'high' found; a number such as 12.5 is expected",
        "sites.csv row 5, column importance: 'low' found; a number such as 12.5 is expected "
        "(rows are counted as records: row 3 has several lines)",
    ]


def test_file_that_cannot_be_opened_is_told(tmp_path):
    log = FileLog("closures.csv")

    assert list(read_csv(tmp_path / "closures.csv", CLOSURES, log)) == []
    assert [str(problem) for problem in log.problems] == [
        "closures.csv: the file cannot be read: No such file or directory"
    ]
    assert log.complete is False


def test_rows_are_read_one_by_one(tmp_path):
    path = tmp_path / "closures.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEADER.decode().strip().split(","), ["N", "d", "x"]])
        file.write("N,d,broken,row\n" * 3)
    log = FileLog("closures.csv")

    first = next(read_csv(path, CLOSURES, log))

    assert first == (2, {"depot_code": "N", "day": "d", "name": "x"})
    assert log.problems == []

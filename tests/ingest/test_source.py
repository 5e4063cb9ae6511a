"""Folders, single files and workbooks: what is taken as a table, and what is told."""

from pathlib import Path

import pytest
import xlsxwriter

ALL_CSV = (
    "depots.csv, closures.csv, technicians.csv, skills.csv, absences.csv, bases.csv, "
    "nights_out.csv, rest_rules.csv, homes.csv, vehicles.csv, gauge_types.csv, sites.csv, "
    "access_rules.csv, access_windows.csv, instruments.csv, installations.csv, policies.csv, "
    "devices.csv, "
    "certificates.csv, visits.csv, gauge_checks.csv, tip_runs.csv, switch_readings.csv, "
    "findings.csv, daily_totals.csv, follow_ups.csv or holds.csv is"
)
AS_CSV = "save it as CSV UTF-8 or as one .xlsx workbook"


def test_folder_is_read_without_its_other_files(read, network, tmp_path):
    folder = network.write(tmp_path / "network")
    (folder / "README.md").write_text("about", encoding="utf-8")
    (folder / "outline.geojson").write_text("{}", encoding="utf-8")
    (folder / ".~lock.sites.csv").write_text("lock", encoding="utf-8")
    (folder / "corrections").mkdir()
    (folder / "corrections" / "sites.csv").write_text("", encoding="utf-8")

    batch = read(folder)

    assert batch.problems == []
    assert len(batch.rows["sites"]) == 6


def test_tables_come_in_an_order_in_which_references_come_first(read, network):
    batch = read(network)

    assert list(batch.rows)[:4] == ["depots", "closures", "technicians", "skills"]
    assert batch.files["sites"] == "sites.csv"


def test_single_file_is_its_table(read, network, tmp_path):
    path = network.write(tmp_path / "network") / "gauge_types.csv"

    batch = read(path)

    assert batch.problems == []
    assert list(batch.rows) == ["gauge_types"]


def test_unknown_file_name_is_told_with_the_nearest_and_blames_no_other_file(
    problems, network, tmp_path
):
    folder = network.write(tmp_path / "network")
    (folder / "visits.csv").rename(folder / "Visit.csv")

    assert problems(folder) == [
        "Visit.csv: no input table has the name of this file (did you mean 'visits'?)"
    ]


def test_name_like_no_table_is_told_with_all_tables(problems, tmp_path):
    path = tmp_path / "zzz.csv"
    path.write_text("a,b\n", encoding="utf-8")

    assert problems(path) == [
        f"zzz.csv: no input table has the name of this file; {ALL_CSV} expected"
    ]


def test_table_given_twice_is_told(problems, network, tmp_path):
    folder = network.write(tmp_path / "network")
    (folder / "depots.CSV").write_bytes((folder / "depots.csv").read_bytes())

    assert problems(folder) == ["depots.csv: depots.CSV holds this table already"]


def test_folder_without_tables_is_told(problems, tmp_path):
    assert problems(tmp_path) == [f"{tmp_path}: no CSV file in it; {ALL_CSV} expected"]


@pytest.mark.parametrize("ending", [".xlsx", ".ods", ".txt", ".tsv", ".xls"])
def test_table_in_another_format_in_a_folder_is_told(problems, tmp_path, ending):
    (tmp_path / f"visits{ending}").write_bytes(b"")

    assert problems(tmp_path) == [
        f"visits{ending}: only CSV files are read from a folder; {AS_CSV}, and name that"
    ]


def test_path_that_is_not_there_is_told(problems, tmp_path):
    path = tmp_path / "nothing"

    assert problems(path) == [f"{path}: there is no such file or folder"]


def test_folder_that_cannot_be_listed_is_told(problems, tmp_path, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", refuse)

    assert problems(tmp_path) == [f"{tmp_path}: it cannot be read: Permission denied"]


@pytest.mark.parametrize("name", ["visits.ods", "visits.xls", "visits.pdf", "visits"])
def test_other_formats_are_told(problems, tmp_path, name):
    (tmp_path / name).write_bytes(b"x")

    assert problems(tmp_path / name) == [
        f"{name}: a CSV file or a workbook (.xlsx) is expected; {AS_CSV}"
    ]


@pytest.mark.parametrize("content", [b"", b"no workbook", b"PK\x03\x04 broken"])
def test_file_that_is_no_workbook_is_told(problems, tmp_path, content):
    (tmp_path / "network.xlsx").write_bytes(content)

    assert problems(tmp_path / "network.xlsx") == [
        "network.xlsx: it is no .xlsx workbook, or is damaged or locked; save it anew"
    ]


def test_workbook_without_content_is_told(problems, tmp_path):
    path = tmp_path / "network.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("Sheet1")

    (told,) = problems(path)

    assert told.startswith("network.xlsx: a workbook without content; depots, closures, ")
    assert told.endswith(" or holds is expected as sheets")


def test_unknown_sheet_is_told_and_empty_ones_are_passed_over(problems, tmp_path):
    path = tmp_path / "network.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("closures")
        sheet.write_row(0, 0, ["depot_code", "day", "name"])
        book.add_worksheet("Sheet2")
        book.add_worksheet("Depots").write(0, 0, "depot_code")

    assert problems(path) == [
        "network.xlsx sheet Depots: no input table has the name of this sheet "
        "(did you mean 'depots'?)"
    ]

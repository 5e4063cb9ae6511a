"""Reading a filled-in visit form: fill the workbook's own cells, read every blank back."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest

from fleet.domain.visit_form import GAUGE_ROWS, VISIT_ROWS, BlankKind
from fleet.ingest.form_answer import StopAnswers
from fleet.ingest.form_row import FormRecord, StopRecords, stop_records
from fleet.ingest.native_cell import blank_text
from fleet.ingest.visit_form import is_visit_form, read_visit_form
from fleet.reports.visit_form import write_visit_form
from tests.form_factory import full_answers, make_form, make_gauge, make_sheet
from tests.form_filler import LOST, fill, set_cells

TODAY = date(2025, 6, 2)


@pytest.fixture
def blank(tmp_path: Path) -> Path:
    path = tmp_path / "monday.xlsx"
    write_visit_form(make_form(), path)
    return path


def read_one(path: Path) -> StopAnswers:
    form = read_visit_form(path)
    assert form.problems == []
    return form.stops[0]


def records_of(path: Path) -> StopRecords:
    return stop_records(read_one(path), today=TODAY)


def rows(made: StopRecords, table: str) -> list[dict[str, str]]:
    return [dict(record.cells) for record in made.records if record.table == table]


def problem_texts(path: Path) -> list[str]:
    form = read_visit_form(path)
    made = [stop_records(stop, today=TODAY) for stop in form.stops]
    return [str(problem) for problem in [*form.problems, *(p for m in made for p in m.problems)]]


def test_blank_form_is_a_visit_form_and_untouched(blank):
    stop = read_one(blank)

    assert is_visit_form(blank)
    assert (stop.site_code, stop.time_zone) == ("S01", "Etc/GMT-1")
    assert [gauge.serial for gauge in stop.gauges] == ["00417"]
    assert not stop.touched(VISIT_ROWS, GAUGE_ROWS)


def test_prefilled_blanks_alone_leave_a_sheet_untouched(blank):
    fill(blank, {("purpose", 1): "repair", ("00417|as_found.1", 1): 650})

    assert not read_one(blank).touched(VISIT_ROWS, GAUGE_ROWS)


def test_filled_form_gives_the_rows_of_every_table(blank):
    fill(blank, full_answers())

    made = records_of(blank)

    assert made.problems == []
    assert made.visit_ref == "S01/20250520-0900"
    assert rows(made, "visits") == [
        {
            "visit_ref": "S01/20250520-0900",
            "site_code": "S01",
            "technician_codes": "T01 T02",
            "arrived_at": "2025-05-20T09:00+01:00",
            "departed_at": "2025-05-20T10:30+01:00",
            "purpose": "routine",
            "outcome": "done",
            "not_done_reason": "",
            "note": "两次 =1+1 кап",
        }
    ]
    (check,) = rows(made, "gauge_checks")
    assert check == {
        "visit_ref": "S01/20250520-0900",
        "serial": "00417",
        "isolated_at": "2025-05-20T09:10+01:00",
        "restored_at": "2025-05-20T10:20+01:00",
        "restoration_proven": "yes",
        "level_found": "out_of_ring",
        "level_left": "in_ring",
        "cleaned": "yes",
        "adjusted": "no",
        "parts": "reed switch",
    }


def test_filled_form_gives_runs_with_prefilled_volume_and_start(blank):
    fill(blank, full_answers())

    runs = rows(records_of(blank), "tip_runs")

    told = [
        (r["phase"], r["run_number"], r["volume_ml"], r["tips"], r["start_state"]) for r in runs
    ]
    assert told == [
        ("as_found", "1", "800", "38", "unknown"),
        ("as_found", "2", "800", "39", "emptied"),
        ("as_left", "1", "800", "40", "emptied"),
        ("as_left", "2", "805.5", "40", "emptied"),
    ]
    assert (runs[0]["duration_s"], runs[0]["device_code"]) == ("1100", "D01")


def test_filled_form_gives_one_row_a_switch_reading(blank):
    fill(blank, full_answers())

    readings = rows(records_of(blank), "switch_readings")

    told = [
        (r["phase"], r["kind"], r["value"], r["over_range"], r["measured_at"]) for r in readings
    ]
    assert told == [
        ("as_found", "closed_ohm", "", "yes", "gauge_terminals"),
        ("as_left", "closed_ohm", "0.4", "no", "logger"),
        ("as_left", "open_ohm", "20000000", "no", "logger"),
        ("as_left", "manual_tips", "10", "no", "logger"),
    ]
    assert readings[1]["device_code"] == "D02"


def test_findings_are_numbered_through_the_visit(tmp_path):
    path = tmp_path / "two.xlsx"
    gauges = (make_gauge(), make_gauge(serial="00523", position="second"))
    write_visit_form(make_form(make_sheet(gauges=gauges)), path)
    other = {key: value for key, value in full_answers("00523").items() if "00523" in key[0]}
    fill(path, {**full_answers(), **other, ("00417|finding.3", 1): "drain"})

    findings = rows(records_of(path), "findings")

    told = [(row["serial"], row["finding_number"], row["component"]) for row in findings]
    assert told == [("00417", "1", "screen"), ("00417", "2", "drain"), ("00523", "3", "screen")]


def test_gauge_that_was_left_out_is_named_and_gives_no_check(blank):
    answers = {key: value for key, value in full_answers().items() if "|" not in key[0]}
    fill(blank, {**answers, ("outcome", 1): "not done", ("reason", 1): "no access"})

    made = records_of(blank)

    assert made.unchecked == ["00417"]
    assert [record.table for record in made.records] == ["visits"]
    assert rows(made, "visits")[0]["not_done_reason"] == "no_access"


def test_text_days_and_times_read_as_native_ones(blank, tmp_path):
    native = fill(blank, full_answers())
    texts = tmp_path / "texts.xlsx"
    write_visit_form(make_form(), texts)
    in_text = {
        ("day", 1): "2025-05-20",
        ("arrived", 1): "09:00",
        ("departed", 1): "2025-05-20 10:30",
        ("00417|isolated", 1): "2025-05-20T09:10+01:00",
        ("00417|restored", 1): datetime(2025, 5, 20, 10, 20),  # noqa: DTZ001  # a cell's local time
    }
    fill(texts, {**full_answers(), **in_text})

    assert [r.cells for r in records_of(texts).records] == [
        r.cells for r in records_of(native).records
    ]


def test_visit_past_midnight_is_told_by_day_and_time(blank):
    late = {("arrived", 1): time(23, 10), ("departed", 1): "2025-05-21 00:40"}
    fill(blank, {**full_answers(), **late})

    (visit,) = rows(records_of(blank), "visits")

    assert visit["departed_at"] == "2025-05-21T00:40+01:00"


@pytest.mark.parametrize(
    ("zone", "day", "arrived", "expected"),
    [
        # IANA: Europe/Lisbon goes from UTC+0 to UTC+1 on 2025-03-30 and back on 2025-10-26
        ("Europe/Lisbon", "2025-03-30", "01:30", "is put forward and never shows this time"),
        (
            "Europe/Lisbon",
            "2024-10-27",
            "01:30",
            "shows this time twice; write 2024-10-27T01:30+01:00 or 2024-10-27T01:30+00:00",
        ),
        ("Etc/GMT-1", "2025-05-20", "9:00", "hours and minutes of two digits"),
        ("Etc/GMT-1", "2025-05-20", "25:00", "no such clock time"),
        ("Etc/GMT-1", "2025-05-20", "noon", "a clock time from 00:00 to 23:59"),
        ("Etc/GMT-1", "20.05.2025", "09:00", "which is the day and which the month"),
        ("Etc/GMT-1", "2025-02-30", "09:00", "2025-02 has 28 days"),
        ("Etc/GMT-1", "2025-06-04", "09:00", "in the future; a day up to 2025-06-03"),
        ("Etc/GMT-1", "45797", "09:00", "a spreadsheet's day number"),
        ("Etc/GMT-1", None, "09:00", "a value is required: the day of arrival"),
    ],
)
def test_moment_that_cannot_be_is_a_problem_of_its_cell(tmp_path, zone, day, arrived, expected):
    path = tmp_path / "odd.xlsx"
    write_visit_form(make_form(make_sheet(time_zone=zone)), path)
    fill(path, {("day", 1): day, ("arrived", 1): arrived, ("outcome", 1): "done"})

    (told,) = [text for text in problem_texts(path) if expected in text]

    assert told.startswith("odd.xlsx sheet '1 S01' row ")
    assert "column C (Day of arrival)" in told or "column C (Arrived at)" in told


def test_serial_read_on_another_gauge_is_a_problem(blank):
    fill(blank, {**full_answers(), ("00417|serial_read", 1): "00999"})

    (told,) = problem_texts(blank)

    assert (
        "column C (Serial read on the gauge): '00999' found; this form is for gauge 00417" in told
    )


def test_code_stored_as_a_number_is_a_problem(blank):
    fill(blank, {**full_answers(), ("technicians", 1): 7, ("00417|serial_read", 1): 417})

    told = problem_texts(blank)

    assert len(told) == 2
    assert all("stored as a number, leading zeros may be lost" in text for text in told)


def test_formula_that_was_never_computed_is_a_problem_and_not_an_empty_blank(blank):
    fill(blank, {**full_answers(), ("00417|as_found.1", 1): LOST, ("note", 1): LOST})

    told = problem_texts(blank)

    assert len(told) == 2
    assert all("a formula without a stored value" in text for text in told)
    assert all("monday.xlsx sheet '1 S01' row" in text for text in told)


def test_form_saved_in_another_format_is_no_visit_form(blank):
    assert not is_visit_form(blank.rename(blank.with_suffix(".xls")))


def test_meter_without_a_reading_is_a_problem(blank):
    answers = {**full_answers(), ("00417|switch.as_found", 1): None}
    fill(blank, answers)

    (told,) = problem_texts(blank)

    assert "(As found, Closed ohm): a reading is required" in told


def test_reference_of_a_recorded_visit_takes_the_place_of_the_rule(blank):
    fill(blank, {**full_answers(), ("visit_ref", 1): "V-2025-112"})

    made = records_of(blank)

    assert {record.cells["visit_ref"] for record in made.records} == {"V-2025-112"}


def test_reading_back_does_not_depend_on_the_place_of_rows(blank):
    fill(blank, full_answers())
    before = [record.cells for record in records_of(blank).records]

    _move_rows_down(blank)

    assert [record.cells for record in records_of(blank).records] == before


def _move_rows_down(path: Path) -> None:
    """Push every row of the first stop one down, as an inserted row does."""
    import re
    import zipfile

    part = "xl/worksheets/sheet2.xml"
    with zipfile.ZipFile(path) as book:
        files = {name: book.read(name) for name in book.namelist()}

    def moved(match: re.Match[str]) -> str:
        number = int(match[2])
        return f'{match[1]}{number + (number > 1)}"'

    text = files[part].decode()
    text = re.sub(r'(<row r=")([0-9]+)"', moved, text)
    text = re.sub(r'(<c r="[A-Z])([0-9]+)"', moved, text)
    with zipfile.ZipFile(path, "w") as book:
        for name, content in {**files, part: text.encode()}.items():
            book.writestr(name, content)


@pytest.mark.parametrize(
    ("cell", "value", "expected"),
    [
        ("A1", "visit-form 99", "'visit-form 1' is expected; make a new form"),
        ("A2", None, "the row of the site is missing"),
        ("A3", "clock|Nowhere/Here", "an IANA time zone"),
        ("A7", "visit|weather", "this row is not part of a form"),
        ("A7", None, "the row 'Day of arrival' of visit is missing"),
        ("A8", "visit|day", "this row stands twice"),
    ],
)
def test_damaged_keys_are_problems_and_nothing_is_read(blank, cell, value, expected):
    set_cells(blank, {_key_cell(blank, cell): value})

    form = read_visit_form(blank)

    assert form.stops == []
    assert any(expected in str(problem) for problem in form.problems)


def _key_cell(path: Path, cell: str) -> str:
    """Give A7 and A8 as the rows of day and arrival, wherever they stand."""
    from tests.form_filler import address_of

    if cell in ("A7", "A8"):
        return "A" + address_of(path, "day" if cell == "A7" else "arrived")[1:]
    return cell


def test_sheet_that_no_form_has_is_passed_over(blank):
    form = read_visit_form(blank)

    assert form.foreign == ["read me", "lists"]


@pytest.mark.parametrize("content", [b"", b"PK", b"not a workbook at all"])
def test_file_that_is_no_workbook_is_no_visit_form(tmp_path, content):
    path = tmp_path / "broken.xlsx"
    path.write_bytes(content)

    assert not is_visit_form(path)
    assert not is_visit_form(tmp_path)
    assert not is_visit_form(tmp_path / "missing.xlsx")


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (None, BlankKind.TEXT, ""),
        (True, BlankKind.YES_NO, "yes"),
        (False, BlankKind.YES_NO, "no"),
        (37.0, BlankKind.COUNT, "37"),
        (0.4, BlankKind.OHM, "0.4"),
        (date(2025, 3, 31), BlankKind.DAY, "2025-03-31"),
        (datetime(2025, 3, 31, 0, 0), BlankKind.DAY, "2025-03-31"),  # noqa: DTZ001
        (datetime(2025, 3, 31, 9, 5, 59), BlankKind.CLOCK, "2025-03-31T09:05"),  # noqa: DTZ001
        (date(2025, 3, 31), BlankKind.CLOCK, "2025-03-31T00:00"),
        (time(9, 5, 59), BlankKind.CLOCK, "09:05"),
        (timedelta(hours=9, minutes=5), BlankKind.CLOCK, "09:05"),
    ],
)
def test_native_cell_is_read_as_it_is_shown(value, kind, text):
    assert blank_text(value, kind) == (text, "")


def test_place_of_every_answer_is_known(blank):
    fill(blank, full_answers())

    made = records_of(blank)

    run = next(record for record in made.records if record.table == "tip_runs")
    assert isinstance(run, FormRecord)
    assert run.places["tips"].column == "D (Run 1, Tips)"
    assert run.places["tips"].row == 26

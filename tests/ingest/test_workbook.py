"""Workbooks: native cells taken where they cannot be misread, lost cells told, damage told.

Cell types after ECMA-376 part 1, 18.18.11 (t="e" is an error, "str" a formula's text).
"""

from datetime import date, datetime, time, timedelta
from io import BytesIO
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
import xlsxwriter

from fleet.domain.code import VisitOutcome
from fleet.ingest.catalogue import TABLES
from fleet.ingest.cell import CellError
from fleet.ingest.contract import Kind
from fleet.ingest.known import KnownCodes
from fleet.ingest.native_cell import table_text
from fleet.ingest.sheet_scan import SheetScan, scan_sheet
from fleet.ingest.workbook import WorkbookError, open_workbook

NORTH = KnownCodes(keys={"depots": frozenset({("NORTH",)})})
DEVICE = KnownCodes(keys={"devices": frozenset({("D01",)})})
HEADER = ("depot_code", "day", "name")
TYPES = (
    "type_code",
    "description",
    "bucket_mm",
    "orifice_area_cm2",
    "area_basis",
    "siphon",
    "test_volume_ml",
)


@pytest.fixture
def write(tmp_path):
    """Write rows of native cells into sheets: ``write(closures=[...])``; give the path."""

    def write(*, left=0, top=0, **sheets):
        path = tmp_path / "network.xlsx"
        with xlsxwriter.Workbook(path, {"strings_to_formulas": False}) as book:
            styles = {
                date: book.add_format({"num_format": "yyyy-mm-dd"}),
                datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
                time: book.add_format({"num_format": "hh:mm"}),
                timedelta: book.add_format({"num_format": "[h]:mm"}),
            }
            for name, rows in sheets.items():
                sheet = book.add_worksheet(name)
                for number, row in enumerate(rows):
                    for place, cell in enumerate(row):
                        style = styles.get(type(cell))
                        sheet.write(top + number, left + place, cell, *([style] if style else []))
        return path

    return write


@pytest.fixture
def edit(tmp_path):
    """Change a part of a workbook, its first sheet: ``edit(path, old, new)``; give the new path."""

    def edit(path, old, new, *, part="xl/worksheets/sheet1.xml"):
        changed = tmp_path / "changed.xlsx"
        with ZipFile(path) as source, ZipFile(changed, "w", ZIP_DEFLATED) as target:
            for name in source.namelist():
                content = source.read(name)
                if name == part:
                    assert old in content
                    content = content.replace(old, new)
                target.writestr(name, content)
        return changed

    return edit


def test_workbook_reads_native_cells(read, write):
    sheet = [TYPES, ("TB05", "0.5 mm bucket", 0.5, 400, "nominal", True, 800.0)]

    batch = read(write(gauge_types=sheet))

    assert batch.problems == []
    assert batch.files == {"gauge_types": "network.xlsx sheet gauge_types"}
    assert batch.rows["gauge_types"][0].row_number == 2
    assert batch.rows["gauge_types"][0].values == {
        "type_code": "TB05",
        "description": "0.5 mm bucket",
        "bucket_mm": 0.5,
        "orifice_area_cm2": 400.0,
        "area_basis": "nominal",
        "siphon": True,
        "test_volume_ml": 800.0,
    }


def test_workbook_takes_texts_in_place_of_native_cells(read, write):
    sheet = [TYPES, ("TB05", "0.5 mm bucket", "0.5", "400", "nominal", "yes", "800")]

    assert read(write(gauge_types=sheet)).rows["gauge_types"][0].values["bucket_mm"] == 0.5


def test_workbook_reads_native_days(read, write):
    path = write(closures=[HEADER, ("NORTH", date(2025, 6, 6), "stocktaking")])

    batch = read(path, known=NORTH)

    assert batch.problems == []
    assert batch.rows["closures"][0].values["day"] == date(2025, 6, 6)


def test_workbook_tells_codes_stored_as_numbers(problems, write):
    sheet = [("device_code", "kind", "description", "serial"), ("D01", "meter", "a meter", 417)]

    assert problems(write(devices=sheet)) == [
        "network.xlsx sheet devices row 2, column serial: '417' found; stored as a number, "
        "leading zeros may be lost: format the column as text"
    ]


def test_workbook_counts_rows_as_the_sheet_does(problems, write):
    sheet = [HEADER, (), ("NORTH", "2025-06-06", "x"), (), ("NORTH", "2025-6-7", "x")]

    assert problems(write(closures=sheet), known=NORTH) == [
        "network.xlsx sheet closures row 5, column day: '2025-6-7' found; year-month-day is "
        "expected; write 2025-06-07"
    ]


def test_workbook_wants_the_header_in_the_first_row(problems, write):
    sheet = [HEADER, ("NORTH", "2025-06-06", "x")]

    assert problems(write(closures=sheet, top=1), known=NORTH) == [
        "network.xlsx sheet closures: an empty file; a first row with the column names is "
        "expected: depot_code,day,name"
    ]


def test_workbook_reads_columns_further_right_and_tells_the_nameless_ones(problems, write):
    sheet = [HEADER, ("NORTH", "2025-06-06", "x")]

    assert problems(write(closures=sheet, left=2), known=NORTH) == [
        "network.xlsx sheet closures row 1: columns 1, 2 have no name; name or delete what has none"
    ]


def test_workbook_tells_error_cells_that_its_reader_gives_as_empty(problems, write, edit):
    path = write(
        gauge_types=[TYPES, ("TB05", "text", 0.5, 400, "nominal", True, 800), ("TB06", *["x"] * 6)]
    )
    broken = edit(path, b'<c r="D2"><v>400</v></c>', b'<c r="D2" t="e"><v>#DIV/0!</v></c>')

    assert problems(broken)[0] == (
        "changed.xlsx sheet gauge_types row 2, column orifice_area_cm2: an error of the "
        "spreadsheet, #DIV/0!; correct its formula"
    )


def test_workbook_tells_formulas_never_computed(problems, write, edit):
    header = TABLES["certificates"].column_names
    path = write(certificates=[header, ("D01", "1", "2025-01-01", "2025-12-31", 800, 2, "room")])
    broken = edit(path, b"<v>800</v>", b"<f>2*400</f><v></v>")

    assert problems(broken, known=DEVICE) == [
        "changed.xlsx sheet certificates row 2, column volume_ml: a formula without a stored "
        "value; open and save the workbook, or paste values"
    ]


def test_workbook_tells_lost_cells_without_references_and_below_the_last_row(problems, write, edit):
    path = write(closures=[HEADER, ("NORTH", "2025-06-06", "x")])
    lost = b'<row><c t="str"><v>NORTH</v></c><c t="e"><v>#REF!</v></c></row></sheetData>'

    assert problems(edit(path, b"</sheetData>", lost), known=NORTH)[0] == (
        "changed.xlsx sheet closures row 3, column day: an error of the spreadsheet, #REF!; "
        "correct its formula"
    )


def test_workbook_tells_lost_cells_below_everything_that_its_reader_sees(problems, write, edit):
    path = write(closures=[HEADER, ("NORTH", "2025-06-06", "x")])
    lost = b'<row r="9"><c r="B9"><f>TODAY()</f></c></row></sheetData>'

    assert problems(edit(path, b"</sheetData>", lost), known=NORTH) == [
        "changed.xlsx sheet closures row 9, column day: a formula without a stored value; "
        "open and save the workbook, or paste values",
        "changed.xlsx sheet closures row 9, column depot_code: a value is required: the depot",
        "changed.xlsx sheet closures row 9, column name: a value is required: why",
    ]


def test_scan_sheet_sees_across_its_chunks(monkeypatch):
    monkeypatch.setattr("fleet.ingest.sheet_scan._CHUNK", 5)
    xml = b'<row spans="1:30" r="12"><c r="A12"/><c r="AB12" s="1" t="e"><v>#N/A</v></c></row>'

    assert scan_sheet(BytesIO(xml)) == SheetScan(rows=12, columns=28, has_lost_cells=True)


def test_scan_sheet_suspects_nothing_in_plain_values():
    xml = b'<x:row r="2"><x:c r="A2" t="s"><x:v>0</x:v></x:c></x:row>'

    assert scan_sheet(BytesIO(xml)) == SheetScan(rows=2, columns=26, has_lost_cells=False)


def test_workbook_takes_formulas_with_stored_values(read, tmp_path):
    path = tmp_path / "network.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("gauge_types")
        sheet.write_row(0, 0, TYPES)
        sheet.write_row(1, 0, ["TB05", "x", 0.5, None, "nominal", True, 800])
        sheet.write_formula(1, 3, "=20*20", None, 400)

    batch = read(path)

    assert batch.problems == []
    assert batch.rows["gauge_types"][0].values["orifice_area_cm2"] == 400.0


def test_workbook_takes_a_formula_that_gives_no_text_as_empty(read, write, edit):
    header = TABLES["certificates"].column_names
    path = write(certificates=[header, ("D01", "1", "2025-01-01", "2025-12-31", 800, 2, "room")])
    formula = b'<c r="E2" t="str"><f>IF(1,"",800)</f><v></v></c>'

    batch = read(edit(path, b'<c r="E2"><v>800</v></c>', formula), known=DEVICE)

    assert batch.problems == []
    assert batch.rows["certificates"][0].values["volume_ml"] is None


def test_workbook_passes_over_error_cells_outside_its_columns(problems, write, edit):
    path = write(closures=[HEADER, ("NORTH", "2025-06-06", "x", 7)])
    broken = edit(path, b'<c r="D2"><v>7</v></c>', b'<c r="D2" t="e"><v>#N/A</v></c>')

    assert problems(broken, known=NORTH) == [
        "changed.xlsx sheet closures row 1: column 4 has no name; name or delete what has none"
    ]


def test_workbook_passes_over_charts(read, tmp_path):
    path = tmp_path / "network.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("closures")
        sheet.write_row(0, 0, HEADER)
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "=closures!$A$1:$A$2"})
        book.add_chartsheet("curve").set_chart(chart)

    assert read(path).problems == []


def test_workbook_that_would_take_all_memory_is_refused(write):
    path = write(closures=[HEADER])
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("closures")
        sheet.write_row(0, 0, HEADER)
        sheet.write(1048575, 16383, "stray")

    with pytest.raises(WorkbookError) as error:
        open_workbook(path)

    assert str(error.value) == (
        "sheet closures spans 1048576 rows and 16384 columns; delete the cells outside its table"
    )


def test_workbook_that_announces_more_entries_than_it_holds_is_refused(write, edit):
    """A reader that makes room for them all would end the program."""
    path = write(closures=[("depot_code", "day", "name"), ("NORTH", "2025-06-06", "x")])
    part = "xl/sharedStrings.xml"
    broken = edit(path, b'uniqueCount="6"', b'uniqueCount="99999999999"', part=part)

    with pytest.raises(WorkbookError, match=r"sharedStrings\.xml announces 99999999999 entries"):
        open_workbook(broken)


def test_workbook_with_a_damaged_part_is_refused(write, edit):
    path = write(closures=[HEADER, ("NORTH", "2025-06-06", "x")])

    with pytest.raises(WorkbookError, match=r"^it is damaged \(.*\); save it anew$"):
        open_workbook(edit(path, b"</sheetData>", b"</sheetDat"))


def test_panic_of_the_reader_is_told_and_an_interrupt_goes_on(write, monkeypatch):
    class Panic(BaseException):
        """Stands for what a reader written in another language throws."""

    path = write(closures=[HEADER])
    for thrown, caught in (
        (Panic("index"), WorkbookError),
        (KeyboardInterrupt(), KeyboardInterrupt),
    ):

        def fail(packed, thrown=thrown):
            raise thrown

        monkeypatch.setattr("fleet.ingest.workbook.sheet_parts", fail)
        with pytest.raises(caught):
            open_workbook(path)


def test_workbook_shows_numbers_that_are_not_whole(problems, write):
    sheet = [("device_code", "kind", "description", "serial"), ("D01", "meter", "m", 4.5)]

    assert problems(write(devices=sheet)) == [
        "network.xlsx sheet devices row 2, column serial: '4.5' found; stored as a number, "
        "leading zeros may be lost: format the column as text"
    ]


def test_workbook_with_text_and_csv_give_the_same_rows(read, network, tmp_path):
    path = tmp_path / "network.xlsx"
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False}) as book:
        for name, rows in network.tables.items():
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, list(rows[0]))
            for number, row in enumerate(rows, start=1):
                sheet.write_row(number, 0, list(row.values()))

    from_book, from_folder = read(path), read(network)

    assert from_book.problems == []
    assert from_book.rows == from_folder.rows
    assert from_book.rows["visits"][11].values["outcome"] is VisitOutcome.NOT_DONE


@pytest.mark.parametrize(
    ("cell", "kind", "text"),
    [
        (5.0, Kind.INTEGER, "5"),
        (5.0, Kind.NUMBER, "5"),
        (0.1, Kind.NUMBER, "0.1"),
        (5.5, Kind.INTEGER, "5.5"),
        (1e300, Kind.NUMBER, "1e+300"),
        (True, Kind.YES_NO, "yes"),
        (False, Kind.YES_NO, "no"),
        (date(2025, 6, 6), Kind.DAY, "2025-06-06"),
        (time(9, 30), Kind.CLOCK, "09:30"),
        ("a\r\nb", Kind.NOTE, "a\nb"),
        ("", Kind.CODE, ""),
    ],
)
def test_table_text_takes_what_cannot_be_misread(cell, kind, text):
    assert table_text(cell, kind) == text


@pytest.mark.parametrize(
    ("cell", "kind", "message"),
    [
        (
            417.0,
            Kind.CODE,
            "stored as a number, leading zeros may be lost: format the column as text",
        ),
        (
            7.0,
            Kind.TEXT,
            "stored as a number, leading zeros may be lost: format the column as text",
        ),
        (45717.0, Kind.DAY, "stored as a number; day as 2025-03-31 is expected"),
        (0.395, Kind.CLOCK, "stored as a number; clock time as 09:30 is expected"),
        (1.0, Kind.YES_NO, "stored as a number; yes or no is expected"),
        (
            45717.4,
            Kind.INSTANT,
            "stored as a number; local time with offset from UTC as 2025-03-31T09:30+01:00 is "
            "expected",
        ),
        (True, Kind.CODE, "stored as a truth value; code is expected"),
        (date(2025, 6, 6), Kind.CODE, "stored as a date; code is expected"),
        (time(9, 30), Kind.TEXT, "stored as a clock time; text on one line is expected"),
        (time(9, 30, 15), Kind.CLOCK, "a clock time without seconds is expected"),
        (
            datetime(2025, 6, 6, 9, 30),  # noqa: DTZ001  # as a spreadsheet has it
            Kind.DAY,
            "stored as a date with a time; day as 2025-03-31 is expected",
        ),
        (
            datetime(2025, 6, 6, 9, 30),  # noqa: DTZ001
            Kind.INSTANT,
            "stored as a date, which has no offset from UTC: format the column as text and write "
            "such as 2025-06-06T09:30+01:00 with the offset of the site's clock",
        ),
        (timedelta(hours=30), Kind.CLOCK, "a span of time; clock time as 09:30 is expected"),
    ],
)
def test_table_text_refuses_what_could_be_misread(cell, kind, message):
    with pytest.raises(CellError) as error:
        table_text(cell, kind)

    assert str(error.value) == message

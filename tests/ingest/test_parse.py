"""What every cell has to keep to, and how repeated cells are read."""

from datetime import date

import pytest

from fleet.ingest.cell import CellError, ascii_digits, shorten
from fleet.ingest.contract import Column, Kind
from fleet.ingest.parse import CellReader, Complaint, parse_cell

TODAY = date(2025, 6, 2)
NAME = Column(name="name", kind=Kind.TEXT, meaning="name, in any script")
NOTE = Column(name="note", kind=Kind.NOTE, meaning="remark", required=False)
EVERY_KIND = [Column(name="x", kind=kind, meaning="", choices=("done",)) for kind in Kind]


def fault(text, column=NAME):
    with pytest.raises(CellError) as error:
        parse_cell(text, column, today=TODAY)
    return str(error.value)


@pytest.mark.parametrize("column", EVERY_KIND, ids=lambda column: column.kind.name)
@pytest.mark.parametrize(
    ("text", "message"),
    [
        (" x", "blanks before or after the value; write 'x'"),
        ("x\u00a0", "blanks before or after the value; write 'x'"),
        ("x\n", "blanks before or after the value; write 'x'"),
        ("  ", "only blanks; leave the cell empty"),
        ("#REF!", "an error of the spreadsheet; correct its formula"),
        ("#N/A", "an error of the spreadsheet; correct its formula"),
        ("#####", "a spreadsheet's sign for a column too narrow; write the value"),
        ("x" * 2001, "2001 characters; at most 2000 are allowed"),
    ],
)
def test_parse_cell_refuses_in_every_kind(column, text, message):
    assert fault(text, column) == message


@pytest.mark.parametrize("column", EVERY_KIND, ids=lambda column: column.kind.name)
def test_parse_cell_wants_a_value_where_one_is_required(column):
    assert fault("", column) == "a value is required: "


def test_parse_cell_tells_what_is_missing():
    assert fault("") == "a value is required: name, in any script"


def test_parse_cell_reads_an_empty_optional_cell_as_none():
    assert parse_cell("", NOTE, today=TODAY) is None


def test_parse_cell_takes_texts_up_to_the_limit():
    assert parse_cell("x" * 2000, NOTE, today=TODAY) == "x" * 2000


def test_cell_reader_gives_complaints_in_place_of_values():
    reader = CellReader(NAME, today=TODAY)

    assert reader["Quellmoor"] == "Quellmoor"
    assert reader[""] == Complaint("a value is required: name, in any script")


def test_cell_reader_remembers_no_more_than_its_limit(monkeypatch):
    monkeypatch.setattr("fleet.ingest.parse.MEMORY_LIMIT", 3)
    reader = CellReader(NAME, today=TODAY)

    read = [reader[f"n{number}"] for number in range(5)]

    assert read == ["n0", "n1", "n2", "n3", "n4"]
    assert sorted(reader) == ["n3", "n4"]


def test_ascii_digits_turns_only_digits():
    assert ascii_digits("٢٠٢٥-०३") == "2025-03"
    assert ascii_digits("2025 m²") is None


def test_shorten_marks_what_was_cut():
    assert shorten("abcdef", 3) == "abc..."
    assert shorten("abc", 3) == "abc"

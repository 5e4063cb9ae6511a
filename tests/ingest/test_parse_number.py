"""Number cells. Expected values are literals by first principles: what the digits say."""

import pytest

from fleet.ingest.cell import CellError
from fleet.ingest.contract import Column, Kind
from fleet.ingest.parse_number import describe_range, parse_integer, parse_number

FREE = Column(name="x", kind=Kind.NUMBER, meaning="anything")
RANGED = Column(name="x", kind=Kind.NUMBER, meaning="0.05 to 2", low=0.05, high=2)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12.5", 12.5),
        ("12", 12.0),
        ("-3", -3.0),
        ("+3", 3.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("007", 7.0),
        ("1e6", 1000000.0),
        ("1E+06", 1000000.0),
        ("1.234", 1.234),
    ],
)
def test_parse_number_reads_plain_numbers(text, value):
    assert parse_number(text, FREE) == value


@pytest.mark.parametrize("text", ["0", "-0", "+0", "-0.0", "0e5"])
def test_parse_number_reads_every_zero_as_plain_zero(text):
    assert repr(parse_number(text, FREE)) == "0.0"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("12,5", "decimal comma; write 12.5"),
        (",5", "decimal comma; write .5"),
        ("0,250", "decimal comma; write 0.250"),
        ("1,234", "a decimal comma or a thousands separator; write 1.234 or 1234"),
        ("1,234,567", "thousands separators; write 1234567"),
        ("1,234.5", "thousands separators; write 1234.5"),
        ("1.234,5", "thousands separators; write 1234.5"),
        ("1.234.567", "thousands separators; write 1234567"),
        ("1 234", "thousands separators; write 1234"),
        ("-1\u202f234,5", "thousands separators; write -1234.5"),
        ("1\u00a0234\u00a0567", "thousands separators; write 1234567"),
        ("1'234", "thousands separators; write 1234"),
        ("nan", "not a finite number; leave the cell empty if the value is unknown"),
        ("NaN", "not a finite number; leave the cell empty if the value is unknown"),
        ("-Infinity", "not a finite number; leave the cell empty if the value is unknown"),
        ("1e999", "too large a number"),
        ("٤٢", "digits other than 0-9; write 42"),
        ("१२.५", "digits other than 0-9; write 12.5"),
        ("\u22125", "not the ASCII minus sign; write -5"),
        ("12.5 mm", "a number alone is expected, without letters or a unit"),
        ("12O", "a number alone is expected, without letters or a unit"),
        ("95%", "a number alone is expected, without letters or a unit"),
        ("<5", "a number such as 12.5 is expected"),
        ("1_000", "thousands separators; write 1000"),
        ("1_0", "a number such as 12.5 is expected"),
        ("1 2", "a number such as 12.5 is expected"),
        ("0x1A", "a number such as 12.5 is expected"),
        ("--5", "a number such as 12.5 is expected"),
        ("1,2,3", "a number such as 12.5 is expected"),
    ],
)
def test_parse_number_never_guesses(text, message):
    with pytest.raises(CellError) as error:
        parse_number(text, FREE)

    assert str(error.value) == message


@pytest.mark.parametrize("text", ["0.05", "2", "2.0", "1"])
def test_parse_number_takes_both_ends_of_the_range(text):
    assert parse_number(text, RANGED) == float(text)


@pytest.mark.parametrize("text", ["0.0499999", "2.0000001", "-1"])
def test_parse_number_refuses_beyond_the_range(text):
    with pytest.raises(CellError, match=r"^0\.05 to 2 is expected$"):
        parse_number(text, RANGED)


@pytest.mark.parametrize(("text", "value"), [("40", 40), ("-2", -2), ("0012", 12), ("-0", 0)])
def test_parse_integer_reads_whole_numbers(text, value):
    assert parse_integer(text, FREE) == value


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("40.0", "a whole number has no decimal point; write 40"),
        ("40.5", "a whole number of at most 15 digits is expected"),
        ("4e1", "a whole number of at most 15 digits is expected"),
        ("1234567890123456", "a whole number of at most 15 digits is expected"),
        ("9" * 5000, "a whole number of at most 15 digits is expected"),
        ("1,000", "a decimal comma or a thousands separator; write 1.000 or 1000"),
        ("forty", "a number such as 12.5 is expected"),
    ],
)
def test_parse_integer_never_guesses(text, message):
    with pytest.raises(CellError) as error:
        parse_integer(text, FREE)

    assert str(error.value) == message


def test_describe_range_tells_open_and_closed_ranges():
    low = Column(name="x", kind=Kind.NUMBER, meaning="", low=1)
    high = Column(name="x", kind=Kind.NUMBER, meaning="", high=1e9)

    assert [describe_range(column) for column in (FREE, RANGED, low, high)] == [
        "",
        "0.05 to 2",
        "1 or more",
        "1000000000 or less",
    ]

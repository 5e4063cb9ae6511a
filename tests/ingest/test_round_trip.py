"""Properties: rows written as CSV come back equal; any fault of a file is told, not raised."""

import csv
import io
import tempfile
from datetime import date, datetime, timedelta, timezone
from enum import StrEnum
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.domain.csv_text import guarded
from fleet.ingest.batch import read_batch
from fleet.ingest.catalogue import TABLES
from fleet.ingest.contract import Kind
from fleet.ingest.csv_file import read_csv
from fleet.ingest.draft import read_draft
from fleet.ingest.file_log import FileLog
from fleet.ingest.known import NOTHING_KNOWN
from tests.factories import TODAY
from tests.small_network import small_network

SCRIPTS = "aZ09 é Þ я Ж क ि ् ณ ี م ع א 麻 台 Ω , \" ' ; = # - 🌧"
ZONES = st.sampled_from(["Atlantic/Azores", "Etc/GMT-1", "Europe/Lisbon"])
CODES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._/-]{0,39}", fullmatch=True)


def texts(several_lines):
    signs = st.sampled_from(SCRIPTS + ("\n" if several_lines else ""))
    return st.text(signs, min_size=1, max_size=30).filter(
        lambda text: text == text.strip() and text.strip("#")
    )


def offsets():
    quarters = st.integers(-12 * 4, 14 * 4)
    return quarters.map(lambda number: timezone(timedelta(minutes=15 * number)))


def values(column):
    low, high = column.low, column.high
    choices = column.choices
    words = st.sampled_from([str(word) for word in choices]) if choices else st.nothing()
    strategies = {
        Kind.TEXT: texts(several_lines=False),
        Kind.NOTE: texts(several_lines=True),
        Kind.CODE: CODES,
        Kind.CODES: st.lists(CODES, min_size=1, max_size=3, unique=True).map(tuple),
        Kind.WORD: words,
        Kind.WORDS: st.lists(words, min_size=1, max_size=5, unique=True).map(tuple),
        Kind.YES_NO: st.booleans(),
        Kind.DAY: st.dates(date(1950, 1, 1), TODAY),
        Kind.INSTANT: st.datetimes(
            datetime.fromisoformat("1950-01-01"),
            datetime.fromisoformat("2025-06-01"),
            timezones=offsets(),
        ).map(lambda at: at.replace(microsecond=0)),
        Kind.CLOCK: st.integers(0, 1439),
        Kind.TIME_ZONE: ZONES,
        Kind.REGION: st.sampled_from(["PT", "GB-SCT"]),
    }
    if column.kind is Kind.NUMBER:
        return st.floats(low, high).map(lambda value: value + 0.0)
    if column.kind is Kind.INTEGER:
        return st.integers(int(low), int(high))
    return strategies[column.kind]


def rows_of(table):
    cells = {
        column.name: values(column) if column.required else st.none() | values(column)
        for column in table.columns
    }
    return st.lists(st.fixed_dictionaries(cells), max_size=4)


def written(value, column):
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column.kind is Kind.CLOCK:
        return f"{value // 60:02d}:{value % 60:02d}"
    if isinstance(value, tuple):
        return " ".join(value)
    return value.isoformat() if isinstance(value, date) else str(value)


def as_csv(table, rows):
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(table.column_names)
    for row in rows:
        writer.writerow([guarded(written(row[column.name], column)) for column in table.columns])
    return stream.getvalue()


@pytest.mark.parametrize("name", sorted(TABLES))
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_rows_written_as_csv_come_back_equal(name, data):
    table = TABLES[name]
    rows = data.draw(rows_of(table))
    log = FileLog(name)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.csv"
        path.write_text(as_csv(table, rows), encoding="utf-8", newline="")
        draft = read_draft(table, read_csv(path, table, log), log, today=TODAY)

    rules = {rule.text for rule in table.rules}
    told = {problem.expected.partition(" (rows are counted")[0] for problem in log.problems}
    assert told <= rules
    assert [row.values for row in draft.rows] == rows
    for row, sent in zip(draft.rows, rows, strict=True):
        for column in table.columns:
            value = row.values[column.name]
            enumerated = isinstance(column.choices, type) and value is not None
            assert isinstance(value, StrEnum) == enumerated
            assert type(value) is type(sent[column.name]) or enumerated


FILES = {
    f"{name}.csv": "\n".join(
        [",".join(rows[0]), *(",".join(f'"{cell}"' for cell in row.values()) for row in rows)]
    ).encode()
    for name, rows in small_network().tables.items()
}
SNIPPETS = st.sampled_from(
    [
        *(b'"', b",", b"\n", b"\r", b"\0", b"\xff", b";", b"\xef\xbb\xbf", b"-", b" ", b"9" * 400),
        *("٣".encode(), "é".encode("cp1252"), b"1e999", b"#REF!", b"NaN", b"24:00", b"0000-00-00"),
    ]
)


@settings(max_examples=80, deadline=None)
@given(
    name=st.sampled_from(sorted(FILES)),
    cuts=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 12), SNIPPETS | st.binary(max_size=3)),
        min_size=1,
        max_size=5,
    ),
)
def test_damaged_files_are_told_and_never_raise(name, cuts):
    content = FILES[name]
    for place, length, snippet in cuts:
        at = int(place * len(content))
        content = content[:at] + snippet + content[at + length :]
    with tempfile.TemporaryDirectory() as folder:
        for other, whole in FILES.items():
            (Path(folder) / other).write_bytes(content if other == name else whole)
        batch = read_batch(Path(folder), known=NOTHING_KNOWN, today=TODAY)

    assert all(str(problem) for problem in batch.problems)
    assert batch.problems or {*batch.rows} == {Path(file).stem for file in FILES}


@settings(max_examples=100, deadline=None)
@given(content=st.binary(max_size=200))
def test_any_bytes_are_told_and_never_raise(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "closures.csv"
        path.write_bytes(content)
        batch = read_batch(path, known=NOTHING_KNOWN, today=TODAY)

    assert batch.problems != []


@settings(max_examples=60, deadline=None)
@given(content=st.binary(max_size=200))
def test_any_bytes_as_a_workbook_are_told_and_never_raise(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "network.xlsx"
        path.write_bytes(content)
        batch = read_batch(path, known=NOTHING_KNOWN, today=TODAY)

    assert len(batch.problems) == 1
    assert batch.rows == {}

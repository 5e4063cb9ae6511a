"""The contracts as declared: order, keys, links, and ranges that the database can hold.

The list of tables and columns is the one that the README prints; ranges of the database are read
from its CHECK constraints.
"""

import re

import pytest
from sqlalchemy import CheckConstraint

from fleet.ingest.catalogue import ALL_TABLES, TABLES
from fleet.ingest.contract import Kind
from fleet.ingest.describe import describe_contracts, empty_tables
from fleet.services.record_map import FOLLOW_UP_MAP, RECORD_MAPS
from fleet.services.visit_aggregate import PARTS
from fleet.store.base import table_of

MODELS = {record.table: record.model for record in (*RECORD_MAPS, FOLLOW_UP_MAP)}
MODELS |= {part.table: part.model for part in PARTS}
_BETWEEN = re.compile(r"^(\w+) BETWEEN (\S+) AND (\S+)$")


@pytest.mark.parametrize("table", ALL_TABLES, ids=lambda table: table.name)
def test_table_is_declared_soundly(table):
    names = table.column_names

    assert len(set(names)) == len(names)
    assert set(table.key) <= set(names)
    assert {name for rule in table.rules for name in (*rule.columns, rule.blame)} <= set(names)
    assert {name for link in table.links for name in link.columns} <= set(names)


@pytest.mark.parametrize("table", ALL_TABLES, ids=lambda table: table.name)
def test_parents_come_first_and_have_the_keys_referred_to(table):
    earlier = [other.name for other in ALL_TABLES[: ALL_TABLES.index(table)]]

    assert table.parents <= set(earlier)
    assert all(
        len(TABLES[column.refers_to].key) == 1 for column in table.columns if column.refers_to
    )
    for link in table.links:
        assert TABLES[link.table].key[: len(link.columns)] == link.columns


def test_word_columns_have_their_list_and_no_others():
    wordy = {Kind.WORD, Kind.WORDS}

    for table in ALL_TABLES:
        for column in table.columns:
            assert bool(column.choices) == (column.kind in wordy), (table.name, column.name)


def test_column_gives_the_column_of_a_name():
    assert TABLES["visits"].column("outcome").kind is Kind.WORD
    with pytest.raises(KeyError):
        TABLES["visits"].column("weather")


@pytest.mark.parametrize("name", sorted(MODELS))
def test_ranges_fit_into_those_of_the_database(name):
    constraints = table_of(MODELS[name]).constraints
    texts = [str(c.sqltext) for c in constraints if isinstance(c, CheckConstraint)]
    held = {
        found[1]: (float(found[2]), float(found[3])) for t in texts if (found := _BETWEEN.match(t))
    }

    for column in TABLES[name].columns:
        if column.name in held and column.kind in (Kind.NUMBER, Kind.INTEGER):
            low, high = held[column.name]
            assert (low, high) <= (column.low, high), column.name
            assert column.high <= high, column.name


@pytest.mark.parametrize("name", sorted(MODELS))
def test_every_number_has_a_range_where_the_database_has_one(name):
    for column in TABLES[name].columns:
        if column.kind in (Kind.NUMBER, Kind.INTEGER):
            assert column.low is not None, column.name
            assert column.high is not None, column.name


def test_empty_tables_hold_the_header_alone():
    tables = empty_tables()

    assert len(tables) == 27
    assert tables["closures.csv"] == "depot_code,day,name\n"
    assert tables["tip_runs.csv"] == (
        "visit_ref,serial,phase,run_number,volume_ml,duration_s,tips,start_state,device_code\n"
    )


def test_empty_tables_are_read_without_problems(read, tmp_path):
    for name, text in empty_tables().items():
        (tmp_path / name).write_text(text, encoding="utf-8")

    batch = read(tmp_path)

    assert batch.problems == []
    assert list(batch.rows) == [table.name for table in ALL_TABLES]
    assert not any(batch.rows.values())


def test_describe_contracts_tells_every_column_and_rule():
    text = describe_contracts()

    for table in ALL_TABLES:
        section = text.partition(f"### {table.name}\n")[2].partition("\n### ")[0]
        assert section.startswith(f"\n{table.meaning}\n")
        for column in table.columns:
            star = "*" if column.name in table.key else ""
            assert f"| `{column.name}`{star} | {column.kind.value.split(':')[0][:4]}"[:6] in section
            assert f" | {column.meaning} |" in section
        for rule in table.rules:
            assert f"\n- {rule.text}" in section


def test_describe_contracts_tells_form_range_list_and_reference():
    text = describe_contracts()

    assert (
        "| `bucket_mm` | number with a decimal point, 0.05 to 2 "
        "| rainfall depth of one tip, in mm |"
    ) in text
    assert "| `technician_codes` | codes separated by one space of technicians |" in text
    assert "| `level_found` | one of in_ring, out_of_ring; may be empty | bubble as found |" in text
    assert "| `depot_code`* | code of depots | the depot |" in text
    assert "| `day`* | day as 2025-03-31, not in the future | the day |" in text
    assert "- visit_ref and serial together must stand in gauge_checks" in text
    assert "- the runs of a phase count 1, 2, 3 without a gap" in text

"""How input tables are kept: every column has its place, and every range is held twice alike."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import CheckConstraint

from fleet.ingest.catalogue import TABLES
from fleet.ingest.contract import Kind
from fleet.services.record_map import (
    FOLLOW_UP_MAP,
    RECORD_MAPS,
    TECHNICIAN,
    Codes,
    from_stored,
    to_stored,
)
from fleet.services.visit_aggregate import PARTS
from fleet.store.base import table_of
from fleet.store.models.people import Technician
from fleet.store.models.visit import Visit, VisitVersion

MODELS = {record.table: record.model for record in (*RECORD_MAPS, FOLLOW_UP_MAP)}
MODELS |= {part.table: part.model for part in PARTS}
MODELS["visits"] = VisitVersion


def test_every_input_table_is_kept_somewhere():
    assert set(MODELS) == set(TABLES)


@pytest.mark.parametrize("name", sorted(TABLES))
def test_database_holds_the_ranges_of_the_contract(name):
    """What a contract lets pass, the database takes, and the other way round."""
    held = {}
    for constraint in table_of(MODELS[name]).constraints:
        if isinstance(constraint, CheckConstraint):
            found = re.fullmatch(r"(\w+) BETWEEN (\S+) AND (\S+)", str(constraint.sqltext))
            if found:
                held[found[1]] = (float(found[2]), float(found[3]))
    held.pop("utc_offset_minutes", None)  # derived from the arrival
    clocks = {column.name for column in TABLES[name].columns if column.kind is Kind.CLOCK}
    wanted = {
        column.name: (column.low, column.high)
        for column in TABLES[name].columns
        if column.kind in (Kind.NUMBER, Kind.INTEGER)
    }

    assert {column: ends for column, ends in held.items() if column not in clocks} == wanted


@pytest.mark.parametrize("record", RECORD_MAPS, ids=lambda record: record.table)
def test_key_of_the_contract_is_the_key_of_the_records(record):
    assert record.key == TABLES[record.table].key


def test_row_goes_in_and_comes_back_in_the_same_words(loaded):
    row = {"technician_code": "T02", "note": None, "weekdays": ("mon", "tue"), "count": 3}
    with loaded() as session:
        codes = Codes(session)
        stored = to_stored({"technician_code": TECHNICIAN}, row, codes)
        back = from_stored({"technician_code": TECHNICIAN}, stored, codes)

    assert stored == {"technician_id": 2, "note": None, "weekdays": "mon tue", "count": 3}
    assert back == {**row, "weekdays": "mon tue"}


def test_missing_reference_stays_missing(loaded):
    with loaded() as session:
        codes = Codes(session)
        assert to_stored({"technician_code": TECHNICIAN}, {"technician_code": None}, codes) == {
            "technician_id": None
        }


def test_codes_learn_what_was_just_added(loaded):
    with loaded() as session:
        codes = Codes(session)
        codes.learn(Technician, ["T09"], [9])

        assert codes.id_of(Technician, "T09") == 9
        assert codes.code_of(Technician, 9) == "T09"
        assert codes.find(Technician, ["T03", "T77", "T09"]) == {"T03": 3, "T09": 9}


def test_codes_of_visits_are_looked_up_as_they_are_named(loaded):
    with loaded() as session:
        codes = Codes(session)
        first = codes.find(Visit, ["V002", "V777", "V001"])
        codes.forget()

        assert first == {"V002": 2, "V001": 1}
        assert codes.code_of(Visit, 5) == "V005"
        assert codes.id_of(Visit, "V001") == 1
        with pytest.raises(KeyError, match="V777"):
            codes.id_of(Visit, "V777")

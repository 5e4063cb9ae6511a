"""What the database itself refuses, whoever writes: ranges, orders, repetitions, overlaps.

Rows are put in behind the tool's back by plain SQL. Each refusal stands beside a copy of the same
row that is taken, so that it is the value, not the copying, that is refused. Ranges are those of
the column contracts.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import count

import pytest
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import IntegrityError

NUMBERS = count(900_000)

RANGES = (
    # table, column, lowest and highest value taken, a value too low, a value too high
    ("depot_version", "latitude_deg", -90, 90, -90.001, 90.001),
    ("depot_version", "longitude_deg", -180, 180, -180.001, 180.001),
    ("site_version", "latitude_deg", -90, 90, -90.001, 90.001),
    ("site_version", "longitude_deg", -180, 180, -180.001, 180.001),
    ("site_version", "importance", 0.01, 100, 0.009, 100.1),
    ("site_version", "access_minutes", 0, 600, -1, 601),
    ("site_version", "persons_required", 1, 2, 0, 3),
    ("gauge_type_version", "bucket_mm", 0.05, 2, 0.049, 2.001),
    ("gauge_type_version", "orifice_area_cm2", 50, 5000, 49.9, 5000.1),
    ("gauge_type_version", "test_volume_ml", 10, 10000, 9.9, 10000.1),
    ("policy", "service_interval_days", 1, 3650, 0, 3651),
    ("policy", "as_found_tolerance_percent", 0, 100, -0.1, 100.1),
    ("policy", "as_left_tolerance_percent", 0, 100, -0.1, 100.1),
    ("policy", "reject_limit_percent", 0, 100, -0.1, 100.1),
    ("policy", "closed_field_limit_ohm", 0, 1e9, -0.1, 1.1e9),
    ("policy", "closed_workshop_limit_ohm", 0, 1e9, -0.1, 1.1e9),
    ("policy", "open_limit_ohm", 0, 1e9, -0.1, 1.1e9),
    ("policy", "target_reliability", 0.5, 0.999, 0.499, 0.9991),
    ("certificate", "volume_ml", 1, 20000, 0.9, 20000.1),
    ("tip_run", "volume_ml", 1, 20000, 0.9, 20000.1),
    ("tip_run", "tips", 0, 100000, -1, 100001),
    ("tip_run", "duration_s", 1, 86400, 0.9, 86400.1),
    ("switch_reading", "value", 0, 1e9, -0.1, 1.1e9),
    ("technician_version", "max_driving_minutes", 1, 1440, 0, 1441),
)
ORDERS = (
    # table, changes that are taken, changes that are refused
    ("absence", {"last_day": date(2025, 6, 3)}, {"last_day": date(2025, 6, 2)}),
    ("skill", {"valid_until": date(2023, 1, 1)}, {"valid_until": date(2022, 12, 31)}),
    ("certificate", {"valid_until": date(2023, 1, 1)}, {"valid_until": date(2022, 12, 31)}),
    ("hold", {"last_day": date(2025, 6, 2)}, {"last_day": date(2025, 6, 1)}),
    ("access_rule", {"closes": 541}, {"closes": 540}),
    ("technician_version", {"shift_end": 451}, {"shift_end": 450}),
    (
        "technician_version",
        {"active_until": date(2022, 1, 1)},
        {"active_until": date(2021, 12, 31)},
    ),
    ("installation", {"removed_on": date(2023, 6, 2)}, {"removed_on": date(2023, 6, 1)}),
    ("visit_version", {}, {"departed_at": datetime(2020, 1, 1, tzinfo=UTC)}),
    (
        "visit_version",
        {"not_done_reason": "weather", "outcome": "not_done"},
        {"outcome": "not_done"},
    ),
    ("follow_up_version", {"closed_on": date(2025, 3, 11)}, {"closed_on": date(2025, 3, 10)}),
    ("switch_reading", {"over_range": True, "value": None}, {"over_range": False, "value": None}),
    ("hold", {"kind": "technician", "technician_id": 1}, {"kind": "technician"}),
    (
        "instrument_version",
        {"orifice_area_cm2": 399, "area_basis": "measured"},
        {"orifice_area_cm2": 399},
    ),
    (
        "policy",
        {"as_found_low_tips": 37, "as_found_high_tips": 37},
        {"as_found_low_tips": 37, "as_found_high_tips": 36},
    ),
    ("policy", {"scope": "site", "scope_code": "S01"}, {"scope": "site"}),
    ("depot_version", {}, {"known_until": datetime(2000, 1, 1, tzinfo=UTC)}),
)
WORDS = (
    ("visit_version", "outcome", "done"),
    ("visit_version", "purpose", "routine"),
    ("tip_run", "phase", "as_left"),
    ("tip_run", "start_state", "emptied"),
    ("switch_reading", "kind", "open_ohm"),
    ("switch_reading", "measured_at", "logger"),
    ("finding", "component", "siphon"),
    ("finding", "condition_found", "dirty"),
    ("finding", "action", "none"),
    ("instrument_version", "status", "retired"),
    ("device_version", "kind", "balance"),
    ("follow_up_version", "severity", "soon"),
)


def copy_first(connection: Connection, table: str, **changes: object) -> None:
    """Copy the first row of a table under a new id, closed where rows can be, with changes."""
    row = dict(
        connection.execute(text(f"SELECT * FROM {table} ORDER BY id LIMIT 1")).mappings().one()
    )
    freeing = {
        "id": next(NUMBERS),
        "run_number": 77,
        "finding_number": 77,
        "known_until": datetime(2099, 1, 1, tzinfo=UTC),
        "closing_entry_id": 1,
    }
    row |= {name: value for name, value in freeing.items() if name in row} | changes
    if table == "switch_reading":
        row["kind"] = changes.get("kind", "manual_tips")
    names = ", ".join(row)
    values = ", ".join(f":{name}" for name in row)
    connection.execute(text(f"INSERT INTO {table} ({names}) VALUES ({values})"), row)


def taken(engine: Engine, table: str, **changes: object) -> bool:
    with engine.connect() as connection:
        try:
            copy_first(connection, table, **changes)
        except IntegrityError:
            return False
        finally:
            connection.rollback()
    return True


@pytest.mark.parametrize("limits", RANGES, ids=lambda limits: f"{limits[0]}-{limits[1]}")
def test_range_takes_both_ends_and_refuses_beyond(shared_sqlite, limits):
    table, column, *values = limits

    assert [taken(shared_sqlite, table, **{column: value}) for value in values] == [
        True,
        True,
        False,
        False,
    ]


@pytest.mark.parametrize(("table", "good", "bad"), ORDERS)
def test_order_of_two_columns_is_held(shared_sqlite, table, good, bad):
    assert taken(shared_sqlite, table, **good)
    assert not taken(shared_sqlite, table, **bad)


@pytest.mark.parametrize(("table", "column", "good"), WORDS)
def test_word_outside_its_list_is_refused(shared_sqlite, table, column, good):
    assert taken(shared_sqlite, table, **{column: good})
    assert not taken(shared_sqlite, table, **{column: "perhaps"})


def test_postgresql_holds_the_same_ranges_orders_and_words(shared_postgresql):
    wrong = [
        (table, column)
        for table, column, low, high, below, above in RANGES
        if [taken(shared_postgresql, table, **{column: v}) for v in (low, high, below, above)]
        != [True, True, False, False]
    ]
    wrong += [
        (table, str(bad))
        for table, good, bad in ORDERS
        if not taken(shared_postgresql, table, **good) or taken(shared_postgresql, table, **bad)
    ]
    wrong += [
        (table, column)
        for table, column, good in WORDS
        if not taken(shared_postgresql, table, **{column: good})
        or taken(shared_postgresql, table, **{column: "perhaps"})
    ]

    assert wrong == []


@pytest.mark.parametrize(
    ("table", "free"),
    [
        ("depot", {"code": "EAST"}),
        ("site", {"code": "S99"}),
        ("instrument", {"code": "417"}),
        ("visit", {"code": "V99"}),
        ("follow_up", {"code": "F99"}),
    ],
)
def test_code_is_given_once(shared_engine, table, free):
    """A serial with its leading zeros is another than the one without: 00417 stays 00417."""
    assert taken(shared_engine, table, **free)
    assert not taken(shared_engine, table)


@pytest.mark.parametrize(
    ("table", "free"),
    [
        ("site_version", {}),
        ("daily_total", {"day": date(2025, 5, 20)}),
        ("policy", {"valid_from": date(2023, 1, 2)}),
        ("certificate", {"certificate_number": "D01/2"}),
        ("visit_version", {}),
    ],
)
def test_only_one_row_of_a_key_is_current(shared_engine, table, free):
    open_ended: dict[str, object] = {"known_until": None, "closing_entry_id": None}

    assert not taken(shared_engine, table, **open_ended)
    assert taken(shared_engine, table)
    if free:
        assert taken(shared_engine, table, **open_ended, **free)


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ("tip_run", {"run_number": 1}),
        ("finding", {"finding_number": 1}),
        ("gauge_check", {}),
        ("visit_technician", {}),
    ],
)
def test_part_of_a_visit_stands_there_once(shared_engine, table, key):
    assert not taken(shared_engine, table, **key)


def install(connection: Connection, site_id: int, position: str, serial: str, *span: date | None):
    instrument = text("SELECT id FROM instrument WHERE code = :code")
    row = {
        "site_id": site_id,
        "position": position,
        "instrument_id": connection.execute(instrument, {"code": serial}).scalar_one(),
        "installed_on": span[0],
        "removed_on": span[1],
        "known_until": None,
        "closing_entry_id": None,
    }
    copy_first(connection, "installation", **row)


def installed(engine: Engine, *arguments: object) -> bool:
    with engine.connect() as connection:
        try:
            install(connection, *arguments)
        except IntegrityError:
            return False
        finally:
            connection.rollback()
    return True


def test_instrument_stands_in_one_place_at_a_time(shared_engine):
    """00419 stood at S03 from 2023-06-01 until 2024-09-10; site 1 is S01."""
    assert not installed(shared_engine, 1, "p", "00419", date(2024, 9, 9), None)
    assert not installed(shared_engine, 1, "p", "00419", date(2023, 5, 1), date(2023, 6, 2))
    assert not installed(shared_engine, 1, "p", "00419", date(2024, 1, 1), date(2024, 1, 2))
    assert not installed(shared_engine, 1, "p", "00419", date(2020, 1, 1), None)
    assert installed(shared_engine, 1, "p", "00419", date(2024, 9, 10), None)
    assert installed(shared_engine, 1, "p", "00419", date(2023, 5, 1), date(2023, 6, 1))


def test_position_holds_one_instrument_at_a_time(shared_engine):
    """At S01 (site 1) main, 00417 stands since 2023-06-01; A-040 has stood nowhere."""
    assert not installed(shared_engine, 1, "main", "A-040", date(2025, 1, 1), None)
    assert not installed(shared_engine, 1, "main", "A-040", date(2023, 1, 1), date(2023, 6, 2))
    assert installed(shared_engine, 1, "main", "A-040", date(2023, 1, 1), date(2023, 6, 1))
    assert installed(shared_engine, 1, "second", "A-040", date(2025, 1, 1), None)
    assert installed(shared_engine, 2, "third", "A-040", date(2025, 1, 1), None)


def test_superseded_installations_do_not_count_as_overlap(shared_engine):
    assert taken(shared_engine, "installation", installed_on=date(2025, 1, 1))


def test_reference_to_a_row_that_is_not_there_is_refused(shared_engine):
    with pytest.raises(IntegrityError), shared_engine.begin() as connection:
        copy_first(connection, "visit_version", site_id=4711)


def test_entry_of_a_row_must_exist_when_the_transaction_ends(shared_engine):
    with pytest.raises(IntegrityError), shared_engine.begin() as connection:
        copy_first(connection, "depot", code="EAST", entry_id=4711)

"""The ledger is held against the rows: whatever is changed behind the tool's back is named."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, text
from sqlalchemy.orm import Session, sessionmaker

from fleet.services.verify import verify_records
from fleet.store.digest import canonical_text, entry_hash
from fleet.store.journal import entry_head
from fleet.store.models.ledger import LedgerChange, LedgerEntry
from fleet.store.session import make_engine, make_sessions
from fleet.store.verify import verify_ledger
from tests.conftest import load_into
from tests.databases import Engines, settle
from tests.factories import FrozenClock
from tests.small_network import small_network


@pytest.fixture(scope="module")
def template(loaded_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The loaded network, then an amended site, then a new visit: entries 1, 2, 3."""
    folder = tmp_path_factory.mktemp("three")
    path = Path(shutil.copyfile(loaded_database, folder / "three.sqlite"))
    engine, clock, network = make_engine(f"sqlite:///{path}"), FrozenClock(), small_network()
    load = load_into(make_sessions(engine), clock, folder / "input")
    clock.move(days=1)
    load(network.only("sites", site_code="S01").change("sites", {}, importance=3), reason="busier")
    clock.move(days=1)
    network.tables = {}
    network.visit("V100", "S06", "2025-05-30")
    load(network.check("V100", "A-033", found=(40, 40), left=(40, 40)))
    settle(engine)
    return path


@pytest.fixture
def engine(engines: Engines, template: Path, tmp_path: Path) -> Iterator[Engine]:
    yield from engines.lend(template, tmp_path / "three.sqlite")


@pytest.fixture
def kept(engine: Engine) -> sessionmaker[Session]:
    return make_sessions(engine)


@pytest.fixture
def tamper(engine: Engine, tmp_path: Path) -> Callable[..., None]:
    """Run SQL past every guard of its table."""

    def change(table: str, *statements: str) -> None:
        connection = sqlite3.connect(tmp_path / "three.sqlite")
        for kind in ("no_update", "no_delete", "no_replace"):
            connection.execute(f"DROP TRIGGER {table}_{kind}")
        for statement in statements:
            assert connection.execute(statement).rowcount > 0
        connection.commit()
        connection.close()

    return change


def faults(sessions: sessionmaker[Session]) -> list[str]:
    with sessions() as session:
        return [str(fault) for fault in verify_ledger(session)]


def test_untouched_records_have_no_faults(kept):
    assert faults(kept) == []


def test_empty_database_has_no_faults(sessions):
    assert faults(sessions) == []


def test_untouched_records_have_no_faults_on_both_databases(shared_engine):
    assert faults(make_sessions(shared_engine)) == []


@pytest.mark.parametrize(
    ("table", "statement"),
    [
        ("tip_run", "UPDATE tip_run SET tips = tips + 1 WHERE id = 5"),
        ("tip_run", "UPDATE tip_run SET duration_s = 600 WHERE id = 5"),
        ("tip_run", "UPDATE tip_run SET phase = 'as_left' WHERE id = 1 AND run_number = 1"),
        ("visit_version", "UPDATE visit_version SET note = 'x' WHERE id = 3"),
        ("visit_version", "UPDATE visit_version SET known_from = '2020-01-01' WHERE id = 3"),
        ("site", "UPDATE site SET code = 'S0l' WHERE id = 1"),
        ("daily_total", "UPDATE daily_total SET total_mm = 0 WHERE total_mm IS NULL"),
        ("daily_total", "UPDATE daily_total SET day = '2025-05-31' WHERE day = '2025-05-01'"),
        ("finding", "DELETE FROM finding WHERE id = 2"),
        ("switch_reading", "DELETE FROM switch_reading"),
    ],
)
def test_changed_or_deleted_row_is_found_and_its_entry_named(tamper, kept, table, statement):
    statement = statement.replace(
        "phase = 'as_left' WHERE", "phase = 'as_left', run_number = 9 WHERE"
    )
    tamper(table, statement)

    (fault,) = faults(kept)
    assert fault.startswith(f"entry 1, {table}: the rows of this entry (")
    assert fault.endswith("were written) are not as written")


def test_value_of_the_wrong_kind_is_found(tamper, kept):
    tamper("visit_version", "UPDATE visit_version SET departed_at = 'soon' WHERE id = 3")

    (fault,) = faults(kept)
    assert fault.startswith("entry 1, visit_version: a row cannot be read")


def test_row_that_was_put_in_is_found(tamper, kept):
    tamper("depot", "INSERT INTO depot (id, code, entry_id) VALUES (9, 'EAST', 2)")

    assert faults(kept) == ["entry 2, depot: 1 row(s) are not in the ledger"]


def test_row_that_was_put_in_under_a_listed_entry_is_found(tamper, kept):
    tamper("depot", "INSERT INTO depot (id, code, entry_id) VALUES (9, 'EAST', 1)")

    assert faults(kept) == [
        "entry 1, depot: the rows of this entry (2 were written) are not as written"
    ]


def test_row_of_an_entry_that_never_was_is_found(tamper, kept):
    tamper("depot", "INSERT INTO depot (id, code, entry_id) VALUES (9, 'EAST', 44)")

    assert faults(kept) == ["entry 44, depot: 1 row(s) are not in the ledger"]


def test_closing_that_was_taken_back_is_found(tamper, kept):
    tamper(
        "site_version",
        "DELETE FROM site_version WHERE entry_id = 2",
        "UPDATE site_version SET known_until = NULL, closing_entry_id = NULL WHERE id = 1",
    )

    assert faults(kept) == [
        "entry 2, site_version: row 1 (S01) does not carry the closing of this entry",
        "entry 2, site_version: the rows of this entry (1 were written) are not as written",
    ]


def test_closing_at_another_instant_is_found(tamper, kept):
    tamper("site_version", "UPDATE site_version SET known_until = '2025-06-02 09:00' WHERE id = 1")

    assert faults(kept) == [
        "entry 2, site_version: row 1 (S01) does not carry the closing of this entry"
    ]


def test_superseded_row_that_was_deleted_is_found(tamper, kept):
    tamper("site_version", "DELETE FROM site_version WHERE id = 1")

    assert faults(kept) == [
        "entry 1, site_version: the rows of this entry (6 were written) are not as written",
        "entry 2, site_version: row 1 (S01) was superseded here and is gone",
    ]


@pytest.mark.parametrize(
    "closing",
    ["known_until = '2025-06-04', closing_entry_id = 3", "known_until = '2025-06-04'"],
)
def test_closing_of_which_the_ledger_knows_nothing_is_found(tamper, kept, closing):
    tamper("depot_version", f"UPDATE depot_version SET {closing} WHERE id = 2")

    (fault,) = faults(kept)
    assert fault.endswith("depot_version: row 2 was closed and the ledger does not say so")


@pytest.mark.parametrize(
    "change",
    [
        "actor = 'somebody'",
        "reason = 'none'",
        "action = 'x'",
        "at = '2025-06-03 08:00:00.000001'",
        "hash = '" + "a" * 64 + "'",
    ],
)
def test_changed_entry_is_found(tamper, kept, change):
    tamper("ledger_entry", f"UPDATE ledger_entry SET {change} WHERE id = 2")

    assert faults(kept)[0] == (
        "entry 2, ledger_entry: entry or its changes differ from its own hash"
    )


@pytest.mark.parametrize(
    "change", ["row_count = 99", "fields = NULL", "row_key = 'S02'", "kind = 'added'"]
)
def test_changed_change_is_found(tamper, kept, change):
    tamper("ledger_change", f"UPDATE ledger_change SET {change} WHERE entry_id = 2 AND number = 1")

    assert "entry 2, ledger_entry: entry or its changes differ from its own hash" in faults(kept)


def test_deleted_last_entry_is_found(tamper, kept):
    tamper("ledger_entry", "DELETE FROM ledger_entry WHERE id = 3")

    assert faults(kept) == [
        "entry 3, ledger_entry: the entry is missing; 5 change(s) of it are there"
    ]


def test_deleted_last_entry_with_its_changes_is_found_by_its_rows(tamper, kept):
    tamper("ledger_entry", "DELETE FROM ledger_entry WHERE id = 3")
    tamper("ledger_change", "DELETE FROM ledger_change WHERE entry_id = 3")

    assert sorted(faults(kept)) == [
        f"entry 3, {table}: {count} row(s) are not in the ledger"
        for table, count in (
            ("gauge_check", 1),
            ("tip_run", 4),
            ("visit", 1),
            ("visit_technician", 1),
            ("visit_version", 1),
        )
    ]


def test_deleted_entry_in_the_middle_is_found_first(tamper, kept):
    tamper("ledger_entry", "DELETE FROM ledger_entry WHERE id = 2")

    found = faults(kept)

    assert found[0] == "entry 2, ledger_entry: missing; the next that is there is 3"
    assert "entry 3, ledger_entry: does not carry the hash of the entry before" in found


def forged_hash(kept: sessionmaker[Session], entry_id: int, **changes: object) -> str:
    """Hash an entry anew with changes to its head, as somebody with the code could."""
    with kept() as session:
        entry = session.execute(
            select(*LedgerEntry.__table__.c).where(LedgerEntry.id == entry_id)
        ).mappings()
        rows = session.execute(
            select(*LedgerChange.__table__.c)
            .where(LedgerChange.entry_id == entry_id)
            .order_by(LedgerChange.number)
        ).mappings()
        plain = [{k: v for k, v in row.items() if k not in ("id", "entry_id")} for row in rows]
        return entry_hash(entry_head({**entry.one(), **changes}), plain)


def test_rewritten_entry_with_a_fresh_hash_breaks_the_chain(tamper, kept):
    forged = forged_hash(kept, 2, reason="none")
    tamper(
        "ledger_entry",
        f"UPDATE ledger_entry SET reason = 'none', hash = '{forged}' WHERE id = 2",
    )

    assert faults(kept) == ["entry 3, ledger_entry: does not carry the hash of the entry before"]


def test_last_entry_moved_back_in_time_with_a_fresh_hash_is_found(tamper, kept):
    forged = forged_hash(kept, 3, at=datetime(2025, 6, 3, 8, 0, tzinfo=UTC))
    tamper(
        "ledger_entry",
        "UPDATE ledger_entry SET at = '2025-06-03 08:00:00.000000', "
        f"hash = '{forged}' WHERE id = 3",
    )

    assert faults(kept) == ["entry 3, ledger_entry: is not later than the entry before"]


@pytest.mark.parametrize("page", [1, 2, 3])
def test_long_ledger_is_read_page_by_page_to_its_end(tamper, kept, monkeypatch, page):
    monkeypatch.setattr("fleet.store.verify._ENTRIES_A_PAGE", page)
    assert faults(kept) == []
    tamper("tip_run", "UPDATE tip_run SET tips = 1 WHERE entry_id = 3")

    assert faults(kept) == [
        "entry 3, tip_run: the rows of this entry (4 were written) are not as written"
    ]


def test_faults_come_with_the_first_entry_first(tamper, kept):
    tamper("depot", "INSERT INTO depot (id, code, entry_id) VALUES (9, 'EAST', 2)")
    tamper("tip_run", "UPDATE tip_run SET tips = 1 WHERE entry_id = 3")
    tamper("finding", "DELETE FROM finding WHERE id = 2")

    assert [fault.split(",")[0] for fault in faults(kept)] == ["entry 1", "entry 2", "entry 3"]


def test_tampering_is_found_on_postgresql_too(loaded_postgresql):
    with loaded_postgresql.begin() as connection:
        connection.execute(text("ALTER TABLE tip_run DISABLE TRIGGER USER"))
        connection.execute(text("UPDATE tip_run SET tips = tips + 1 WHERE id = 5"))

    found = verify_records(make_sessions(loaded_postgresql))
    assert [str(fault) for fault in found.faults] == [
        "entry 1, tip_run: the rows of this entry (56 were written) are not as written",
        "tip_run: the trigger tip_run_append_only is switched off",
        "tip_run: the trigger tip_run_no_truncate is switched off",
    ]
    assert (found.entries, len(found.last_hash)) == (1, 64)


def test_canonical_text_of_ledger_fields_is_what_was_written(kept):
    with kept() as session:
        fields = session.execute(
            select(LedgerChange.fields).where(LedgerChange.entry_id == 2, LedgerChange.number == 1)
        ).scalar_one()

    assert fields == canonical_text({"importance": ["1.0", "3.0"]})

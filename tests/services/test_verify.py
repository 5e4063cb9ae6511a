"""Verifying on both databases: guards that are gone, an end that was cut off, checkpoints."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, text

from fleet.errors import ConflictError, InputError
from fleet.services.checkpoint import take_checkpoint
from fleet.services.checkpoint_file import read_checkpoint, read_key, write_checkpoint
from fleet.services.verify import fault_frame, verify_records
from fleet.store.guard import kept_tables, missing_guards
from fleet.store.session import make_sessions
from tests.conftest import load_into
from tests.tampering import cut_last_entry, tamper

KEY = b"a key of the auditor's own"


@pytest.fixture
def grown(loaded_engine, clock, network, tmp_path) -> Engine:
    """The small network and three amendments of site S01: entries 1 to 4, on both databases."""
    load = load_into(make_sessions(loaded_engine), clock, tmp_path / "more")
    for importance in (2, 3, 4):
        clock.move(days=1)
        change = network.only("sites", site_code="S01")
        load(change.change("sites", {}, importance=importance), reason="busier")
    return loaded_engine


def told(engine: Engine, **how: object) -> list[str]:
    return [str(fault) for fault in verify_records(make_sessions(engine), **how).faults]


def test_records_as_they_were_written_fit(grown, clock):
    checkpoint = take_checkpoint(make_sessions(grown), clock=clock)

    found = verify_records(make_sessions(grown), against=checkpoint)

    assert found.faults == ()
    assert (found.entries, found.last_hash) == (4, checkpoint.hash)


def test_row_changed_behind_its_back_names_its_entry(grown):
    tamper(grown, "UPDATE site_version SET importance = 9 WHERE entry_id = 3")

    assert told(grown) == [
        "entry 3, site_version: the rows of this entry (1 were written) are not as written"
    ]


def test_several_changes_name_the_first_entry_first(grown):
    tamper(
        grown,
        "UPDATE site_version SET importance = 9 WHERE entry_id = 4",
        "UPDATE ledger_entry SET reason = 'quiet' WHERE id = 2",
        "UPDATE tip_run SET tips = tips + 1 WHERE id = 5",
    )

    assert [line.split(",")[0] for line in told(grown)] == ["entry 1", "entry 2", "entry 4"]


def test_sqlite_trigger_that_was_removed_or_weakened_is_named(loaded_sqlite):
    with loaded_sqlite.begin() as connection:
        connection.execute(text("DROP TRIGGER tip_run_no_update"))
        connection.execute(text("DROP TRIGGER installation_no_overlap_position"))
        connection.execute(text("DROP TRIGGER visit_no_delete"))
        connection.execute(
            text("CREATE TRIGGER visit_no_delete BEFORE DELETE ON visit BEGIN SELECT 1; END")
        )

    assert told(loaded_sqlite) == [
        "installation: the trigger installation_no_overlap_position is missing",
        "tip_run: the trigger tip_run_no_update is missing",
        "visit: the trigger visit_no_delete is not as it was made",
    ]


def test_postgresql_guard_that_was_removed_or_weakened_is_named(loaded_postgresql):
    with loaded_postgresql.begin() as connection:
        connection.execute(text("DROP TRIGGER tip_run_append_only ON tip_run"))
        connection.execute(text("ALTER TABLE visit DISABLE TRIGGER visit_no_truncate"))
        connection.execute(
            text("ALTER TABLE installation DROP CONSTRAINT ex_installation_position")
        )
        connection.execute(
            text(
                "CREATE OR REPLACE FUNCTION fleet_close_only() RETURNS trigger LANGUAGE plpgsql "
                "AS $$ BEGIN RETURN NEW; END $$"
            )
        )

    assert told(loaded_postgresql) == [
        "all tables: the function fleet_close_only is not as it was made",
        "installation: the constraint ex_installation_position is missing",
        "tip_run: the trigger tip_run_append_only is missing",
        "visit: the trigger visit_no_truncate is switched off",
    ]


def test_every_kept_table_is_guarded(loaded_engine):
    with loaded_engine.begin() as connection:
        assert missing_guards(connection) == []
        for table in kept_tables():
            if connection.dialect.name == "sqlite":
                connection.execute(text(f"DROP TRIGGER {table}_no_update"))
            else:
                connection.execute(text(f"DROP TRIGGER {table}_append_only ON {table}"))
        assert [gone.table for gone in missing_guards(connection)] == kept_tables()
        connection.rollback()


def test_guard_that_is_gone_stands_in_the_table_without_an_entry(loaded_sqlite):
    with loaded_sqlite.begin() as connection:
        connection.execute(text("DROP TRIGGER tip_run_no_update"))

    frame = fault_frame(verify_records(make_sessions(loaded_sqlite)))

    assert frame["entry_id"].isna().tolist() == [True]
    assert frame["table"].tolist() == ["tip_run"]


def test_end_that_was_cut_off_fits_by_itself_and_not_the_checkpoint(grown, clock):
    sessions = make_sessions(grown)
    checkpoint = take_checkpoint(sessions, clock=clock)
    cut_last_entry(grown, 4)

    assert told(grown) == []
    assert told(grown, against=checkpoint) == [
        "entry 4, ledger_entry: missing; the checkpoint of 2025-06-05T08:00:00+00:00 saw 4 entries",
        "ledger_change: 37 rows of the entries up to 4 where the checkpoint counted 39",
        "site_version: 8 rows of the entries up to 4 where the checkpoint counted 9",
    ]


def test_entries_after_the_checkpoint_do_not_matter(grown, clock, network, tmp_path):
    checkpoint = take_checkpoint(make_sessions(grown), clock=clock)
    clock.move(days=1)
    load = load_into(make_sessions(grown), clock, tmp_path / "later")
    load(network.only("sites", site_code="S01").change("sites", {}, importance=5), reason="more")

    assert told(grown, against=checkpoint) == []


def test_ledger_rewritten_as_a_whole_names_where_the_rewriting_begins(grown, clock):
    sessions = make_sessions(grown)
    checkpoint = take_checkpoint(sessions, clock=clock)
    forged = {**checkpoint.rungs, "3": "a" * 64}

    found = told(grown, against=replace(checkpoint, rungs=forged, hash="b" * 64))

    assert found == [
        "entry 3, ledger_entry: rewritten; the checkpoint of 2025-06-05T08:00:00+00:00 saw 4 "
        "entries"
    ]


def test_rewriting_between_two_rungs_is_told_as_such(grown, clock):
    checkpoint = take_checkpoint(make_sessions(grown), clock=clock)
    few = {"1": checkpoint.rungs["1"]}

    (found,) = told(grown, against=replace(checkpoint, rungs=few, hash="b" * 64))

    assert found.startswith(
        "entry 2, ledger_entry: rewritten (the first such entry is one of 2 to 4); "
    )


def test_checkpoint_of_an_empty_ledger_fits_what_comes_later(sessions, clock, load, network):
    checkpoint = take_checkpoint(sessions, clock=clock)
    load(network)

    assert (checkpoint.head, checkpoint.hash, checkpoint.rows) == (0, "0" * 64, {})
    assert verify_records(sessions, against=checkpoint).faults == ()


def test_long_ledger_is_noted_by_rungs_and_its_end(monkeypatch, grown, clock):
    monkeypatch.setattr("fleet.services.checkpoint.MOST_RUNGS", 2)

    checkpoint = take_checkpoint(make_sessions(grown), clock=clock)

    assert list(checkpoint.rungs) == ["1", "3"]
    assert checkpoint.head == 4
    assert told(grown, against=checkpoint) == []


def test_checkpoint_comes_back_from_its_file_as_it_was(loaded, clock, tmp_path):
    taken = take_checkpoint(loaded, clock=clock)
    write_checkpoint(taken, tmp_path / "a", key=KEY)

    assert read_checkpoint(tmp_path / "a", key=KEY) == taken
    assert read_checkpoint(tmp_path / "a") == taken
    assert taken.made_at == datetime(2025, 6, 2, 8, tzinfo=UTC).isoformat()


@pytest.mark.parametrize("name", ["head", "hash", "at", "made_at", "rows", "rungs", "kind"])
def test_checkpoint_that_was_changed_is_refused(loaded, clock, tmp_path, name):
    path = tmp_path / "a"
    write_checkpoint(take_checkpoint(loaded, clock=clock), path)
    content = json.loads(path.read_text())
    content[name] = {"site": 1} if isinstance(content[name], dict) else 0
    path.write_text(json.dumps(content))

    with pytest.raises(InputError, match=r"checkpoint|its own digest does not fit"):
        read_checkpoint(path)


def test_forged_checkpoint_with_a_fresh_digest_is_refused_by_its_seal(loaded, clock, tmp_path):
    taken = take_checkpoint(loaded, clock=clock)
    write_checkpoint(replace(taken, head=7), tmp_path / "forged", key=b"some other key, as long")

    with pytest.raises(InputError, match="its seal does not fit this key"):
        read_checkpoint(tmp_path / "forged", key=KEY)


def test_seal_is_asked_of_a_file_that_has_none(loaded, clock, tmp_path):
    write_checkpoint(take_checkpoint(loaded, clock=clock), tmp_path / "a")

    with pytest.raises(ConflictError, match="has no seal"):
        read_checkpoint(tmp_path / "a", key=KEY)


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b"\xff\xfe", b"7", b'{"kind": "x"}', b"[" * 100_000],
    ids=["empty", "broken", "list", "bytes", "number", "other", "deep"],
)
def test_file_that_is_no_checkpoint_is_told(tmp_path, content):
    path = tmp_path / "a"
    path.write_bytes(content)

    with pytest.raises(InputError, match="checkpoint"):
        read_checkpoint(path)


def test_key_that_could_be_guessed_is_refused(tmp_path):
    path = tmp_path / "key"
    path.write_bytes(b"short")

    with pytest.raises(InputError, match="at least 16 bytes; this has 5"):
        read_key(path)
    with pytest.raises(InputError, match="cannot be read"):
        read_key(tmp_path / "none")

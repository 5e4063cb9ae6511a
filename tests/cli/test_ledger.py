"""`fleet ledger`: list, show, verify, with exit codes and messages."""

from __future__ import annotations

import csv
import io
import json
import sqlite3

import pytest

from fleet.store.session import engine_on
from tests.tampering import cut_last_entry


@pytest.fixture
def amended(loaded_settings, amend, network):
    """The URL of a database with two entries; the second, on 2025-06-03, amends a site."""
    change = network.only("sites", site_code="S01")
    amend(change.change("sites", {}, importance=3, ring_first=True, contact="bell"), reason="gate")
    return loaded_settings.database_url


def read_csv(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_list_tells_who_when_what_and_why(fleet, amended):
    ran = fleet("ledger", "list", "--format", "csv", db=amended)

    first, second = read_csv(ran.stdout)
    assert ran.exit_code == 0
    assert first["at"] == "2025-06-02T08:00:00+00:00"
    assert int(first["rows_added"]) == 208
    assert {name: second[name] for name in list(second)[:7]} == {
        "entry_id": "2",
        "at": "2025-06-03T08:00:00+00:00",
        "actor": "tester",
        "action": "network load",
        "reason": "gate",
        "rows_added": "1",
        "rows_superseded": "1",
    }


def test_list_since_a_day(fleet, amended):
    ran = fleet("ledger", "list", "--since", "2025-06-03", "--format", "json", db=amended)
    none = fleet("ledger", "list", "--since", "2025-06-04", "--format", "json", db=amended)

    assert [row["entry_id"] for row in json.loads(ran.stdout)] == [2]
    assert json.loads(none.stdout) == []


def test_show_gives_every_field_old_and_new(fleet, amended):
    ran = fleet("ledger", "show", 2, "--format", "csv", db=amended)

    rows = read_csv(ran.stdout)
    assert ran.exit_code == 0
    assert [(r["kind"], r["table"], r["key"], r["field"], r["old"], r["new"]) for r in rows] == [
        ("superseded", "site_version", "S01", "contact", "", "bell"),
        ("superseded", "site_version", "S01", "importance", "1.0", "3.0"),
        ("superseded", "site_version", "S01", "ring_first", "no", "yes"),
        ("added", "site_version", "", "", "", ""),
    ]
    assert "Entry 2: network load by tester at 2025-06-03T08:00:00+00:00" in ran.stderr
    assert "Reason: gate" in ran.stderr


def test_show_of_an_entry_that_is_not_there(fleet, amended, settings):
    ran = fleet("ledger", "show", 7, db=amended)
    empty = fleet("ledger", "show", 1, db=settings.database_url)

    assert (ran.exit_code, empty.exit_code) == (1, 1)
    assert "There is no ledger entry 7; the last one is 2." in ran.stderr
    assert "There is no ledger entry 1; the ledger is empty." in empty.stderr


def test_verify_of_whole_records_leaves_with_0(fleet, amended):
    ran = fleet("ledger", "verify", "--format", "csv", db=amended)

    assert ran.exit_code == 0
    assert ran.stdout == "entry_id,table,fault\n"
    assert "2 entries, everything fits. Last hash: " in ran.stderr


@pytest.mark.sqlite
def test_verify_of_records_changed_behind_its_back_leaves_with_3(fleet, amended):
    connection = sqlite3.connect(amended.removeprefix("sqlite:///"))
    connection.execute("DROP TRIGGER tip_run_no_update")
    connection.execute("UPDATE tip_run SET tips = 43 WHERE id = 17")
    connection.commit()
    connection.close()

    ran = fleet("ledger", "verify", "--format", "csv", db=amended)

    assert ran.exit_code == 3
    assert read_csv(ran.stdout) == [
        {
            "entry_id": "1",
            "table": "tip_run",
            "fault": "the rows of this entry (56 were written) are not as written",
        },
        {
            "entry_id": "",
            "table": "tip_run",
            "fault": "the trigger tip_run_no_update is missing",
        },
    ]
    assert "2 fault(s) in a ledger of 2 entries." in ran.stderr


def test_verify_against_a_noted_hash_shows_a_ledger_that_was_cut_off(fleet, amended):
    """The last entry with all that it wrote is gone, and the closing it made is undone."""
    noted = json.loads(fleet("ledger", "list", "--format", "json", db=amended).stdout)[1]["hash"]
    with engine_on(amended) as engine:
        cut_last_entry(engine, 2)

    alone = fleet("ledger", "verify", db=amended)
    held = fleet("ledger", "verify", "--noted-hash", noted, db=amended)

    assert alone.exit_code == 0
    assert held.exit_code == 3
    assert f"no entry has the noted hash {noted}" in held.stdout


def test_verify_against_a_checkpoint_shows_a_ledger_that_was_cut_off(fleet, amended, tmp_path):
    path, key = tmp_path / "monday.checkpoint", tmp_path / "key"
    key.write_bytes(b"sixteen bytes and more")
    sealed = ("--against", path, "--key-file", key)

    made = fleet("ledger", "checkpoint", "--output", path, "--key-file", key, db=amended)
    whole = fleet("ledger", "verify", *sealed, db=amended)
    with engine_on(amended) as engine:
        cut_last_entry(engine, 2)
    held = fleet("ledger", "verify", *sealed, "--format", "csv", db=amended)

    assert (made.exit_code, whole.exit_code, held.exit_code) == (0, 0, 3)
    assert f"{path}: 2 entries, last hash " in made.stderr
    assert "The checkpoint monday.checkpoint fits." in whole.stderr
    assert read_csv(held.stdout)[0]["entry_id"] == "2"
    assert "missing; the checkpoint of " in read_csv(held.stdout)[0]["fault"]


def test_key_without_a_checkpoint_is_wrong_use(fleet, amended, tmp_path):
    key = tmp_path / "key"
    key.write_bytes(b"sixteen bytes and more")

    assert fleet("ledger", "verify", "--key-file", key, db=amended).exit_code == 2


def test_changed_checkpoint_leaves_with_1(fleet, amended, tmp_path):
    path = tmp_path / "monday.checkpoint"
    fleet("ledger", "checkpoint", "--output", path, db=amended)
    path.write_text(path.read_text().replace('"head": 2', '"head": 1'))

    ran = fleet("ledger", "verify", "--against", path, db=amended)

    assert ran.exit_code == 1
    assert "it was changed after it was written: its own digest does not fit" in ran.stderr


def test_verify_finds_a_noted_hash(fleet, amended):
    first = json.loads(fleet("ledger", "list", "--format", "json", db=amended).stdout)[0]["hash"]

    assert fleet("ledger", "verify", "--noted-hash", first, db=amended).exit_code == 0


def test_ledger_of_a_missing_database_leaves_with_5(fleet, tmp_path):
    ran = fleet("ledger", "list", db=str(tmp_path / "none.sqlite"))

    assert ran.exit_code == 5

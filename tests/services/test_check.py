"""Checking a database: each kind of damage is found and named, on both databases."""

from __future__ import annotations

import pytest
from sqlalchemy import Engine, text

from fleet.domain.code import NotDoneReason, StopOutcome
from fleet.services.check import DERIVED, check_database, check_frame
from fleet.services.round_life import issue_round, update_stop
from fleet.services.stop_result import StopUpdate
from fleet.store.journal import Wish
from fleet.store.session import make_sessions
from tests.conftest import load_into
from tests.factories import InputFolder
from tests.hand_round import keep_round
from tests.tampering import tamper

SKIPPED = (
    "UPDATE stop_result SET outcome = 'skipped', reason = 'weather' WHERE visit_id IS NOT NULL"
)


def found(engine: Engine) -> list[tuple[str, str, str]]:
    faults = check_database(make_sessions(engine))
    return [(fault.check, fault.place, fault.fault) for fault in faults]


def kinds(engine: Engine) -> set[tuple[str, str]]:
    return {(check, place) for check, place, _ in found(engine)}


@pytest.fixture
def driven(loaded_engine, clock, tmp_path) -> Engine:
    """A network with an issued round of three stops, one of them settled by a visit."""
    sessions = make_sessions(loaded_engine)
    ref = keep_round(sessions, clock)
    issue_round(sessions, ref, Wish("tester", "round issue", ""), clock=clock)
    clock.move(days=2)
    load = load_into(sessions, clock, tmp_path / "visits")
    visits = InputFolder().visit("V100", "S01", "2025-06-03")
    load(visits.check("V100", "00417", found=(40, 40), left=(40, 40)), today=clock.at.date())
    skipped = StopUpdate("S03", StopOutcome.SKIPPED, NotDoneReason.WEATHER)
    update_stop(sessions, ref, skipped, Wish("tester", "round stop", ""), clock=clock)
    return loaded_engine


def test_records_as_they_were_written_are_well(driven):
    assert found(driven) == []


def test_empty_database_is_well(sessions):
    assert check_database(sessions) == ()
    assert list(check_frame(())) == ["check", "place", "fault"]


def test_reference_to_a_row_that_is_not_there_is_found(driven):
    tamper(driven, "DELETE FROM technician WHERE code = 'T02'")

    faults = found(driven)

    assert ("references", "technician_version") in kinds(driven)
    (told,) = [f for c, p, f in faults if (c, p) == ("references", "technician_version")]
    assert told.startswith("1 row(s) name a technician that is not there by technician_id, first ")
    assert ("ledger", "technician") in kinds(driven)


def test_index_that_is_gone_is_found(driven):
    with driven.begin() as connection:
        connection.execute(text("DROP INDEX ix_visit_version_visited_on"))

    assert found(driven) == [
        (
            "tables",
            "tables",
            "not as this version makes them: add index ix_visit_version_visited_on",
        )
    ]


def test_guard_that_is_gone_is_found(loaded_sqlite):
    with loaded_sqlite.begin() as connection:
        connection.execute(text("DROP TRIGGER visit_no_delete"))

    assert found(loaded_sqlite) == [
        ("ledger", "visit", "the trigger visit_no_delete is missing"),
    ]


def test_identity_of_which_nothing_is_known_is_found(driven):
    tamper(driven, "DELETE FROM gauge_type_version WHERE id = 1")

    assert ("versions", "gauge_type") in kinds(driven)


def test_two_versions_known_at_one_time_are_found(driven, clock, tmp_path, network):
    load = load_into(make_sessions(driven), clock, tmp_path / "again")
    clock.move(days=1)
    load(network.only("sites", site_code="S01").change("sites", {}, importance=3), reason="x")
    tamper(driven, "UPDATE site_version SET known_until = '2026-01-01' WHERE id = 1")

    (told,) = [fault for check, _, fault in found(driven) if check == "versions"]
    assert told.startswith("rows 1 and ")
    assert told.endswith(" of one key are known at the same time")


def test_stop_result_that_does_not_follow_from_the_visits_is_found(driven):
    tamper(driven, SKIPPED)

    derived = [row for row in found(driven) if row[0] == "derived"]
    assert derived == [
        ("derived", "stop results", "2025-W23-NORTH stop S01: done by visit V100"),
    ]


def test_follow_up_that_should_be_open_is_found(driven):
    tamper(driven, "UPDATE gauge_check SET restoration_proven = NULL, restored_at = NULL")

    texts = [fault for check, place, fault in found(driven) if place == "reconnection follow-ups"]
    assert any("should be open after visit V100" in told for told in texts)


def test_check_leaves_no_trace(driven):
    with driven.connect() as connection:
        before = connection.execute(text("SELECT count(*) FROM ledger_entry")).scalar_one()
    tamper(driven, SKIPPED)
    found(driven)

    with driven.connect() as connection:
        after = connection.execute(text("SELECT count(*) FROM ledger_entry")).scalar_one()
        rows = connection.execute(text("SELECT count(*) FROM stop_result")).scalar_one()
    assert (after, rows) == (before, 2)


def test_what_is_derived_later_is_checked_by_adding_it(driven, monkeypatch):
    monkeypatch.setitem(DERIVED, "a table of states", lambda work: ["gauge 00417 differs"])

    assert found(driven) == [("derived", "a table of states", "gauge 00417 differs")]


def test_damaged_file_is_found(loaded_sqlite, tmp_path):
    """Zeros over a page in the middle: SQLite itself tells, whatever else can still be read."""
    with loaded_sqlite.connect() as connection:
        root = connection.execute(
            text("SELECT rootpage FROM sqlite_master WHERE name = 'ix_tip_run_entry_id'")
        ).scalar_one()
        size = connection.execute(text("PRAGMA page_size")).scalar_one()
    loaded_sqlite.dispose()
    path = tmp_path / "loaded.sqlite"
    with path.open("r+b") as file:
        file.seek((root - 1) * size)
        file.write(bytes(size))

    assert ("file", "database", "it cannot be read: database disk image is malformed") in found(
        loaded_sqlite
    )


def test_texts_that_do_not_sort_by_their_bytes_are_found(loaded_postgresql):
    with loaded_postgresql.begin() as connection:
        connection.execute(
            text('ALTER TABLE round_note ALTER COLUMN note TYPE varchar COLLATE "default"')
        )

    assert (
        "tables",
        "round_note",
        "the texts of note do not sort by their bytes (collation C)",
    ) in found(loaded_postgresql)

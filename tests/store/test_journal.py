"""One transaction, one entry; nothing overwritten; nothing left behind by what was taken back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import event, func, insert, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from fleet.errors import ConflictError
from fleet.store.journal import Wish, Work, writing
from fleet.store.models.ledger import LedgerChange, LedgerEntry
from fleet.store.models.people import Closure, Depot, DepotVersion
from fleet.store.session import make_engine, make_sessions
from fleet.store.verify import verify_ledger

WISH = Wish(actor="tester", action="test", reason="because")
PLACE = {"latitude_deg": 44.9, "longitude_deg": -34.7, "time_zone": "Etc/GMT-1"}


def add_depot(work: Work, code: str = "NORTH", name: str = "Vellmora") -> int:
    depot_id = work.add(Depot, [{"code": code}])[0]
    return work.add(DepotVersion, [{"depot_id": depot_id, "name": name, **PLACE}])[0]


def rename(work: Work, row_id: int, *names: str) -> None:
    fields = {"name": names}
    work.supersede(DepotVersion, row_id, key="NORTH", fields=fields)
    work.add(DepotVersion, [{"depot_id": 1, "name": names[1], **PLACE}])


def entries(sessions: sessionmaker[Session]) -> list[LedgerEntry]:
    with sessions() as session:
        return list(session.execute(select(LedgerEntry).order_by(LedgerEntry.id)).scalars())


def count(sessions: sessionmaker[Session], model: type) -> int:
    with sessions() as session:
        return session.execute(select(func.count()).select_from(model)).scalar_one()


def test_one_transaction_is_one_entry_with_its_changes(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        add_depot(work)
        work.add(Closure, [{"depot_id": 1, "day": clock.at.date(), "name": "a"}])

    (entry,) = entries(sessions)
    assert (entry.id, entry.actor, entry.action, entry.reason) == (1, "tester", "test", "because")
    assert entry.at == datetime(2025, 6, 2, 8, 0, tzinfo=UTC)
    assert entry.previous_hash == "0" * 64
    with sessions() as session:
        changes = session.execute(
            select(LedgerChange.number, LedgerChange.table_name, LedgerChange.row_count)
        ).all()
    assert sorted(changes) == [(1, "closure", 1), (2, "depot", 1), (3, "depot_version", 1)]


def test_rows_carry_their_entry_and_the_instant_from_which_they_are_known(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        add_depot(work)
    clock.move(hours=1)
    with writing(sessions, WISH, clock) as work:
        add_depot(work, "SOUTH")

    with sessions() as session:
        rows = session.execute(select(DepotVersion).order_by(DepotVersion.id)).scalars().all()
    assert [(row.id, row.depot_id, row.entry_id) for row in rows] == [(1, 1, 1), (2, 2, 2)]
    assert rows[1].known_from - rows[0].known_from == timedelta(hours=1)
    assert rows[0].known_until is None


def test_superseded_row_stays_and_says_when_and_by_what(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        row_id = add_depot(work)
    clock.move(days=1)
    with writing(sessions, WISH, clock) as work:
        rename(work, row_id, "Vellmora", "Vellmora Quay")

    with sessions() as session:
        old, new = session.execute(select(DepotVersion).order_by(DepotVersion.id)).scalars()
        fields = session.execute(
            select(LedgerChange.fields).where(LedgerChange.kind == "superseded")
        ).scalar_one()
    assert (old.name, old.known_until, old.closing_entry_id) == (
        "Vellmora",
        datetime(2025, 6, 3, 8, 0, tzinfo=UTC),
        2,
    )
    assert (new.name, new.known_from, new.known_until) == ("Vellmora Quay", old.known_until, None)
    assert json.loads(fields) == {"name": ["Vellmora", "Vellmora Quay"]}


def test_row_is_superseded_by_one_writer_only(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        row_id = add_depot(work)
    with writing(sessions, WISH, clock) as work:
        rename(work, row_id, "Vellmora", "first")

    with (
        pytest.raises(ConflictError, match="depot_version NORTH was changed by somebody else"),
        writing(sessions, WISH, clock) as work,
    ):
        rename(work, row_id, "Vellmora", "second")

    assert len(entries(sessions)) == 2
    assert count(sessions, DepotVersion) == 2


def test_dry_run_leaves_nothing(sessions, clock):
    with writing(sessions, Wish("tester", "test", "", dry_run=True), clock) as work:
        add_depot(work)
        assert work.added == {"depot": 1, "depot_version": 1}

    assert entries(sessions) == []
    assert count(sessions, Depot) == 0


def test_exception_leaves_nothing(sessions, clock):
    def break_off(work: Work) -> None:
        add_depot(work)
        raise RuntimeError("halfway")

    with pytest.raises(RuntimeError, match="halfway"), writing(sessions, WISH, clock) as work:
        break_off(work)

    assert entries(sessions) == []
    assert count(sessions, Depot) == 0


def test_row_that_the_database_refuses_leaves_nothing(sessions, clock):
    def add_twice(work: Work) -> None:
        add_depot(work)
        work.add(DepotVersion, [{"depot_id": 1, "name": "a second current row", **PLACE}])

    with pytest.raises(IntegrityError), writing(sessions, WISH, clock) as work:
        add_twice(work)

    assert entries(sessions) == []
    assert count(sessions, Depot) == 0


def test_refusal_at_the_end_of_the_transaction_leaves_nothing(sessions, clock):
    """A reference to an entry is only checked when the transaction ends."""

    def add_astray(work: Work) -> None:
        add_depot(work)
        work.session.execute(insert(Depot), [{"id": 9, "code": "A", "entry_id": 99}])

    with pytest.raises(IntegrityError), writing(sessions, WISH, clock) as work:
        add_astray(work)

    assert entries(sessions) == []
    assert count(sessions, Depot) == 0


def test_nothing_changed_writes_no_entry(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        assert work.add(Depot, []) == []

    assert entries(sessions) == []


def test_entries_are_later_than_the_ones_before_though_the_clock_goes_back(sessions, clock):
    for code in ("A", "B", "C"):
        with writing(sessions, WISH, clock) as work:
            add_depot(work, code)
        clock.move(hours=-1)

    first, second, third = entries(sessions)
    assert second.at - first.at == timedelta(microseconds=1)
    assert third.at - second.at == timedelta(microseconds=1)
    assert [entry.previous_hash for entry in (second, third)] == [first.hash, second.hash]


def test_row_written_and_amended_with_a_clock_going_back_is_still_in_order(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        row_id = add_depot(work)
    clock.move(days=-400)
    with writing(sessions, WISH, clock) as work:
        rename(work, row_id, "Vellmora", "later")

    with sessions() as session:
        old = session.get_one(DepotVersion, row_id)
        assert verify_ledger(session) == []
    assert old.known_until == old.known_from + timedelta(microseconds=1)


def test_whole_number_in_a_column_of_floats_is_hashed_as_it_is_stored(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        work.add(Depot, [{"code": "NORTH"}])
        work.add(DepotVersion, [{"depot_id": 1, "name": "x", **PLACE, "latitude_deg": 45}])

    with sessions() as session:
        assert verify_ledger(session) == []


def test_many_rows_keep_their_order_and_their_digest(sessions, clock):
    with writing(sessions, WISH, clock) as work:
        ids = work.add(Depot, [{"code": f"D{number:05}"} for number in range(12_001)])

    assert ids == list(range(1, 12_002))
    with sessions() as session:
        last = session.execute(select(Depot.code).where(Depot.id == 12_001)).scalar_one()
        assert verify_ledger(session) == []
    assert last == "D12000"


def test_both_databases_write_the_same_hashes(shared_sqlite, shared_postgresql):
    hashes = [
        [entry.hash for entry in entries(make_sessions(engine))]
        for engine in (shared_sqlite, shared_postgresql)
    ]

    assert len(hashes[0]) == 1
    assert hashes[0] == hashes[1]


def test_amendment_works_the_same_on_both_databases(loaded_engine, clock):
    sessions = make_sessions(loaded_engine)
    clock.move(days=1)
    with writing(sessions, WISH, clock) as work:
        rename(work, 1, "Vellmora", "Vellmora Quay")

    with sessions() as session:
        names = session.execute(
            select(DepotVersion.name, DepotVersion.closing_entry_id)
            .where(DepotVersion.depot_id == 1)
            .order_by(DepotVersion.id)
        ).all()
        assert verify_ledger(session) == []
    assert names == [("Vellmora", 2), ("Vellmora Quay", None)]


def test_writer_that_must_wait_too_long_is_told(settings, clock, monkeypatch):
    monkeypatch.setattr("fleet.store.session._SQLITE_PRAGMAS", ("PRAGMA busy_timeout=10",))
    sessions = make_sessions(make_engine(settings.database_url))

    with writing(sessions, WISH, clock) as first:
        add_depot(first)
        with (
            pytest.raises(ConflictError, match="Somebody else is writing"),
            writing(sessions, WISH, clock) as second,
        ):
            add_depot(second, "SOUTH")

    assert count(sessions, Depot) == 1


def test_writer_sees_the_entry_of_the_writer_before(loaded_postgresql, clock):
    """Two writers at once on PostgreSQL: the second waits for the lock and chains to the first."""
    sessions = make_sessions(loaded_postgresql)
    waited: list[str] = []

    @event.listens_for(loaded_postgresql, "before_cursor_execute")
    def watch(connection, cursor, statement, *rest):
        if "pg_advisory_xact_lock" in statement:
            waited.append(statement)

    for code in ("EAST", "WEST"):
        with writing(sessions, WISH, clock) as work:
            add_depot(work, code)

    first, second, third = entries(sessions)
    assert len(waited) == 2
    assert [second.previous_hash, third.previous_hash] == [first.hash, second.hash]

"""The two roles on PostgreSQL, tried by connecting as them."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from fleet.errors import ConflictError
from fleet.services.audit import audit_overdue
from fleet.services.check import check_database
from fleet.services.database_role import Roles, grant_roles, role_statements
from fleet.services.verify import verify_records
from fleet.settings import Settings
from fleet.store.session import make_engine, make_sessions
from tests.conftest import load_into

KEPT = ("site", "site_version", "tip_run", "ledger_entry", "ledger_change")


@pytest.fixture
def granted(loaded_postgresql: Engine) -> Engine:
    """The small network with both roles granted, and somebody in each."""
    url = loaded_postgresql.url.render_as_string(hide_password=False)
    for _ in range(2):  # running it again changes nothing
        grant_roles(Settings(url, "owner"), Roles())
    with loaded_postgresql.begin() as connection:
        for role, login in (("fleet_auditor", "ann"), ("fleet_coordinator", "carl")):
            known = connection.execute(
                text("SELECT 1 FROM pg_roles WHERE rolname = :name"), {"name": login}
            ).first()
            if known is None:
                connection.execute(text(f"CREATE ROLE {login} LOGIN"))
            connection.execute(text(f"GRANT {role} TO {login}"))
    return loaded_postgresql


def as_user(engine: Engine, user: str) -> Engine:
    return make_engine(engine.url.set(username=user).render_as_string(hide_password=False))


def refused(engine: Engine, statement: str) -> str:
    with pytest.raises(DBAPIError) as caught, engine.begin() as connection:
        connection.execute(text(statement))
    return str(caught.value.orig)


def test_auditor_asks_verifies_and_checks(granted):
    engine = as_user(granted, "ann")
    sessions = make_sessions(engine)

    assert verify_records(sessions).faults == ()
    assert check_database(sessions) == ()
    assert len(audit_overdue(sessions, as_of=date(2025, 6, 2))) > 0
    engine.dispose()


def test_auditor_changes_nothing(granted, clock, tmp_path, network):
    engine = as_user(granted, "ann")
    load = load_into(make_sessions(engine), clock, tmp_path / "more")

    with pytest.raises(ConflictError, match="permission denied"):
        load(network.only("sites", site_code="S01").change("sites", {}, importance=3), reason="x")
    for table in KEPT:
        for statement in (
            f"DELETE FROM {table}",
            f"UPDATE {table} SET id = 0",
            f"TRUNCATE {table}",
        ):
            assert "permission denied" in refused(engine, statement)
    engine.dispose()


def test_coordinator_works(granted, clock, tmp_path, network):
    engine = as_user(granted, "carl")
    sessions = make_sessions(engine)
    load = load_into(sessions, clock, tmp_path / "more")
    clock.move(days=1)

    load(network.only("sites", site_code="S01").change("sites", {}, importance=3), reason="x")

    found = verify_records(sessions)
    assert (found.entries, found.faults) == (2, ())
    engine.dispose()


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM tip_run",
        "TRUNCATE finding",
        "UPDATE tip_run SET tips = 1",
        "UPDATE site_version SET importance = 1",
        "UPDATE ledger_entry SET reason = ''",
        "ALTER TABLE tip_run DISABLE TRIGGER USER",
        "DROP TRIGGER tip_run_append_only ON tip_run",
        "DROP TABLE finding",
        "CREATE OR REPLACE FUNCTION fleet_close_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RETURN NEW; END $$",
        "SET session_replication_role = replica",
        "UPDATE alembic_version SET version_num = 'x'",
    ],
)
def test_coordinator_cannot_get_round_the_guards(granted, statement):
    engine = as_user(granted, "carl")

    words = refused(engine, statement)

    assert "permission denied" in words or "must be owner" in words
    engine.dispose()


def test_coordinator_may_not_close_a_row_twice(granted):
    engine = as_user(granted, "carl")
    close = "UPDATE site_version SET known_until = now(), closing_entry_id = 1 WHERE id = 1"
    with engine.begin() as connection:
        connection.execute(text(close))

    assert "superseded once" in refused(engine, close)
    engine.dispose()


def test_every_table_is_granted_and_nothing_kept_may_be_deleted():
    statements = role_statements(Roles("a", "b"))

    deleting = [line for line in statements if "DELETE" in line]
    assert deleting == ["GRANT INSERT, UPDATE, DELETE ON gauge_state TO b"]  # derived, not kept
    assert "GRANT INSERT ON tip_run TO b" in statements
    assert "GRANT INSERT, UPDATE (closing_entry_id, known_until) ON site_version TO b" in statements


@pytest.mark.parametrize("name", ["", "Auditor", "a b", "x;drop", "1a", "a" * 64, "pg_read", "a'"])
def test_name_that_is_none_is_refused(name):
    with pytest.raises(ConflictError, match="no name for a role"):
        Roles(auditor=name)


def test_one_name_for_both_is_refused():
    with pytest.raises(ConflictError, match="different roles"):
        Roles("same", "same")


def test_sqlite_knows_no_roles(loaded_sqlite, tmp_path):
    with pytest.raises(ConflictError, match="knows no roles"):
        grant_roles(Settings(f"sqlite:///{tmp_path / 'loaded.sqlite'}", "x"), Roles())


def test_user_without_the_right_is_told(granted):
    url = granted.url.set(username="ann").render_as_string(hide_password=False)

    with pytest.raises(ConflictError, match="nothing was changed"):
        grant_roles(Settings(url, "ann"), Roles("other_a", "other_b"))

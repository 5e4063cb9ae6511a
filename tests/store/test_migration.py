"""The revisions: they make what the models say, and go up, down and up again with rows in place."""

from __future__ import annotations

import re
import sqlite3

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import DBAPIError

from fleet.errors import SchemaVersionError
from fleet.services.learn_rates import learn_rates
from fleet.store.journal import Wish
from fleet.store.migrate import current_revision, downgrade, require_head, upgrade
from fleet.store.models.all import METADATA
from fleet.store.session import make_engine, make_sessions
from fleet.store.verify import verify_ledger
from tests.conftest import load_into
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.small_network import small_network

_CASTS = re.compile(r"::(character varying|text)(\[\])?")


def count_rows(engine: Engine) -> dict[str, int]:
    names = set(inspect(engine).get_table_names()) - {"alembic_version"}
    with engine.connect() as connection:
        return {
            name: connection.execute(text(f"SELECT count(*) FROM {name}")).scalar_one()
            for name in sorted(names)
        }


def conditions(engine: Engine) -> dict[tuple[str, str], str]:
    """Give every condition by table and name; PostgreSQL writes the same cast in two ways."""
    inspector = inspect(engine)
    return {
        (table, str(check["name"])): " ".join(_CASTS.sub("", check["sqltext"]).split())
        for table in inspector.get_table_names()
        for check in inspector.get_check_constraints(table)
    }


def refuses(engine: Engine, statement: str) -> bool:
    with engine.connect() as connection:
        try:
            connection.execute(text(statement))
        except DBAPIError as error:
            return "append-only" in str(error.orig)
        finally:
            connection.rollback()
    return False


def test_revisions_make_what_the_models_say(bare_engine):
    upgrade(bare_engine)

    with bare_engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, METADATA)

    assert differences == []


def test_comparison_of_models_sees_a_difference(bare_engine):
    upgrade(bare_engine)
    with bare_engine.begin() as connection:
        connection.execute(text("DROP INDEX ix_visit_version_visited_on"))

    with bare_engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), METADATA)

    assert [difference[0] for difference in differences] == ["add_index"]


def test_revisions_hold_the_same_conditions_as_the_models(bare_engine, tmp_path):
    """Alembic does not compare check constraints, so they are compared here by name and text."""
    upgrade(bare_engine)
    migrated = conditions(bare_engine)
    downgrade(bare_engine, "0002")  # PostgreSQL drops no table that a view shows
    with bare_engine.begin() as connection:
        METADATA.drop_all(connection)
        METADATA.create_all(connection)

    modelled = conditions(bare_engine)

    assert len(modelled) > 100
    assert migrated == modelled


def test_first_revision_loses_every_row_on_the_way_down_and_comes_up_empty(bare_engine, tmp_path):
    upgrade(bare_engine)
    load_into(make_sessions(bare_engine), FrozenClock(), tmp_path / "input")(small_network())
    downgrade(bare_engine, "0001")
    assert count_rows(bare_engine)["visit_version"] == 15

    downgrade(bare_engine, "base")
    assert count_rows(bare_engine) == {}
    upgrade(bare_engine, "0001")

    counts = count_rows(bare_engine)
    assert len(counts) == 41
    assert set(counts.values()) == {0}


def test_second_revision_keeps_every_row_down_and_up_and_guards_again(loaded_engine):
    update = "UPDATE depot SET code = 'X'"
    before = count_rows(loaded_engine)
    assert before["tip_run"] == 56
    assert refuses(loaded_engine, update)

    downgrade(loaded_engine, "0002")
    before = count_rows(loaded_engine)
    downgrade(loaded_engine, "0001")
    after = count_rows(loaded_engine)
    assert after == {name: before[name] for name in after}
    assert not refuses(loaded_engine, update)
    upgrade(loaded_engine, "0002")

    assert count_rows(loaded_engine) == before
    assert refuses(loaded_engine, update)


def test_third_revision_adds_tables_down_and_up_and_guards_them(loaded_engine):
    added = {"night_base", "night_base_version", "nights_out", "round_night", "round_bound"}
    before = count_rows(loaded_engine)
    assert (before["night_base"], before["nights_out"]) == (1, 1)
    assert refuses(loaded_engine, "UPDATE night_base SET code = 'X'")
    assert refuses(loaded_engine, "DELETE FROM nights_out")

    downgrade(loaded_engine, "0003")
    before = count_rows(loaded_engine)
    downgrade(loaded_engine, "0002")
    without = count_rows(loaded_engine)
    assert without == {name: rows for name, rows in before.items() if name not in added}
    upgrade(loaded_engine, "0003")

    assert count_rows(loaded_engine) == {**without, **dict.fromkeys(added, 0)}
    assert refuses(loaded_engine, "UPDATE depot SET code = 'X'")


def test_texts_sort_by_their_bytes_after_the_sixth_revision_and_views_stay(loaded_postgresql):
    """Down and up again with rows and two views, one upon the other, in the way."""
    engine = loaded_postgresql
    with engine.begin() as connection:
        connection.execute(text("CREATE VIEW first AS SELECT code FROM site"))
        connection.execute(text("CREATE VIEW second AS SELECT code || '!' AS loud FROM first"))
    before = count_rows(engine)

    downgrade(engine, "0005")
    down = text_collations(engine)
    upgrade(engine)

    assert down == {None}
    assert text_collations(engine) == {"C"}
    assert count_rows(engine) == before
    with engine.connect() as connection:
        assert len(connection.execute(text("SELECT loud FROM second")).all()) == before["site"]
    assert refuses(engine, "DELETE FROM site")


def text_collations(engine: Engine) -> set[str | None]:
    with engine.connect() as connection:
        rows = connection.execute(
            text(
                "SELECT c.collation_name FROM information_schema.columns c "
                "JOIN information_schema.tables t USING (table_schema, table_name) "
                "WHERE c.table_schema = 'public' AND c.data_type = 'character varying' "
                "AND t.table_type = 'BASE TABLE' AND c.table_name <> 'alembic_version'"
            )
        )
        return set(rows.scalars())


def test_eighth_revision_changes_one_index_down_and_up_and_keeps_rows_and_guards(loaded_engine):
    before = count_rows(loaded_engine)

    downgrade(loaded_engine, "0006")
    down, without = visit_indexes(loaded_engine), count_rows(loaded_engine)
    upgrade(loaded_engine)

    assert down - visit_indexes(loaded_engine) == {("site_id", "visited_on")}
    assert visit_indexes(loaded_engine) - down == {("site_id", "visited_on", "arrived_at", "id")}
    assert without == {name: before[name] for name in without}
    assert refuses(loaded_engine, "UPDATE visit_version SET note = 'X'")


def visit_indexes(engine: Engine) -> set[tuple[str | None, ...]]:
    indexes = inspect(engine).get_indexes("visit_version")
    return {tuple(index["column_names"]) for index in indexes}


def test_both_databases_give_texts_in_the_same_order(loaded_engine):
    """Capitals, punctuation, accents and other scripts: by bytes, which is by code point."""
    codes = ["a-1", "A.1", "a_1", "B2", "b1", "a1", "Ä1", "z", "Z", "0", "é", "я", "日", "𝄞"]
    with loaded_engine.connect() as connection:
        for number, code in enumerate(codes, start=100):
            connection.execute(
                text("INSERT INTO depot (id, code, entry_id) VALUES (:id, :code, 1)"),
                {"id": number, "code": code},
            )
        found = connection.execute(text("SELECT code FROM depot WHERE id >= 100 ORDER BY code"))
        in_order = list(found.scalars())
        connection.rollback()

    assert in_order == [
        "0",
        "A.1",
        "B2",
        "Z",
        "a-1",
        "a1",
        "a_1",
        "b1",
        "z",
        "Ä1",
        "é",
        "я",
        "日",
        "𝄞",
    ]


def test_fourth_revision_keeps_every_other_row_down_and_up_and_guards_again(loaded_engine):
    update = "UPDATE hold SET reason = 'X'"
    downgrade(loaded_engine, "0006")
    before = count_rows(loaded_engine)
    assert before["hold"] == 1
    assert refuses(loaded_engine, update)

    downgrade(loaded_engine, "0003")
    after = count_rows(loaded_engine)
    assert len(before) - len(after) == 10
    assert after == {name: before[name] for name in after}
    upgrade(loaded_engine, "0006")

    assert count_rows(loaded_engine) == before
    assert refuses(loaded_engine, update)
    upgrade(loaded_engine)
    with make_sessions(loaded_engine)() as session:
        assert verify_ledger(session) == []


def test_fourth_revision_does_not_go_down_over_a_word_that_is_new(loaded_engine, tmp_path):
    folder = InputFolder().add(
        "holds",
        site_code="S01",
        kind="these_days",
        first_day="2025-06-02",
        last_day="2025-06-03",
        reason="gate is open",
    )
    load_into(make_sessions(loaded_engine), FrozenClock(), tmp_path / "more")(folder)

    with pytest.raises(RuntimeError, match=r"1 hold\(s\) of kind these_days"):
        downgrade(loaded_engine, "0002")

    assert current_revision(loaded_engine) == "0008"


def test_seventh_revision_adds_rates_and_states_down_and_up_and_guards_the_rates(loaded_engine):
    sessions = make_sessions(loaded_engine)
    downgrade(loaded_engine, "0006")
    before = count_rows(loaded_engine)
    upgrade(loaded_engine, "0007")
    with sessions() as session:
        assert verify_ledger(session) == []
    wish = Wish("tester", "gauge learn", "")
    learn_rates(sessions, wish, as_of=TODAY, clock=FrozenClock())
    learned = count_rows(loaded_engine)
    assert (learned["learned_rates"], learned["gauge_state"]) == (1, 7)
    assert refuses(loaded_engine, "UPDATE learned_rates SET rates = '{}'")
    assert refuses(loaded_engine, "DELETE FROM learned_rates")
    assert not refuses(loaded_engine, "UPDATE gauge_state SET services = 0")

    downgrade(loaded_engine, "0006")
    without = count_rows(loaded_engine)
    ledger = {"ledger_entry", "ledger_change"}
    assert {**without, **{name: before[name] for name in ledger}} == before
    upgrade(loaded_engine, "0007")

    assert count_rows(loaded_engine) == {**without, "learned_rates": 0, "gauge_state": 0}
    with sessions() as session:
        assert [fault.table for fault in verify_ledger(session)] == ["learned_rates"]


def test_upgrade_refuses_broken_references_and_stays_where_it_was(tmp_path):
    path = tmp_path / "broken.sqlite"
    engine = make_engine(f"sqlite:///{path}")
    upgrade(engine, "0001")
    with sqlite3.connect(path) as behind:  # a plain connection does not enforce foreign keys
        behind.execute("INSERT INTO depot (id, code, entry_id) VALUES (1, 'NORTH', 77)")
    behind.close()

    with pytest.raises(SchemaVersionError, match="point to rows that are not there"):
        upgrade(engine)

    assert current_revision(engine) == "0001"


def test_failing_upgrade_of_a_fresh_database_leaves_no_table(tmp_path, monkeypatch):
    engine = make_engine(f"sqlite:///{tmp_path / 'fresh.sqlite'}")
    with monkeypatch.context() as patch:
        patch.setattr("sqlalchemy.sql.ddl.CreateIndex.__init__", None)
        with pytest.raises(TypeError):
            upgrade(engine)

    assert inspect(engine).get_table_names() == []
    upgrade(engine)
    require_head(engine)


def test_head_is_required_and_the_message_says_what_to_run(tmp_path):
    engine = make_engine(f"sqlite:///{tmp_path / 'old.sqlite'}")
    with pytest.raises(SchemaVersionError, match="fleet database create"):
        require_head(engine)
    upgrade(engine, "0001")
    with pytest.raises(SchemaVersionError, match=r"revision 0001.*fleet database upgrade"):
        require_head(engine)
    upgrade(engine)

    require_head(engine)


def test_newer_database_asks_for_a_newer_tool(loaded_settings):
    engine = make_engine(loaded_settings.database_url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))

    with pytest.raises(SchemaVersionError, match=r"9999.*newer fleet"):
        require_head(engine)


def test_file_that_is_no_database_is_named(tmp_path):
    path = tmp_path / "notes.sqlite"
    path.write_text("this is not a database, whatever its name says" * 50, encoding="utf-8")

    with pytest.raises(SchemaVersionError, match=r"notes\.sqlite cannot be opened as a database"):
        require_head(make_engine(f"sqlite:///{path}"))

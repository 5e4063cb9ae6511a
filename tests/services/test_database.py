"""Opening, creating and bringing forward: what is there already is never harmed."""

from __future__ import annotations

import sqlite3

import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from fleet.errors import ConflictError, SchemaVersionError
from fleet.services.database import (
    create_database,
    database_status,
    open_database,
    open_or_create,
    upgrade_database,
)
from fleet.settings import Settings
from fleet.store.migrate import downgrade, newest_revision, upgrade
from fleet.store.models.people import Depot
from fleet.store.session import engine_on, make_engine


@pytest.fixture
def fresh(tmp_path) -> Settings:
    return Settings(f"sqlite:///{tmp_path / 'a folder' / 'new.sqlite'}", "tester")


def test_create_makes_the_folder_and_an_empty_database_at_head(fresh, tmp_path):
    place = create_database(fresh)

    assert place == str(tmp_path / "a folder" / "new.sqlite")
    with open_database(fresh)() as session:
        assert session.execute(select(Depot)).all() == []


@pytest.mark.sqlite
def test_create_leaves_a_database_that_is_there(loaded_settings):
    with pytest.raises(ConflictError, match=r"loaded\.sqlite exists already"):
        create_database(loaded_settings)

    assert database_status(loaded_settings).entries == 1


def test_create_leaves_any_other_file_and_any_folder(tmp_path):
    notes = tmp_path / "notes.txt"
    notes.write_text("mine", encoding="utf-8")

    for place in (notes, tmp_path):
        with pytest.raises(ConflictError, match="exists already"):
            create_database(Settings(f"sqlite:///{place}", "tester"))

    assert notes.read_text(encoding="utf-8") == "mine"


def test_create_says_when_its_folder_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")

    with pytest.raises(ConflictError, match="cannot be made"):
        create_database(Settings(f"sqlite:///{tmp_path / 'file' / 'x.sqlite'}", "tester"))


def test_open_refuses_a_database_that_is_missing_and_makes_no_file(fresh, tmp_path):
    with pytest.raises(SchemaVersionError, match="Make one with: fleet database create"):
        open_database(fresh)

    assert list(tmp_path.iterdir()) == []


def test_open_refuses_an_older_database(loaded_settings):
    with engine_on(loaded_settings.database_url) as engine:
        downgrade(engine, "0001")

    needs = f"at revision 0001, this version needs {newest_revision()}"
    with pytest.raises(SchemaVersionError, match=needs):
        open_database(loaded_settings)


def test_upgrade_brings_it_forward_and_keeps_its_rows(loaded_settings):
    with engine_on(loaded_settings.database_url) as engine:
        downgrade(engine, "0001")

    assert upgrade_database(loaded_settings) == ("0001", newest_revision())
    assert upgrade_database(loaded_settings) == (newest_revision(), newest_revision())
    assert database_status(loaded_settings).entries == 1


def test_upgrade_does_not_make_a_missing_database(fresh, tmp_path):
    with pytest.raises(SchemaVersionError, match="fleet database create"):
        upgrade_database(fresh)

    assert list(tmp_path.iterdir()) == []


def test_upgrade_leaves_the_tables_of_something_else(tmp_path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    other.close()

    with pytest.raises(ConflictError, match="tables that are not of this tool"):
        upgrade_database(Settings(f"sqlite:///{path}", "tester"))


def test_upgrade_of_a_file_that_is_no_database_is_told(tmp_path):
    path = tmp_path / "notes.sqlite"
    path.write_text("no database at all " * 100, encoding="utf-8")

    with pytest.raises(SchemaVersionError, match="cannot be opened as a database"):
        upgrade_database(Settings(f"sqlite:///{path}", "tester"))


@pytest.mark.parametrize("url", ["nonsense://x", "sqlite:/x", "postgresql+none://x"])
def test_address_that_names_no_database_is_told(url):
    with pytest.raises(SchemaVersionError, match="names no database"):
        open_database(Settings(url, "tester"))


def test_missing_driver_is_told(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "psycopg", None)

    with pytest.raises(SchemaVersionError, match=r"pip install 'fleet\[postgresql\]'"):
        make_engine("postgresql://nobody@/nothing")


def test_server_that_does_not_answer_is_told_without_the_password(tmp_path):
    pytest.importorskip("psycopg")
    url = f"postgresql://somebody:secret@/rain?host={tmp_path}&connect_timeout=2"

    with pytest.raises(SchemaVersionError, match="cannot be opened as a database") as caught:
        open_database(Settings(url, "tester"))

    assert "secret" not in str(caught.value)


def test_open_or_create_makes_a_database_once(fresh, clock, load):
    first = open_or_create(fresh)
    with first() as session:
        assert session.execute(select(Depot)).all() == []
    assert open_or_create(fresh) is not first
    assert database_status(fresh).entries == 0


def test_status_tells_place_revision_and_the_newest_entry(loaded_settings):
    found = database_status(loaded_settings)

    assert found.place
    assert (found.revision, found.entries, len(found.last_hash)) == (
        newest_revision(),
        1,
        64,
    )


def test_database_stays_usable_after_a_refused_commit(settings):
    """SQLite keeps a transaction whose commit was refused, and with it the lock on writing."""
    sessions = open_database(settings)
    with sessions() as session:
        session.add(Depot(id=1, code="A", entry_id=99))
        with pytest.raises(IntegrityError):
            session.commit()

    with sessions() as session:
        assert session.execute(select(Depot)).all() == []
    with engine_on(settings.database_url) as engine:
        upgrade(engine)
    sessions.kw["bind"].dispose()

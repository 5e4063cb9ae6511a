"""Databases for the tests of the store: each test on SQLite and on PostgreSQL."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from tests.postgresql import Server, open_engine


@pytest.fixture
def bare_engine(dialect: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """An engine on a database without any table."""
    if dialect == "sqlite":
        url = f"sqlite:///{tmp_path / 'bare.sqlite'}"
    else:
        server: Server = request.getfixturevalue("server")
        url = server.url(server.make_database())
    yield from open_engine(url)


@pytest.fixture(scope="module")
def shared_sqlite(
    loaded_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """SQLite with the small network, for tests that take back all they do."""
    path = shutil.copyfile(loaded_database, tmp_path_factory.mktemp("shared") / "shared.sqlite")
    yield from open_engine(f"sqlite:///{path}")


@pytest.fixture(scope="module")
def shared_postgresql(server: Server, loaded_name: str) -> Iterator[Engine]:
    """PostgreSQL with the small network, for tests that take back all they do."""
    yield from open_engine(server.url(server.make_database(loaded_name)))


@pytest.fixture
def shared_engine(dialect: str, request: pytest.FixtureRequest) -> Engine:
    """Either of the shared databases in turn."""
    engine: Engine = request.getfixturevalue(f"shared_{dialect}")
    return engine


@pytest.fixture(scope="module")
def empty_sqlite(
    empty_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """SQLite at head without a row, for tests that take back all they do."""
    path = shutil.copyfile(empty_database, tmp_path_factory.mktemp("empty") / "empty.sqlite")
    yield from open_engine(f"sqlite:///{path}")


@pytest.fixture(scope="module")
def empty_postgresql(server: Server, empty_name: str) -> Iterator[Engine]:
    """PostgreSQL at head without a row, for tests that take back all they do."""
    yield from open_engine(server.url(server.make_database(empty_name)))


@pytest.fixture
def empty_engine(dialect: str, request: pytest.FixtureRequest) -> Engine:
    """Either of the shared databases without a row in turn."""
    engine: Engine = request.getfixturevalue(f"empty_{dialect}")
    return engine

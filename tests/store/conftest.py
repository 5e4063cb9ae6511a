"""Databases for the tests of the store: SQLite always, PostgreSQL where a server is found."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, make_url

from fleet.store.migrate import upgrade
from fleet.store.session import make_engine, make_sessions
from tests.conftest import load_into
from tests.factories import FrozenClock
from tests.small_network import small_network

DIALECTS = ("sqlite", "postgresql")


class Server:
    """A throw-away PostgreSQL server that listens on a socket in its own folder."""

    def __init__(self, tools: Path) -> None:
        self._tools = tools
        memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir=memory))
        self._as_other: list[str] = []
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(self.folder, "postgres")
            self._as_other = ["runuser", "-u", "postgres", "--"]
        self._number = 0

    def start(self) -> None:
        data = str(self.folder / "data")
        self._run("initdb", "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8", "-N")
        settings = ("listen_addresses=", "fsync=off", "autovacuum=off", "shared_buffers=16MB")
        options = " ".join([f"-k {self.folder}", *(f"-c {setting}" for setting in settings)])
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", data, "-w", "-l", log, "-o", options, "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, database: str) -> str:
        return f"postgresql://postgres@/{database}?host={self.folder}"

    def make_database(self, template: str = "template0") -> str:
        """Copy a database and give the name of the copy."""
        self._number += 1
        name = f"copy{self._number}"
        arguments = ("-h", str(self.folder), "-U", "postgres", "-T", template, name)
        self._run("createdb", *arguments)
        return name

    def _run(self, tool: str, *arguments: str) -> None:
        command = [*self._as_other, str(self._tools / tool), *arguments]
        subprocess.run(command, check=True, capture_output=True, cwd=self.folder)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed")
    tools = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not tools:
        pytest.skip("no PostgreSQL server is installed on this machine")
    server = Server(tools[-1].parent)
    server.start()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def loaded_name(server: Server) -> str:
    """The name of a PostgreSQL database that holds the small network; copy it."""
    name = server.make_database()
    engine = make_engine(server.url(name))
    upgrade(engine)
    folder = Path(tempfile.mkdtemp())
    load_into(make_sessions(engine), FrozenClock(), folder)(small_network())
    shutil.rmtree(folder)
    engine.dispose()
    return name


@pytest.fixture(params=DIALECTS)
def dialect(request: pytest.FixtureRequest) -> str:
    """Runs a test on both databases."""
    return str(request.param)


@pytest.fixture
def bare_engine(dialect: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """An engine on a database without any table."""
    if dialect == "sqlite":
        url = f"sqlite:///{tmp_path / 'bare.sqlite'}"
    else:
        server: Server = request.getfixturevalue("server")
        url = server.url(server.make_database())
    yield from _open(url)


@pytest.fixture
def loaded_engine(dialect: str, request: pytest.FixtureRequest) -> Engine:
    """An engine on a database of one's own that holds the small network."""
    engine: Engine = request.getfixturevalue(f"loaded_{dialect}")
    return engine


@pytest.fixture(scope="module")
def shared_sqlite(
    loaded_database: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """SQLite with the small network, for tests that take back all they do."""
    path = shutil.copyfile(loaded_database, tmp_path_factory.mktemp("shared") / "shared.sqlite")
    yield from _open(f"sqlite:///{path}")


@pytest.fixture(scope="module")
def shared_postgresql(server: Server, loaded_name: str) -> Iterator[Engine]:
    """PostgreSQL with the small network, for tests that take back all they do."""
    yield from _open(server.url(server.make_database(loaded_name)))


@pytest.fixture
def shared_engine(dialect: str, request: pytest.FixtureRequest) -> Engine:
    """Either of the shared databases in turn."""
    engine: Engine = request.getfixturevalue(f"shared_{dialect}")
    return engine


@pytest.fixture
def loaded_postgresql(server: Server, loaded_name: str) -> Iterator[Engine]:
    """PostgreSQL with the small network, one's own."""
    yield from _open(server.url(server.make_database(loaded_name)))


def _open(url: str) -> Iterator[Engine]:
    engine = make_engine(make_url(url).render_as_string(hide_password=False))
    yield engine
    engine.dispose()

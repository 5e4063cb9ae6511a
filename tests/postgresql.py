"""PostgreSQL for tests: a throw-away server where its programs are found, and copies of it."""

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
from tests.factories import FrozenClock
from tests.small_network import small_network

QUICK = ("fsync=off", "autovacuum=off", "shared_buffers=16MB")
"""Settings for tests: nothing has to outlive the machine."""


class Server:
    """A throw-away PostgreSQL server that listens on a socket in its own folder.

    It lies in memory where that can be, or in the folder given.
    """

    def __init__(
        self, tools: Path, *, settings: tuple[str, ...] = QUICK, within: Path | None = None
    ) -> None:
        self._tools = tools
        self._settings = settings
        memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir=within or memory))
        self._as_other: list[str] = []
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(self.folder, "postgres")
            self._as_other = ["runuser", "-u", "postgres", "--"]
        self._number = 0

    def start(self) -> None:
        data = str(self.folder / "data")
        self._run("initdb", "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8", "-N")
        settings = ("listen_addresses=", *self._settings)
        options = " ".join([f"-k {self.folder}", *(f"-c {setting}" for setting in settings)])
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", data, "-w", "-l", log, "-o", options, "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def process_id(self) -> int:
        """The process that all others of the server come from."""
        return int((self.folder / "data" / "postmaster.pid").read_text().split()[0])

    def url(self, database: str, user: str = "postgres") -> str:
        return f"postgresql://{user}@/{database}?host={self.folder}"

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


def server_tools() -> Path | None:
    """Find the newest server's programs; None where there are none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed")
    tools = server_tools()
    if tools is None:
        pytest.skip("no PostgreSQL server is installed on this machine")
    server = Server(tools)
    server.start()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def empty_name(server: Server) -> str:
    """The name of a PostgreSQL database at the newest revision without a row; copy it."""
    name = server.make_database()
    engine = make_engine(server.url(name))
    upgrade(engine)
    engine.dispose()
    return name


@pytest.fixture(scope="session")
def loaded_name(server: Server, empty_name: str) -> str:
    """The name of a PostgreSQL database that holds the small network; copy it."""
    from tests.conftest import load_into

    name = server.make_database(empty_name)
    engine = make_engine(server.url(name))
    folder = Path(tempfile.mkdtemp())
    load_into(make_sessions(engine), FrozenClock(), folder)(small_network())
    shutil.rmtree(folder)
    engine.dispose()
    return name


@pytest.fixture
def loaded_postgresql(server: Server, loaded_name: str) -> Iterator[Engine]:
    """PostgreSQL with the small network, one's own."""
    yield from open_engine(server.url(server.make_database(loaded_name)))


def open_engine(url: str) -> Iterator[Engine]:
    """Give an engine on a database, and close it after use."""
    engine = make_engine(make_url(url).render_as_string(hide_password=False))
    yield engine
    engine.dispose()

"""Fixtures that many tests share: a frozen clock, a migrated database, a small loaded network."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from fleet.settings import Settings
from fleet.store.migrate import upgrade
from fleet.store.session import make_engine, make_sessions
from tests.databases import Engines, settle
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.postgresql import (  # fixtures
    empty_name,
    loaded_name,
    loaded_postgresql,
    open_engine,
    server,
)
from tests.small_network import small_network

if TYPE_CHECKING:
    from fleet.services.load_network import LoadResult
    from tests.command_line import CommandLine

__all__ = ["empty_name", "loaded_name", "loaded_postgresql", "server"]

DIALECTS = ("sqlite", "postgresql")
Load = Callable[..., "LoadResult"]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-expected", action="store_true", help="rewrite the files in tests/expected"
    )
    parser.addoption(
        "--database",
        choices=DIALECTS,
        default="sqlite",
        help="what the services and commands are tried on; the store always on both",
    )


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("sqlite") and item.config.getoption("--database") != "sqlite":
        pytest.skip("needs the one file of an SQLite database")


@pytest.fixture
def clock() -> FrozenClock:
    """A clock that stands at 2025-06-02T08:00Z until a test moves it."""
    return FrozenClock()


@pytest.fixture
def today() -> date:
    return TODAY


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database at the newest revision, migrated once; copy it, never write to it."""
    path = tmp_path_factory.mktemp("template") / "empty.sqlite"
    engine = make_engine(f"sqlite:///{path}")
    upgrade(engine)
    settle(engine)
    return path


@pytest.fixture(scope="session")
def engines() -> Engines:
    return Engines()


@pytest.fixture(params=DIALECTS)
def dialect(request: pytest.FixtureRequest) -> str:
    """Runs a test on both databases."""
    return str(request.param)


@pytest.fixture
def engine(request: pytest.FixtureRequest, engines: Engines, tmp_path: Path) -> Iterator[Engine]:
    """An empty database of one's own."""
    if request.config.getoption("--database") == "sqlite":
        template = request.getfixturevalue("empty_database")
        yield from engines.lend(template, tmp_path / "fleet.sqlite")
        return
    server, name = (request.getfixturevalue(each) for each in ("server", "empty_name"))
    yield from open_engine(server.url(server.make_database(name)))


@pytest.fixture
def settings(engine: Engine, tmp_path: Path) -> Settings:
    """Settings that name an empty database of one's own."""
    return Settings(_url(engine, tmp_path / "fleet.sqlite"), actor="tester")


@pytest.fixture
def sessions(engine: Engine) -> sessionmaker[Session]:
    return make_sessions(engine)


@pytest.fixture
def network() -> InputFolder:
    """The small network as input tables, free to be changed; `small_network` says what is in."""
    return small_network()


@pytest.fixture
def load(sessions: sessionmaker[Session], clock: FrozenClock, tmp_path: Path) -> Load:
    """Load an `InputFolder` or a path: ``load(network, reason="", dry_run=False, today=TODAY)``."""
    return load_into(sessions, clock, tmp_path / "input")


@pytest.fixture(scope="session")
def loaded_database(empty_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small network, loaded once; copy it, never write to it."""
    folder = tmp_path_factory.mktemp("loaded")
    path = Path(shutil.copyfile(empty_database, folder / "loaded.sqlite"))
    engine = make_engine(f"sqlite:///{path}")
    load_into(make_sessions(engine), FrozenClock(), folder / "input")(small_network())
    settle(engine)
    return path


@pytest.fixture
def loaded_sqlite(engines: Engines, loaded_database: Path, tmp_path: Path) -> Iterator[Engine]:
    """A database of one's own that holds the small network, loaded at 2025-06-02T08:00Z."""
    yield from engines.lend(loaded_database, tmp_path / "loaded.sqlite")


@pytest.fixture
def loaded_engine(dialect: str, request: pytest.FixtureRequest) -> Engine:
    """Either database in turn, of one's own, that holds the small network."""
    engine: Engine = request.getfixturevalue(f"loaded_{dialect}")
    return engine


@pytest.fixture
def loaded_here(request: pytest.FixtureRequest) -> Engine:
    """The database that ``--database`` names, of one's own, that holds the small network."""
    engine: Engine = request.getfixturevalue(f"loaded_{request.config.getoption('--database')}")
    return engine


@pytest.fixture
def loaded_settings(loaded_here: Engine, tmp_path: Path) -> Settings:
    """Settings that name the `loaded` database: for commands (``--db``)."""
    return Settings(_url(loaded_here, tmp_path / "loaded.sqlite"), actor="tester")


@pytest.fixture
def loaded(loaded_here: Engine) -> sessionmaker[Session]:
    """Sessions on a database of one's own that holds the small network."""
    return make_sessions(loaded_here)


@pytest.fixture
def amend(loaded: sessionmaker[Session], clock: FrozenClock, tmp_path: Path) -> Load:
    """Load more into the `loaded` database, a day later: ``amend(folder, reason="...")``."""
    clock.move(days=1)
    return load_into(loaded, clock, tmp_path / "more")


@pytest.fixture
def fleet(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> CommandLine:
    """Run the command line: ``fleet("ledger", "list", db=loaded_settings.database_url)``."""
    from tests.command_line import CommandLine

    return CommandLine(monkeypatch, capsys)


def load_into(sessions: sessionmaker[Session], clock: FrozenClock, folder: Path) -> Load:
    """Give the function that loads into a database, writing its input into a folder first."""
    from fleet.services.load_network import load_network
    from fleet.store.journal import Wish

    def load(
        source: InputFolder | Path, *, reason: str = "", dry_run: bool = False, today: date = TODAY
    ) -> LoadResult:
        if isinstance(source, InputFolder):
            shutil.rmtree(folder, ignore_errors=True)
            source = source.write(folder)
        wish = Wish(actor="tester", action="network load", reason=reason, dry_run=dry_run)
        return load_network(sessions, source, wish, clock=clock, today=today)

    return load


def _url(engine: Engine, path: Path) -> str:
    if engine.dialect.name == "sqlite":
        return f"sqlite:///{path}"
    return engine.url.render_as_string(hide_password=False)

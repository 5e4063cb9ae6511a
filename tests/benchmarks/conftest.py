"""Networks of any size in a database, loaded once, and the stopwatch whose table is printed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import utc_now
from fleet.ingest.batch import read_batch
from fleet.services.known_codes import RecordsKnown
from fleet.services.load_network import write_batch
from fleet.store.journal import Wish
from fleet.store.migrate import upgrade
from fleet.store.session import make_engine, make_sessions
from tests.benchmarks.network import LAST_DAY, Size, write_network
from tests.benchmarks.stopwatch import Stopwatch
from tests.benchmarks.tally import Tally

STOPWATCH = pytest.StashKey[Stopwatch]()
TALLY = pytest.StashKey[Tally]()
Loaded = Callable[[Size], sessionmaker[Session]]


@pytest.fixture(scope="session")
def stopwatch(pytestconfig: pytest.Config) -> Stopwatch:
    return pytestconfig.stash.setdefault(STOPWATCH, Stopwatch())


@pytest.fixture(scope="session")
def tally(pytestconfig: pytest.Config) -> Tally:
    return pytestconfig.stash.setdefault(TALLY, Tally())


@pytest.fixture(scope="session")
def loaded_network(stopwatch: Stopwatch, tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    """Give sessions on a database with a network of that size; loading it is timed too."""
    kept: dict[Size, sessionmaker[Session]] = {}

    def load(size: Size) -> sessionmaker[Session]:
        if size not in kept:
            records = tmp_path_factory.mktemp("network") / "fleet.sqlite"
            kept[size] = load_network(size, records, stopwatch)
        return kept[size]

    return load


def load_network(size: Size, records: Path, stopwatch: Stopwatch) -> sessionmaker[Session]:
    """Make a database at this path with a network of that size."""
    source = write_network(size, records.with_suffix(".input"))
    engine = make_engine(f"sqlite:///{records}")
    upgrade(engine)
    sessions = make_sessions(engine)
    with sessions() as session:
        known = RecordsKnown(session)(())
    batch = stopwatch.measure(
        "load: read and check the files",
        lambda: read_batch(source, known=known, today=LAST_DAY),
        size=str(size),
    )
    batch.require_clean()
    wish = Wish("tester", "network load", "measuring")
    stopwatch.measure(
        "load: write the records",
        lambda: write_batch(sessions, batch, wish, clock=utc_now),
        size=str(size),
    )
    return sessions


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    for kept in (config.stash.get(STOPWATCH, Stopwatch()), config.stash.get(TALLY, Tally())):
        lines = kept.table()
        if lines:
            terminalreporter.section("measured")
        for line in lines:
            terminalreporter.line(line)

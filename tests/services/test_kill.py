"""The process is killed (SIGKILL) in the middle of a load, a visit, an issue: whole or absent.

Half of the kills come at a random statement, commits included, the others at a random moment, which
also hits inside a commit. Afterwards the database is checked as a whole, and the same change again
goes through. The fast suite tries 6 on each database; the long one 300 on SQLite in three parts,
and 60 on PostgreSQL.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, event, text
from sqlalchemy.orm import Session, sessionmaker

from fleet.services.check import check_database
from fleet.services.load_network import load_network
from fleet.services.record_visit import record_file
from fleet.services.round_life import issue_round
from fleet.store.journal import Wish
from fleet.store.session import engine_on, make_sessions
from tests.databases import settle
from tests.factories import NOW, TODAY, InputFolder
from tests.hand_round import keep_round
from tests.small_network import small_network

ROUND = "2025-W23-NORTH"
FEW, MANY = 6, 100
Change = Callable[[sessionmaker[Session], Path], object]
Moment = Callable[[Engine | None, int], None]
"""Is called in the child with its engine and 0, and in the parent with None and the child's id."""


def clock():
    return NOW + timedelta(days=1)


def load(sessions: sessionmaker[Session], folder: Path) -> object:
    """Amend two tables and add a visit, in one load."""
    wish = Wish("tester", "network load", "busier")
    return load_network(sessions, folder / "load", wish, clock=clock, today=TODAY)


def visit(sessions: sessionmaker[Session], folder: Path) -> object:
    """Record a visit that settles a stop and raises a follow-up."""
    wish = Wish("tester", "visit record", "")
    return record_file(sessions, folder / "visit", wish, clock=clock, today=TODAY + timedelta(1))


def issue(sessions: sessionmaker[Session], folder: Path) -> object:
    """Issue a round, which settles a stop by a visit on record."""
    del folder
    return issue_round(sessions, ROUND, Wish("tester", "round issue", ""), clock=clock)


CHANGES: dict[str, Change] = {"load": load, "visit": visit, "issue": issue}
TRACES = {
    "load": "SELECT (SELECT count(*) FROM site_version WHERE importance = 7) + "
    "(SELECT count(*) FROM certificate WHERE issuer = 'another') + "
    "(SELECT count(*) FROM visit WHERE code = 'V200')",
    "visit": "SELECT (SELECT count(*) FROM visit WHERE code = 'V300') + "
    "(SELECT count(*) FROM follow_up WHERE code LIKE '%V300%')",
    "issue": "SELECT count(*) FROM round_event WHERE status = 'issued'",
}
"""What each change leaves: all of these rows or none."""
WHOLE = {"load": 3, "visit": 2, "issue": 1}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("inputs")
    more = small_network().only("sites", site_code="S01").change("sites", {}, importance=7)
    certificate = small_network().tables["certificates"][0]
    more.tables["certificates"] = [{**certificate, "issuer": "another"}]
    more.visit("V200", "S02", "2025-06-01")
    more.check("V200", "00418", found=(40, 40), left=(40, 40)).write(folder / "load")
    lost = InputFolder().visit("V300", "S01", "2025-06-03")
    lost.check("V300", "00417", found=(40, 40), left=(40, 40))
    lost.change("gauge_checks", {}, restored_at="", restoration_proven="")
    lost.write(folder / "visit")
    return folder


class Copies:
    """Copies of a database with the small network and a planned round, on either database."""

    def __init__(self, dialect: str, folder: Path, request: pytest.FixtureRequest) -> None:
        self._folder = folder
        self._server = None if dialect == "sqlite" else request.getfixturevalue("server")
        if self._server is None:
            self._template = folder / "template.sqlite"
            shutil.copyfile(request.getfixturevalue("loaded_database"), self._template)
            url = f"sqlite:///{self._template}"
        else:
            self._template = self._server.make_database(request.getfixturevalue("loaded_name"))
            url = self._server.url(self._template)
        with engine_on(url) as engine:
            keep_round(make_sessions(engine), lambda: NOW)
            if self._server is None:
                settle(engine)

    def make(self) -> str:
        if self._server is not None:
            return self._server.url(self._server.make_database(self._template))
        for old in self._folder.glob("copy.sqlite*"):
            old.unlink()
        return f"sqlite:///{shutil.copyfile(self._template, self._folder / 'copy.sqlite')}"


@pytest.fixture
def copies(dialect, tmp_path, request) -> Copies:
    return Copies(dialect, tmp_path, request)


def run_and_kill(url: str, change: Change, folder: Path, when: Moment) -> int:
    """Run a change in a process of its own, killed at a moment; give how it ended."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            with engine_on(url) as engine:
                when(engine, 0)
                change(make_sessions(engine), folder)
            code = 0
        finally:
            os._exit(code)
    when(None, child)
    return os.waitpid(child, 0)[1]


def at_statement(number: int) -> Moment:
    """Kill before the statement of this number; a commit counts as one before and one after."""
    seen = 0

    def count(*_: object) -> None:
        nonlocal seen
        seen += 1
        if seen == number:
            os.kill(os.getpid(), signal.SIGKILL)

    def arm(engine: Engine | None, child: int) -> None:
        if child == 0:
            event.listen(engine, "before_cursor_execute", count)
            event.listen(engine, "commit", count)
            event.listen(engine, "checkin", count)

    return arm


def after(seconds: float) -> Moment:
    """Kill after so many seconds."""

    def wait(engine: Engine | None, child: int) -> None:
        del engine
        if child:
            time.sleep(seconds)
            os.kill(child, signal.SIGKILL)

    return wait


def measure(url: str, change: Change, folder: Path) -> tuple[int, float]:
    """Count the statements of a change and measure how long it takes."""
    statements = 0

    def count(*_: object) -> None:
        nonlocal statements
        statements += 1

    with engine_on(url) as engine:
        for name in ("before_cursor_execute", "commit", "checkin"):
            event.listen(engine, name, count)
        started = time.monotonic()
        change(make_sessions(engine), folder)
        return statements, time.monotonic() - started


def wait_for_the_server(url: str) -> None:
    """Wait until the server has noticed that its client is gone."""
    if not url.startswith("postgresql"):
        return
    others = text(
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    with engine_on(url) as engine, engine.connect() as connection:
        for _ in range(500):
            if connection.execute(others).scalar_one() == 0:
                return
            connection.rollback()
            time.sleep(0.02)
    raise AssertionError("the server does not let go of a killed client")


def kills(count: int, seed: str) -> Iterator[tuple[str, bool, float]]:
    """Give the kind of change, whether by statement, and where in it from 0 to 1."""
    dice = random.Random(seed)
    for number in range(count):
        yield sorted(CHANGES)[number % 3], number % 2 == 0, dice.random()


@pytest.mark.parametrize(
    ("count", "part"),
    [(FEW, 0), *(pytest.param(MANY, part, marks=pytest.mark.long) for part in (1, 2, 3))],
)
def test_killed_change_is_whole_or_absent(copies, inputs, dialect, count, part):
    count = count if dialect == "sqlite" or count == FEW else MANY // 5
    sizes = {name: measure(copies.make(), CHANGES[name], inputs) for name in CHANGES}
    ended = {"absent": 0, "whole": 0, "killed": 0}
    for name, by_statement, where in kills(count, f"{dialect} {part}"):
        statements, seconds = sizes[name]
        when = (
            at_statement(1 + int(where * statements))
            if by_statement
            else after(1.2 * where * seconds)
        )
        url = copies.make()
        killed = run_and_kill(url, CHANGES[name], inputs, when) == signal.SIGKILL
        wait_for_the_server(url)
        with engine_on(url) as engine:
            sessions = make_sessions(engine)
            whole = found_whole(engine, name)
            assert check_database(sessions) == ()
            if not whole:
                CHANGES[name](sessions, inputs)
                assert found_whole(engine, name)
        ended["whole" if whole else "absent"] += 1
        ended["killed"] += killed
    print(dialect, part, ended)  # noqa: T201  # the long run's result goes into PROOF.md
    assert ended["killed"] > count // 2
    assert ended["absent"] > 0


def found_whole(engine: Engine, name: str) -> bool:
    """Tell whether the change is there with all its rows and its entry; fail on half of it."""
    with engine.connect() as connection:
        traces = connection.execute(text(TRACES[name])).scalar_one()
        entries = connection.execute(text("SELECT count(*) FROM ledger_entry")).scalar_one()
    assert (traces, entries) in [(0, 2), (WHOLE[name], 3)]
    return entries == 3

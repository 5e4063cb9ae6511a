"""A disk that is full and a file that may only be read: told in words, and nothing half done.

The commands run in processes of their own whose files may not grow beyond a limit (RLIMIT_FSIZE),
and where the machine allows mounting on a small file system and on one that may only be read.
"""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import event

from fleet.errors import ConflictError
from fleet.services.check import check_database
from fleet.services.load_network import load_network
from fleet.store.journal import Wish
from fleet.store.session import engine_on, make_sessions
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.small_network import small_network

ROOT = Path(__file__).parents[2]


@pytest.fixture
def large(tmp_path) -> Path:
    """Input of some 400 kB: a year of daily totals of one gauge."""
    folder = InputFolder()
    days = [f"2024-{month:02d}-{day:02d}" for month in range(1, 13) for day in range(1, 29)]
    for position in small_network().tables["installations"][:4]:
        for day in days:
            folder.add(
                "daily_totals",
                site_code=position["site_code"],
                position=position["position"],
                day=day,
                total_mm="1.2",
            )
    return folder.write(tmp_path / "large")


def fleet(db: Path, *words: object, **how: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-B", "-m", "fleet", "--db", str(db), "--actor", "tester"]
    return subprocess.run(
        [*command, *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        cwd=db.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        **how,
    )


def entries(db: Path) -> int:
    """Count the entries of a database that must be well."""
    with engine_on(f"sqlite:///{db}") as engine:
        sessions = make_sessions(engine)
        assert check_database(sessions) == ()
        with sessions() as session:
            return (
                session.connection().exec_driver_sql("SELECT count(*) FROM ledger_entry").scalar()
            )


def small_files(limit: int) -> None:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))


def told(ran: subprocess.CompletedProcess[str]) -> str:
    """Give the one line that a person reads; never a traceback."""
    assert ran.returncode == 1, ran.stderr
    assert "Traceback" not in ran.stderr
    (line,) = ran.stderr.splitlines()
    assert line.startswith("Error: ")
    assert "nothing was" in line
    return line


def test_load_that_does_not_fit_is_told_and_leaves_nothing(loaded_sqlite, tmp_path, large):
    loaded_sqlite.dispose()
    db = tmp_path / "loaded.sqlite"

    ran = fleet(
        db,
        "network",
        "load",
        large,
        "--as-of",
        "2025-06-02",
        preexec_fn=lambda: small_files(60_000),
    )

    assert any(words in told(ran) for words in ("disk I/O error", "full"))
    assert entries(db) == 1
    assert fleet(db, "network", "load", large, "--as-of", "2025-06-02").returncode == 0
    assert entries(db) == 2


@pytest.mark.sqlite
def test_database_at_its_largest_is_told_and_leaves_nothing(loaded, large, tmp_path):
    """SQLite's own limit on pages gives the error of a full disk, SQLITE_FULL, at many points."""
    engine = loaded.kw["bind"]
    wish, clock = Wish("tester", "network load", ""), FrozenClock()
    refused = 0
    for room in (0, 1, 3, 6):
        engine.dispose()

        def limit(connection: object, record: object, room: int = room) -> None:
            del record
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count={pages + room}")

        event.listen(engine, "connect", limit)
        with pytest.raises(ConflictError, match="database or disk is full"):
            load_network(loaded, large, wish, clock=clock, today=TODAY)
        event.remove(engine, "connect", limit)
        engine.dispose()
        assert entries(tmp_path / "loaded.sqlite") == 1
        refused += 1
    assert refused == 4
    assert load_network(loaded, large, wish, clock=clock, today=TODAY).changed_anything


def test_backup_that_does_not_fit_is_told_and_leaves_nothing(loaded_sqlite, tmp_path):
    loaded_sqlite.dispose()
    db = tmp_path / "loaded.sqlite"
    size = db.stat().st_size

    ran = fleet(
        db,
        "database",
        "backup",
        tmp_path / "b.backup",
        preexec_fn=lambda: small_files(size // 2),
    )

    assert ran.returncode == 1
    assert "could not be copied" in ran.stderr
    assert list(tmp_path.glob("*b.backup*")) == []
    assert entries(db) == 1


@pytest.fixture
def small_disk() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp())
    mount = ["mount", "-t", "tmpfs", "-o", "size=2500k", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mount, check=False).returncode != 0:
        folder.rmdir()
        pytest.skip("this machine does not allow mounting a file system")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)
    folder.rmdir()


@pytest.mark.long
def test_full_file_system_is_told_and_leaves_nothing(loaded_sqlite, tmp_path, large, small_disk):
    loaded_sqlite.dispose()
    db = Path(shutil.copyfile(tmp_path / "loaded.sqlite", small_disk / "fleet.sqlite"))
    room = shutil.disk_usage(small_disk).free
    (small_disk / "ballast").write_bytes(bytes(max(0, room - 90_000)))

    ran = fleet(db, "network", "load", large, "--as-of", "2025-06-02")

    assert any(words in told(ran) for words in ("disk I/O error", "full"))
    (small_disk / "ballast").unlink()
    assert entries(db) == 1
    assert fleet(db, "network", "load", large, "--as-of", "2025-06-02").returncode == 0


@pytest.fixture
def readable(small_disk, loaded_sqlite, tmp_path) -> Iterator[Path]:
    """A file system that may only be read, with the database as it is in use and a backup of it."""
    loaded_sqlite.dispose()
    shutil.copyfile(tmp_path / "loaded.sqlite", small_disk / "fleet.sqlite")
    made = fleet(small_disk / "fleet.sqlite", "database", "backup", small_disk / "kept.backup")
    assert made.returncode == 0, made.stderr
    rows = small_network().only("sites", site_code="S01").change("sites", {}, importance=3)
    rows.write(small_disk / "more")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    yield small_disk
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)


@pytest.mark.long
@pytest.mark.parametrize("name", ["fleet.sqlite", "kept.backup"])
@pytest.mark.parametrize("words", ["--reason x", "--dry-run"])
def test_writing_to_what_may_only_be_read_is_told(readable, name, words):
    ran = fleet(readable / name, "network", "load", "more", *words.split())

    assert ran.returncode in (1, 5), ran.stderr
    assert "Traceback" not in ran.stderr
    assert any(word in ran.stderr for word in ("readonly", "unable to open"))


@pytest.mark.long
@pytest.mark.parametrize("words", ["audit overdue", "ledger verify", "database check"])
def test_backup_on_what_may_only_be_read_answers_an_auditor(readable, words):
    ran = fleet(readable / "kept.backup", *words.split())

    assert ran.returncode in (0, 3), ran.stderr
    assert "Traceback" not in ran.stderr

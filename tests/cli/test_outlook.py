"""The outlook on the command line: golden table of the sample network, forms, refusals."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from fleet.store.session import make_engine, make_sessions
from tests.command_line import CommandLine
from tests.conftest import load_into
from tests.factories import FrozenClock

SAMPLE = Path(__file__).parents[2] / "sample_network"
SHORT = ("--as-of", "2025-06-02", "--weeks", 4, "--runs", 2, "--processes", 1, "--target", 0)


@pytest.fixture(scope="module")
def sample_db(empty_database: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The sample network without its daily totals."""
    folder = tmp_path_factory.mktemp("sample")
    path = shutil.copyfile(empty_database, folder / "sample.sqlite")
    files = folder / "files"
    files.mkdir()
    for file in SAMPLE.glob("*.csv"):
        if file.stem != "daily_totals":
            shutil.copy(file, files)
    engine = make_engine(f"sqlite:///{path}")
    clock = FrozenClock(datetime(2026, 11, 20, 8, tzinfo=UTC))
    load_into(make_sessions(engine), clock, folder / "unused")(files, today=date(2026, 11, 20))
    engine.dispose()
    return f"sqlite:///{path}"


@pytest.fixture
def db(loaded_settings) -> str:
    return loaded_settings.database_url


def test_outlook_of_the_sample_network(fleet: CommandLine, sample_db: str, golden) -> None:
    ran = fleet(
        "review", "outlook", "--as-of", "2026-11-20", "--weeks", 10, "--runs", 2,
        "--technicians", 0, "--days", 1, "--days", 2, "--processes", 1, "--format", "table",
        db=sample_db,
    )  # fmt: skip

    assert ran.exit_code == 0
    golden("outlook_table.txt", ran.stdout, near=True)
    golden("outlook_notes.txt", ran.stderr, near=True)


def test_outlook_gives_a_row_a_week_in_json(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "outlook", *SHORT, "--rows", "weeks", "--format", "json", db=db)

    rows = json.loads(ran.stdout)
    assert [row["week_from"] for row in rows[:4]] == [
        "2025-06-09",
        "2025-06-16",
        "2025-06-23",
        "2025-06-30",
    ]
    assert [row["technicians"] for row in rows] == ["as now"] * 4 + ["+1"] * 4
    assert rows[0]["in_date_percent_low"] <= rows[0]["in_date_percent"]


def test_outlook_writes_a_workbook_and_a_drawing(
    fleet: CommandLine, db: str, tmp_path: Path
) -> None:
    book, plot = tmp_path / "outlook.xlsx", tmp_path / "outlook.svg"

    ran = fleet("review", "outlook", *SHORT, "--output", book, "--plot", plot, db=db)

    assert ran.exit_code == 0
    assert book.read_bytes().startswith(b"PK")
    assert plot.read_text(encoding="utf-8").startswith("<svg")
    assert f"Drawing written to {plot}" in ran.stderr


def test_outlook_is_the_same_for_the_same_seed_and_another_for_another(
    fleet: CommandLine, db: str
) -> None:
    first, again, other = (
        fleet("review", "outlook", *SHORT, "--seed", seed, "--format", "csv", db=db).stdout
        for seed in (1, 1, 7)
    )

    assert first == again != other


def test_outlook_refuses_a_form_of_drawing_before_the_work(
    fleet: CommandLine, db: str, tmp_path: Path
) -> None:
    ran = fleet("review", "outlook", *SHORT, "--plot", tmp_path / "plot.gif", db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "a plot ends in .svg, .png or .pdf" in ran.stderr


@pytest.mark.parametrize(
    "wrong",
    [("--weeks", 1), ("--runs", 0), ("--days", -1), ("--interval", 0), ("--failed", 99),
     ("--visit-by", "chance"), ("--drive-price", 0.0001)],
)  # fmt: skip
def test_outlook_refuses_what_makes_no_sense(fleet: CommandLine, db: str, wrong) -> None:
    ran = fleet("review", "outlook", "--as-of", "2025-06-02", *wrong, db=db)

    assert (ran.exit_code, ran.stdout) == (2, "")
    assert wrong[0] in ran.stderr


def test_outlook_draws_a_bar_on_a_terminal_only(fleet: CommandLine, db: str, monkeypatch) -> None:
    ask = ("review", "outlook", *SHORT, "--format", "csv")
    piped = fleet(*ask, db=db)
    monkeypatch.setattr("fleet.cli.progress._watched", lambda: True)

    seen, quiet = fleet(*ask, db=db), fleet("-q", *ask, db=db)

    assert "Simulating" in seen.stderr
    assert "Simulating" not in piped.stderr + quiet.stderr
    assert seen.stdout == piped.stdout == quiet.stdout


def test_outlook_interrupted_leaves_cleanly(fleet: CommandLine, db: str, monkeypatch) -> None:
    def interrupt(case: object, ask: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fleet.services.outlook_pool.run_weeks", interrupt)

    ran = fleet("review", "outlook", *SHORT, db=db)

    assert (ran.exit_code, ran.stdout) == (130, "")
    assert "Interrupted; nothing more was written." in ran.stderr

"""The review's commands: forms of output, notes, the plot, and refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fleet.settings import Settings
from tests.command_line import CommandLine

DAY = ("--as-of", "2025-06-02")


@pytest.fixture
def db(loaded_settings: Settings) -> str:
    return loaded_settings.database_url


def test_interval_gives_a_row_a_type_in_csv(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "interval", *DAY, "--format", "csv", db=db)

    assert (ran.exit_code, ran.stderr) == (0, "")
    head, *rows = ran.stdout.splitlines()
    assert head.startswith("type_code,gauges,interval_days,target_percent,forecast_days,")
    assert [row.split(",")[:4] for row in rows] == [
        ["TB02", "3", "180", "90"],
        ["TB05", "4", "180", "90"],
    ]


def test_interval_by_site_of_a_depot_with_another_extension(fleet: CommandLine, db: str) -> None:
    ran = fleet(
        "review", "interval", *DAY, "--by", "site", "--depot", "NORTH", "--extension", "25",
        "--format", "json", db=db,
    )  # fmt: skip

    rows = json.loads(ran.stdout)
    assert [row["site_code"] for row in rows] == ["S01", "S02", "S03"]
    assert rows[0]["a1_extension_percent"] == 25
    assert rows[0]["a1_reduction_percent"] == pytest.approx(86.58, abs=0.005)  # NCSLI RP-1 A1
    assert rows[0]["weibull_days"] is None


def test_interval_table_is_for_reading(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "interval", *DAY, "--format", "table", db=db)

    assert ran.stdout.splitlines()[0].split() == [
        "type_code", "gauges", "interval_days", "forecast_days", "advice", "sentence",
    ]  # fmt: skip
    assert "not enough evidence" in ran.stdout


def test_interval_refuses_an_extension_of_nothing(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "interval", *DAY, "--extension", "0", db=db)

    assert (ran.exit_code, ran.stdout) == (2, "")


def test_forecast_gives_scores_and_says_what_was_replayed(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "forecast", *DAY, "--format", "csv", db=db)

    assert ran.exit_code == 0
    head, *rows = ran.stdout.splitlines()
    assert head.startswith("cause,score,checks,found,found_percent,expected,forecast_score,")
    assert [row.split(",")[:4] for row in rows[:2]] == [
        ["unfit", "brier", "4", "1"],
        ["unfit", "log", "4", "1"],
    ]
    assert ran.stderr.startswith("15 checks replayed, 4 from 2024-12-04 to 2025-06-02 scored")


def test_forecast_gives_bins_and_checks(fleet: CommandLine, db: str) -> None:
    bins = fleet("review", "forecast", *DAY, "--rows", "bins", "--format", "json", db=db)
    checks = fleet(
        "review", "forecast", *DAY, "--rows", "checks", "--visits", "all", "--from", "2025-02-01",
        "--format", "csv", db=db,
    )  # fmt: skip

    assert sum(row["checks"] for row in json.loads(bins.stdout) if row["cause"] == "unfit") == 4
    refs = [line.split(",")[1] for line in checks.stdout.splitlines()[1:]]
    assert refs == ["V010", "V008", "V013", "V015"]


@pytest.mark.parametrize(
    ("ending", "start"), [("svg", b"<svg"), ("png", b"\x89PNG"), ("pdf", b"%PDF")]
)
def test_forecast_writes_the_diagram(
    fleet: CommandLine, db: str, tmp_path: Path, ending: str, start: bytes
) -> None:
    path = tmp_path / f"plot.{ending}"

    ran = fleet("review", "forecast", *DAY, "--format", "csv", "--plot", path, db=db)

    assert ran.exit_code == 0
    assert path.read_bytes().startswith(start)
    assert f"Reliability diagram written to {path}" in ran.stderr


def test_forecast_refuses_another_form_of_plot_before_the_work(
    fleet: CommandLine, db: str, tmp_path: Path
) -> None:
    ran = fleet("review", "forecast", *DAY, "--plot", tmp_path / "plot.jpg", db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "a plot ends in .svg, .png or .pdf" in ran.stderr


def test_forecast_from_after_the_day_is_a_usage_error(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "forecast", *DAY, "--from", "2025-06-03", db=db)

    assert ran.exit_code == 2
    assert "2025-06-03 is after the day asked about, 2025-06-02" in ran.stderr


def test_forecast_without_checks_says_what_to_do(fleet: CommandLine, db: str) -> None:
    ran = fleet("review", "forecast", *DAY, "--from", "2025-05-20", db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "Name an earlier day with --from;" in ran.stderr


def test_seed_changes_only_the_permutation_p(fleet: CommandLine, db: str) -> None:
    runs = [
        fleet("review", "forecast", *DAY, "--seed", seed, "--format", "json", db=db).stdout
        for seed in ("1", "1", "2")
    ]

    assert runs[0] == runs[1]
    one, other = json.loads(runs[0]), json.loads(runs[2])
    assert [row["forecast_score"] for row in one] == [row["forecast_score"] for row in other]

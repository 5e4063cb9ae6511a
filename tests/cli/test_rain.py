"""The commands on daily totals: exit codes, forms of output, notes, the drawing, refusals."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.store.session import make_engine, make_sessions
from tests.command_line import CommandLine
from tests.conftest import load_into
from tests.databases import settle
from tests.factories import TODAY, FrozenClock
from tests.rain_totals import add_totals
from tests.small_network import small_network

DAY = ("--as-of", "2025-06-02")


@pytest.fixture(scope="module")
def wet_database(empty_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wet")
    path = Path(shutil.copyfile(empty_database, folder / "wet.sqlite"))
    engine = make_engine(f"sqlite:///{path}")
    clock = FrozenClock(datetime(2025, 6, 2, 8, tzinfo=UTC))
    network = add_totals(small_network())
    load_into(make_sessions(engine), clock, folder / "input")(network, today=TODAY)
    settle(engine)
    return path


@pytest.fixture
def db(wet_database: Path) -> str:
    return f"sqlite:///{wet_database}"


def test_compare_leaves_with_three_and_says_how_many_gauges_were_looked_at(
    fleet: CommandLine, db: str
) -> None:
    ran = fleet("rain", "compare", *DAY, "--format", "csv", db=db)

    assert ran.exit_code == 3
    lines = ran.stdout.splitlines()
    assert lines[0] == (
        "depot_code,site_code,position,serial,alarm,state,since_on,since_earliest_on,"
        "since_latest_on,ended_on,ended_by,ratio_before,ratio_after,wet_days,silent_days,spells,"
        "neighbours_used,neighbours,days_late,p,q,likelihood_ratio,drift_odds_times,"
        "blockage_odds_times,switch_odds_times,disconnection_odds_times,sentence"
    )
    assert [line.split(",")[1:6] for line in lines[1:]] == [
        ["S03", "main", "00420", "halved", "stands"],
        ["S04", "main", "A-031", "silent", "stands"],
    ]
    assert ran.stderr == (
        "2 alarms standing; 7 gauges with daily totals looked at as of 2025-06-02\n"
    )


def test_compare_without_an_alarm_leaves_with_zero(fleet: CommandLine, db: str) -> None:
    ran = fleet("rain", "compare", "--as-of", "2024-08-31", "--all", "--format", "json", db=db)

    assert ran.exit_code == 0
    rows = json.loads(ran.stdout)
    assert len(rows) == 6
    assert {row["state"] for row in rows} == {""}


def test_compare_shows_what_a_service_ended_and_keeps_to_the_depot(
    fleet: CommandLine, db: str
) -> None:
    ran = fleet(
        *("rain", "compare", *DAY, "--since", "2024-11-01", "--depot", "NORTH"),
        *("--format", "json"),
        db=db,
    )

    rows = json.loads(ran.stdout)
    assert [(row["site_code"], row["state"], row["ended_by"]) for row in rows] == [
        ("S03", "stands", ""),
        ("S02", "ended", "V005"),
    ]
    assert ran.stderr.startswith("1 alarm standing, 1 that a service ended; 4 gauges")


def test_compare_in_the_table_form_is_for_reading(fleet: CommandLine, db: str) -> None:
    ran = fleet("rain", "compare", *DAY, "--format", "table", db=db)

    assert ran.stdout.splitlines()[0].split() == [
        *("site_code", "position", "serial", "alarm", "since_on", "ratio_before"),
        *("ratio_after", "wet_days", "neighbours_used", "q", "likelihood_ratio", "sentence"),
    ]


def test_a_stricter_share_of_false_alarms_raises_fewer(fleet: CommandLine, db: str) -> None:
    ran = fleet("rain", "compare", *DAY, "--false-share", "1e-25", "--format", "csv", db=db)

    assert len(ran.stdout.splitlines()) < 3


def test_compare_refuses_a_since_after_the_day_and_an_unknown_depot(
    fleet: CommandLine, db: str
) -> None:
    late = fleet("rain", "compare", *DAY, "--since", "2025-06-03", db=db)
    unknown = fleet("rain", "compare", *DAY, "--depot", "WEST", db=db)

    assert late.exit_code == 2
    assert "2025-06-03 is after the day asked about, 2025-06-02" in late.stderr
    assert (unknown.exit_code, unknown.stdout) == (1, "")
    assert "There is no depot 'WEST'. Depots: NORTH, SOUTH." in unknown.stderr


def test_double_mass_writes_the_months_and_the_notes(fleet: CommandLine, db: str) -> None:
    ran = fleet("rain", "double-mass", "S03", *DAY, "--format", "csv", db=db)

    assert ran.exit_code == 0
    assert ran.stdout.splitlines()[0] == (
        "month,days,gauge_mm,neighbours_mm,ratio,gauge_sum_mm,neighbours_sum_mm,residual_mm,services"
    )
    assert ran.stderr.startswith("Double mass of S03/main as of 2025-06-02. 6 neighbours, ")
    assert "Best break after 2025-03: " in ran.stderr
    assert "SNHT T " in ran.stderr


def test_double_mass_draws_when_the_output_ends_in_svg(
    fleet: CommandLine, db: str, tmp_path: Path
) -> None:
    path = tmp_path / "s03.svg"

    ran = fleet("rain", "double-mass", "S03", *DAY, "--output", path, db=db)

    assert (ran.exit_code, ran.stdout) == (0, "")
    assert ran.stderr.endswith(f"Drawing written to {path}\n")
    assert path.read_bytes().startswith(b"<svg ")


def test_double_mass_gives_the_same_figures_for_the_same_seed(fleet: CommandLine, db: str) -> None:
    first, second = (
        fleet("rain", "double-mass", "S03", *DAY, "--seed", "3", db=db) for _ in range(2)
    )

    assert first == second


def test_double_mass_of_an_unknown_site_is_an_error(fleet: CommandLine, db: str) -> None:
    ran = fleet("rain", "double-mass", "S77", *DAY, db=db)

    assert ran.exit_code == 1
    assert "There are no daily totals of a site 'S77'." in ran.stderr


def test_rank_takes_totals_in_unless_they_are_left_out(
    fleet: CommandLine, db: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def halved(*options: str) -> dict[str, str]:
        ran = fleet("gauge", "rank", *DAY, "--format", "json", *options, db=db)
        assert ran.exit_code == 0
        return {row["serial"]: row for row in json.loads(ran.stdout)}["00420"]

    taken, left_out = halved(), halved("--no-rain")
    monkeypatch.setenv("FLEET_RAIN", "0")
    by_setting = halved()

    assert float(taken["unfit_percent"]) > 90
    assert float(taken["unfit_without_rain_percent"]) == float(left_out["unfit_percent"]) < 10
    assert "of its neighbours' rain" in taken["why"]
    assert by_setting == left_out
    assert not left_out["rain_evidence"]


def test_explain_shows_what_the_totals_did(fleet: CommandLine, db: str) -> None:
    ran = fleet("gauge", "explain", "00420", *DAY, "--format", "csv", db=db)

    assert ran.exit_code == 0
    assert "rain,likeliest_story,halved," in ran.stdout
    assert "Its rain from" in ran.stderr

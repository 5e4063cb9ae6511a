"""The weekly job on the command line, and what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

DAY = ("--as-of", "2025-06-01", "--iterations", "10", "--processes", "1")


@pytest.fixture
def place(network, tmp_path, monkeypatch):
    """A working folder with the small network in ``in``."""
    network.change("sites", {"site_code": "S05"}, name="Ασανόδη")  # a script that is shipped
    network.write(tmp_path / "in")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_week_is_prepared_from_nothing_and_again_as_version_two(fleet, place, golden):
    first = fleet("week", "prepare", "in", *DAY, "--folder", "out", db="week.sqlite")
    quiet = fleet("-q", "week", "prepare", "in", *DAY, "--folder", "out", db="week.sqlite")

    assert first.exit_code == 0
    golden("week_prepare.txt", first.stdout, near=True)
    assert first.stderr.startswith("Loading in ...\n")
    assert "URGENT follow-up" in first.stderr
    printed = [line.split(": ")[1] for line in first.stdout.splitlines() if ".pdf" in line]
    assert printed
    assert all(Path(path).is_file() for path in [*printed, "out/ranking.csv", "week.sqlite"])
    assert quiet.stderr == ""
    assert quiet.stdout == first.stdout.replace("version 1", "version 2")
    _run_what_it_names(fleet, first.stdout)


def _run_what_it_names(fleet, text):
    named = [line.split()[1:] for line in text.splitlines() if line.startswith("  fleet ")]
    assert len(named) == 4
    for words in named:
        assert fleet(*words, db="week.sqlite").exit_code in (0, 3)


def test_dry_run_from_nothing_shows_the_week_and_leaves_nothing(fleet, place):
    before = sorted(path.name for path in place.iterdir())

    ran = fleet("week", "prepare", "in", *DAY, "--folder", "out", "--dry-run", db="week.sqlite")

    assert ran.exit_code == 0
    assert "Round 2025-W23-NORTH version 1:" in ran.stdout
    assert ran.stdout.endswith("Dry run: nothing was kept and no file was written.\n")
    assert "Printable route" not in ran.stdout
    assert sorted(path.name for path in place.iterdir()) == before


def test_dry_run_on_kept_records_takes_every_step_back(fleet, place):
    fleet("week", "prepare", "in", *DAY, "--folder", "out", db="week.sqlite")
    listed = fleet("round", "list", db="week.sqlite").stdout
    entries = fleet("ledger", "list", "--format", "csv", db="week.sqlite").stdout

    ran = fleet("week", "prepare", "in", *DAY, "--folder", "no", "--dry-run", db="week.sqlite")

    assert "Round 2025-W23-NORTH version 2:" in ran.stdout
    assert not (place / "no").exists()
    assert fleet("round", "list", db="week.sqlite").stdout == listed
    assert fleet("ledger", "list", "--format", "csv", db="week.sqlite").stdout == entries
    assert fleet("ledger", "verify", db="week.sqlite").exit_code == 0


def test_rows_that_differ_are_refused_until_a_reason_is_given(fleet, place, network):
    fleet("database", "create", db="week.sqlite")
    fleet("network", "load", "in", *DAY[:2], db="week.sqlite")
    network.change("sites", {"site_code": "S01"}, name="Quellmoor East").write(place / "in")

    refused = fleet("week", "prepare", "in", *DAY, "--folder", "out", db="week.sqlite")

    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "Quellmoor -> Quellmoor East" in refused.stderr
    assert "Give a reason to amend them with --reason" in refused.stderr


def test_must_visit_that_is_left_out_and_who_is_away_are_said(fleet, place, network):
    network.add(
        "holds",
        site_code="S03",
        kind="must_visit",
        first_day="2025-06-03",
        last_day="2025-06-03",
        reason="flood warning",
    ).write(place / "in")

    words = ("--folder", "out", "--reason", "storm")
    ran = fleet("week", "prepare", "in", *DAY, *words, db="week.sqlite")

    assert "  S03, WHICH MUST BE VISITED, is left out: open only on Tue 2025-06-03" in ran.stdout
    assert "  T02 away 2025-06-03 to 2025-06-04." in ran.stdout


def test_missing_source_is_wrong_use(fleet, place):
    assert fleet("week", "prepare", "nowhere", db="week.sqlite").exit_code == 2


def test_problems_of_the_input_are_told_all_at_once(fleet, place, network):
    network.change("visits", {"visit_ref": "V001"}, outcome="dnoe")
    network.change("sites", {"site_code": "S02"}, latitude_deg="95").write(place / "in")

    ran = fleet("week", "prepare", "in", *DAY, "--folder", "out", db="week.sqlite")

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "2 problems; nothing was written." in ran.stderr
    assert not Path("out").exists()


def test_two_processes_write_the_same_files_and_entries(fleet, place):
    one = fleet("week", "prepare", "in", *DAY, "--folder", "out", db="one.sqlite")
    words = (*DAY[:-1], "2")

    two = fleet("week", "prepare", "in", *words, "--folder", "out2", db="two.sqlite")

    assert two.stdout.replace("out2", "out") == one.stdout
    stops = [
        fleet("round", "show", "2025-W23-NORTH", db=db).stdout
        for db in ("one.sqlite", "two.sqlite")
    ]
    assert stops[0] == stops[1]


def test_depot_that_fails_leaves_the_others_and_the_exit_code_tells(fleet, place):
    Path("bad.csv").write_text("from_key,to_key,minutes,km\nS01,S02,-1,2\n")
    Path("travel.toml").write_text('[depot.NORTH]\nsource = "bad.csv"\n')

    ran = fleet(
        "week", "prepare", "in", *DAY, "--folder", "out", "--travel", "travel.toml",
        db="week.sqlite",
    )  # fmt: skip

    assert ran.exit_code == 3
    assert "\nDepot NORTH HAS NO ROUND: " in ran.stdout
    assert "Round 2025-W23-SOUTH version 1:" in ran.stdout
    assert Path("out/2025-W23-SOUTH_week.pdf").is_file()

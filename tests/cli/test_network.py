"""`fleet network`: load, template, columns, with exit codes and messages."""

from __future__ import annotations

import csv
import io
import json

import pytest

from tests.factories import InputFolder

DAY = ("--as-of", "2025-06-02")


@pytest.fixture
def folder(network, tmp_path):
    return network.write(tmp_path / "network")


def test_load_prints_the_counts_of_each_table(fleet, settings, folder):
    ran = fleet("network", "load", folder, *DAY, "--format", "csv", db=settings.database_url)

    rows = list(csv.DictReader(io.StringIO(ran.stdout)))
    assert ran.exit_code == 0
    assert rows[0] == {
        "table": "depots",
        "rows_read": "2",
        "added": "2",
        "changed": "0",
        "unchanged": "0",
    }
    assert {row["table"]: row["added"] for row in rows}["tip_runs"] == "56"
    assert "Written: 148 row(s) added, 0 changed." in ran.stderr


def test_load_tells_the_gauge_that_was_left_off_its_logger(fleet, settings, folder):
    ran = fleet("network", "load", folder, *DAY, db=settings.database_url)

    assert ran.stderr.splitlines()[0] == (
        "URGENT follow-up reconnect:V015:A-031: visit V015 does not prove that gauge A-031 at S04 "
        "was put back on its logger"
    )


def test_load_twice_says_that_nothing_differs(fleet, loaded_settings, folder):
    ran = fleet("network", "load", folder, *DAY, db=loaded_settings.database_url)

    assert ran.exit_code == 0
    assert ran.stderr == "Nothing differs from the records; nothing was written.\n"


def test_dry_run_shows_differences_and_takes_them_back(fleet, loaded_settings, network, tmp_path):
    network.change("sites", {"site_code": "S01"}, importance=3)
    path = network.only("sites").write(tmp_path / "change")

    ran = fleet("network", "load", path, *DAY, "--dry-run", db=loaded_settings.database_url)
    listed = fleet("ledger", "list", "--format", "json", db=loaded_settings.database_url)

    assert ran.exit_code == 0
    assert ran.stderr.splitlines() == [
        "sites S01: importance 1.0 -> 3.0",
        "Dry run: 0 row(s) added, 1 changed, all taken back.",
    ]
    assert len(json.loads(listed.stdout)) == 1


def test_change_without_reason_leaves_with_1_and_says_what_to_do(
    fleet, loaded_settings, network, tmp_path
):
    network.change("sites", {"site_code": "S01"}, importance=3)
    path = network.only("sites").write(tmp_path / "change")

    refused = fleet("network", "load", path, *DAY, db=loaded_settings.database_url)
    done = fleet(
        "network", "load", path, *DAY, "--reason", "busier", db=loaded_settings.database_url
    )

    assert refused.exit_code == 1
    assert refused.stdout == ""
    assert "Give a reason to amend them with --reason" in refused.stderr
    assert "sites S01: importance 1.0 -> 3.0" in refused.stderr
    assert done.exit_code == 0
    assert "Written: 0 row(s) added, 1 changed." in done.stderr


def test_load_of_one_csv_file(fleet, loaded_settings, network, tmp_path):
    run = network.only("tip_runs", visit_ref="V003", run_number=1, phase="as_found")
    path = run.change("tip_runs", {}, tips=37).write(tmp_path / "one") / "tip_runs.csv"

    ran = fleet("network", "load", path, *DAY, "--reason", "x", db=loaded_settings.database_url)

    assert ran.exit_code == 0
    assert "visits V003: tip_runs[00417 as_found 1].tips 38 -> 37" in ran.stderr


def test_problems_leave_with_1_and_are_all_told(fleet, settings, network, tmp_path):
    network.change("sites", {"site_code": "S02"}, latitude_deg="45,02", depot_code="NORHT")

    ran = fleet("network", "load", network.write(tmp_path / "bad"), *DAY, db=settings.database_url)

    assert ran.exit_code == 1
    assert "2 problems; nothing was written." in ran.stderr
    assert "sites.csv row 3, column latitude_deg: '45,02'" in ran.stderr
    assert "sites.csv row 3, column depot_code: 'NORHT'" in ran.stderr


def test_folder_that_is_not_there_is_a_usage_error(fleet, settings):
    ran = fleet("network", "load", "nowhere", db=settings.database_url)

    assert ran.exit_code == 2
    assert "'nowhere' does not exist" in ran.stderr


def test_missing_database_leaves_with_5(fleet, folder, tmp_path):
    ran = fleet("network", "load", folder, *DAY, db=str(tmp_path / "none.sqlite"))

    assert ran.exit_code == 5
    assert "Make one with: fleet database create" in ran.stderr


def test_quiet_load_keeps_to_the_table(fleet, settings, folder):
    ran = fleet("--quiet", "network", "load", folder, *DAY, db=settings.database_url)

    assert ran.exit_code == 0
    assert ran.stderr == ""


def test_template_writes_headers_that_load_as_nothing(fleet, settings, tmp_path):
    made = fleet("network", "template", tmp_path / "new")
    ran = fleet("network", "load", tmp_path / "new", *DAY, db=settings.database_url)

    assert made.exit_code == 0
    assert "27 files written" in made.stderr
    assert (tmp_path / "new" / "closures.csv").read_bytes() == b"depot_code,day,name\n"
    assert ran.exit_code == 0
    assert "nothing was written" in ran.stderr


def test_template_never_touches_a_file_that_is_there(fleet, tmp_path):
    InputFolder().add("closures", depot_code="A", day="2025-01-01", name="x").write(tmp_path)
    before = (tmp_path / "closures.csv").read_bytes()

    ran = fleet("network", "template", tmp_path)

    assert ran.exit_code == 1
    assert "holds closures.csv already; nothing was written" in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["closures.csv"]
    assert (tmp_path / "closures.csv").read_bytes() == before


def test_columns_describes_every_table(fleet):
    ran = fleet("network", "columns")

    assert ran.exit_code == 0
    assert ran.stdout.count("\n### ") == 27
    assert "| `tips` |" in ran.stdout

"""`fleet database`: create, upgrade, status, with exit codes and messages."""

from __future__ import annotations

import json

from fleet.store.migrate import downgrade
from fleet.store.session import make_engine


def test_create_then_create_again(fleet, tmp_path):
    path = str(tmp_path / "rain.sqlite")

    first = fleet("database", "create", db=path)
    again = fleet("database", "create", db=path)

    assert (first.exit_code, again.exit_code) == (0, 1)
    assert first.stderr == f"Created {path}\n"
    assert "exists already and was left as it is" in again.stderr


def test_database_is_named_by_the_environment(fleet, tmp_path, monkeypatch):
    monkeypatch.setenv("FLEET_DB", str(tmp_path / "named.sqlite"))

    assert fleet("database", "create").exit_code == 0
    assert (tmp_path / "named.sqlite").is_file()


def test_upgrade_tells_from_where_to_where(fleet, loaded_settings):
    url = loaded_settings.database_url
    downgrade(make_engine(url), "0001")

    old = fleet("database", "status", db=url)
    first = fleet("database", "upgrade", db=url)
    again = fleet("database", "upgrade", db=url)

    assert old.exit_code == 5
    assert "Bring it forward with: fleet database upgrade" in old.stderr
    assert first.stderr == "Brought from revision 0001 to 0005.\n"
    assert again.stderr == "The database is at revision 0005 already.\n"


def test_status_tells_place_revision_and_newest_entry(fleet, loaded_settings):
    ran = fleet("database", "status", db=loaded_settings.database_url)

    lines = ran.stdout.splitlines()
    assert ran.exit_code == 0
    assert lines[0].endswith("loaded.sqlite")
    assert lines[1:3] == ["revision: 0005", "ledger entries: 1"]
    assert len(lines[3].removeprefix("last hash: ")) == 64


def test_address_that_is_none_leaves_with_5(fleet):
    ran = fleet("database", "status", db="nonsense://x")

    assert ran.exit_code == 5
    assert "names no database" in ran.stderr


def test_ask_writes_a_table_in_any_form(fleet, loaded_settings, tmp_path):
    url = loaded_settings.database_url
    sql = "SELECT serial, installed_on, siphon FROM gauge_now WHERE site_code = 'S02' ORDER BY 1"

    shown = fleet("database", "ask", sql, "--format", "json", db=url)
    path = tmp_path / "gauges.xlsx"
    written = fleet("database", "ask", sql, "--output", path, db=url)

    assert json.loads(shown.stdout) == [
        {"serial": "00418", "installed_on": "2023-06-01", "siphon": 0},
        {"serial": "00523", "installed_on": "2023-06-01", "siphon": 1},
    ]
    assert (written.exit_code, path.read_bytes()[:2]) == (0, b"PK")


def test_ask_reads_the_question_from_the_standard_input(fleet, loaded_settings):
    ran = fleet("database", "ask", "-", db=loaded_settings.database_url, answers="SELECT 1 AS one")

    assert (ran.exit_code, ran.stdout) == (0, "one\n1\n")


def test_ask_tells_columns_of_the_same_name_apart(fleet, loaded_settings):
    ran = fleet("database", "ask", "SELECT 1 AS a, 2 AS a", db=loaded_settings.database_url)

    assert ran.stdout == "a,a_2\n1,2\n"


def test_ask_warns_of_more_rows_and_is_strict_when_told(fleet, loaded_settings):
    url = loaded_settings.database_url
    few = ("database", "ask", "SELECT site_code FROM site_now", "--rows", "2")

    ran = fleet(*few, db=url)
    strict = fleet("--strict", *few, db=url)

    assert (ran.exit_code, len(ran.stdout.splitlines())) == (0, 3)
    assert "Only the first 2 rows are shown; there are more." in ran.stderr
    assert (strict.exit_code, strict.stdout) == (1, "")


def test_ask_refuses_to_write_and_says_what_is_expected(fleet, loaded_settings):
    ran = fleet("database", "ask", "DELETE FROM site", db=loaded_settings.database_url)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "One SELECT is expected" in ran.stderr


def test_views_tell_what_each_column_means(fleet):
    every = fleet("database", "views", "--format", "csv")
    one = fleet("database", "views", "run_error_now", "--format", "csv")
    none = fleet("database", "views", "site")

    assert every.stdout.startswith("view,row,column,meaning\ndepot_now,")
    assert "run_error_now,a run with its error,error_percent,100 (tips / expected" in one.stdout
    assert {line.split(",")[0] for line in one.stdout.splitlines()[1:]} == {"run_error_now"}
    assert none.exit_code == 1
    assert "There is no view 'site'. List them with: fleet database views" in none.stderr

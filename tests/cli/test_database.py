"""`fleet database`: create, upgrade, status, with exit codes and messages."""

from __future__ import annotations

import json

import pytest

from fleet.store.migrate import downgrade, newest_revision
from fleet.store.session import engine_on
from tests.tampering import tamper


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
    with engine_on(url) as engine:
        downgrade(engine, "0001")

    old = fleet("database", "status", db=url)
    first = fleet("database", "upgrade", db=url)
    again = fleet("database", "upgrade", db=url)

    assert old.exit_code == 5
    assert "Bring it forward with: fleet database upgrade" in old.stderr
    assert first.stderr == f"Brought from revision 0001 to {newest_revision()}.\n"
    assert again.stderr == f"The database is at revision {newest_revision()} already.\n"


def test_status_tells_place_revision_and_newest_entry(fleet, loaded_settings):
    ran = fleet("database", "status", db=loaded_settings.database_url)

    lines = ran.stdout.splitlines()
    assert ran.exit_code == 0
    assert lines[0].startswith("place: ")
    assert lines[1:3] == [f"revision: {newest_revision()}", "ledger entries: 1"]
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


def test_command_leaves_all_in_the_one_file(fleet, tmp_path, network):
    db = str(tmp_path / "rain.sqlite")
    fleet("database", "create", db=db)
    folder = network.write(tmp_path / "input")

    done = fleet("network", "load", folder, "--as-of", "2025-06-02", db=db)
    refused = fleet("network", "load", tmp_path / "rain.sqlite", db=db)

    assert (done.exit_code, refused.exit_code) == (0, 1)
    assert sorted(path.name for path in tmp_path.glob("rain.sqlite*")) == ["rain.sqlite"]


def test_check_of_a_sound_database_leaves_with_0(fleet, loaded_settings):
    ran = fleet("database", "check", "--format", "csv", db=loaded_settings.database_url)

    assert (ran.exit_code, ran.stdout) == (0, "check,place,fault\n")
    assert ran.stderr == (
        "All is well: file, tables, references, versions, ledger, stop results, reconnection "
        "follow-ups, kept states.\n"
    )


def test_check_of_a_damaged_database_leaves_with_3_and_names_what_is_wrong(fleet, loaded_settings):
    with engine_on(loaded_settings.database_url) as engine:
        tamper(engine, "DELETE FROM gauge_type_version WHERE id = 1")

    ran = fleet("database", "check", "--format", "csv", db=loaded_settings.database_url)

    assert ran.exit_code == 3
    assert ran.stdout.splitlines() == [
        "check,place,fault",
        "versions,gauge_type,nothing is known of TB05",
        "ledger,gauge_type_version,entry 1: the rows of this entry (2 were written) are not as "
        "written",
    ]
    assert ran.stderr == "2 fault(s) found.\n"


@pytest.mark.sqlite
def test_backup_is_restored_elsewhere(fleet, loaded_settings, tmp_path):
    db, other = loaded_settings.database_url, str(tmp_path / "elsewhere.sqlite")
    path, seen = tmp_path / "monday.backup", tmp_path / "monday.checkpoint"

    tried = fleet("database", "backup", path, "--dry-run", db=db)
    made = fleet("database", "backup", path, db=db)
    again = fleet("database", "backup", path, db=db)
    fleet("ledger", "checkpoint", "--output", seen, db=db)
    done = fleet("database", "restore", path, "--against", seen, db=other)
    twice = fleet("database", "restore", path, db=other)

    codes = [ran.exit_code for ran in (tried, made, again, done, twice)]
    assert codes == [0, 0, 1, 0, 1]
    assert tried.stderr.startswith("Dry run, nothing is left: ")
    assert "Verified, everything fits. Last hash: " in made.stderr
    assert f"Error: {path} is there already and was left as it is; see --overwrite." in again.stderr
    assert done.stderr.endswith(f"Restored to {other}\n")
    assert fleet("database", "check", db=other).exit_code == 0


@pytest.mark.sqlite
def test_backup_with_faults_is_made_told_and_not_brought_back(fleet, loaded_settings, tmp_path):
    with engine_on(loaded_settings.database_url) as engine:
        tamper(engine, "UPDATE tip_run SET tips = 1 WHERE id = 5")
    path, other = tmp_path / "monday.backup", tmp_path / "elsewhere.sqlite"

    made = fleet("database", "backup", path, db=loaded_settings.database_url)
    done = fleet("database", "restore", path, db=str(other))

    assert (made.exit_code, done.exit_code) == (3, 3)
    fault = "entry 1, tip_run: the rows of this entry (56 were written) are not as written\n"
    assert (made.stdout, done.stdout) == (fault, fault)
    assert done.stderr.endswith(f"{other} was left as it is.\n")
    assert not other.exists()


def test_roles_are_printed_and_need_no_database(fleet, tmp_path):
    ran = fleet("database", "roles", "--auditor", "reader", db=str(tmp_path / "none"))

    lines = ran.stdout.splitlines()
    assert ran.exit_code == 0
    assert "CREATE ROLE reader NOLOGIN" in lines[0]
    assert "GRANT INSERT ON tip_run TO fleet_coordinator;" in lines
    assert all(line.endswith(";") for line in lines)


@pytest.mark.sqlite
def test_roles_on_sqlite_are_told_to_be_none(fleet, loaded_settings):
    ran = fleet("database", "roles", "--run", db=loaded_settings.database_url)

    assert ran.exit_code == 1
    assert "An SQLite database knows no roles" in ran.stderr


def test_states_are_rebuilt_where_the_check_finds_them_wrong(fleet, loaded_settings):
    db = loaded_settings.database_url
    none = fleet("database", "rebuild", db=db)
    fleet("gauge", "learn", "--as-of", "2025-06-02", db=db)
    with engine_on(db) as engine:
        tamper(engine, "UPDATE gauge_state SET services = 9 WHERE installation_id = 1")

    wrong = fleet("database", "check", "--format", "csv", db=db)
    made = fleet("database", "rebuild", db=db)
    well = fleet("database", "check", db=db)

    assert "No states are kept: no rates were learned yet." in none.stderr
    assert wrong.exit_code == 3
    assert wrong.stdout.splitlines()[1:] == [
        'derived,kept states,"site S01, position main, serial 00417: the records give another '
        'services"'
    ]
    assert made.stderr == "7 states derived anew.\n"
    assert well.exit_code == 0

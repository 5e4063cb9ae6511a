"""`fleet database`: create, upgrade, status, with exit codes and messages."""

from __future__ import annotations

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
    assert first.stderr == "Brought from revision 0001 to 0002.\n"
    assert again.stderr == "The database is at revision 0002 already.\n"


def test_status_tells_place_revision_and_newest_entry(fleet, loaded_settings):
    ran = fleet("database", "status", db=loaded_settings.database_url)

    lines = ran.stdout.splitlines()
    assert ran.exit_code == 0
    assert lines[0].endswith("loaded.sqlite")
    assert lines[1:3] == ["revision: 0002", "ledger entries: 1"]
    assert len(lines[3].removeprefix("last hash: ")) == 64


def test_address_that_is_none_leaves_with_5(fleet):
    ran = fleet("database", "status", db="nonsense://x")

    assert ran.exit_code == 5
    assert "names no database" in ran.stderr


def test_command_leaves_all_in_the_one_file(fleet, tmp_path, network):
    db = str(tmp_path / "rain.sqlite")
    fleet("database", "create", db=db)
    folder = network.write(tmp_path / "input")

    done = fleet("network", "load", folder, "--as-of", "2025-06-02", db=db)
    refused = fleet("network", "load", tmp_path / "rain.sqlite", db=db)

    assert (done.exit_code, refused.exit_code) == (0, 1)
    assert sorted(path.name for path in tmp_path.glob("rain.sqlite*")) == ["rain.sqlite"]

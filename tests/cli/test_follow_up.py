"""The follow-up commands: what waits, urgent first; closing one with its reason."""

from __future__ import annotations

import csv
import io
import json

import pytest

from fleet.settings import Settings
from tests.command_line import CommandLine, Ran

TODAY = ("--as-of", "2025-06-02")
URGENT = "reconnect:V015:A-031"


@pytest.fixture
def run(fleet: CommandLine, loaded_settings: Settings):
    def run(*arguments: object) -> Ran:
        return fleet("follow-up", *arguments, db=loaded_settings.database_url)

    return run


def refs(ran: Ran) -> list[str]:
    return [row["follow_up_ref"] for row in csv.DictReader(io.StringIO(ran.stdout))]


def test_list_shows_what_waits_with_the_urgent_first(run):
    ran = run("list", *TODAY)

    assert ran.exit_code == 0
    assert refs(ran) == [URGENT, "F001"]


def test_list_all_shows_closed_ones_by_severity_too(run):
    ran = run("list", "--all", *TODAY)

    assert refs(ran) == [URGENT, "F002", "F001"]


def test_list_as_of_a_past_day_shows_what_waited_then(run):
    # F002 was raised on 2024-06-04 and closed on 2025-01-14; F001 was raised on 2025-03-11
    assert refs(run("list", "--as-of", "2024-06-03")) == []
    assert refs(run("list", "--as-of", "2025-01-13")) == ["F002"]
    assert refs(run("list", "--as-of", "2025-01-14")) == []
    assert refs(run("list", "--as-of", "2025-03-11")) == ["F001"]


def test_list_of_a_past_day_does_not_tell_of_a_later_closure(run):
    ran = run("list", "--as-of", "2025-01-13", "--format", "json")

    (row,) = json.loads(ran.stdout)
    assert (row["closed_on"], row["closed_by_visit"]) == (None, None)


def test_list_known_before_the_load_is_empty(run):
    assert refs(run("list", *TODAY, "--known-on", "2025-06-01")) == []


def test_list_of_a_depot_shows_its_sites_alone(run):
    assert refs(run("list", "--depot", "NORTH", *TODAY)) == ["F001"]


def test_list_counts_the_days_past_due(run):
    rows = list(csv.DictReader(io.StringIO(run("list", *TODAY).stdout)))

    assert [row["days_past_due"] for row in rows] == ["26", ""]


def test_close_by_a_visit_takes_its_day(run):
    ran = run("close", "F001", "--visit", "V008", "--reason", "switch replaced")

    assert ran.exit_code == 0
    assert ran.stdout == "F001 at site S03 closed as of 2025-03-11.\n"
    assert refs(run("list", *TODAY)) == [URGENT]


def test_close_on_a_day_is_in_the_ledger_with_old_and_new_value(run, fleet, loaded_settings):
    run("close", "F001", "--on", "2025-06-01", "--reason", "reported wrongly")

    shown = fleet("ledger", "show", "2", db=loaded_settings.database_url)
    assert "reported wrongly" in shown.stdout + shown.stderr
    assert "2025-06-01" in shown.stdout


def test_close_dry_run_leaves_it_open(run):
    ran = run("close", "F001", "--on", "2025-06-01", "--reason", "x", "--dry-run")

    assert "would be closed (dry run)" in ran.stdout
    assert refs(run("list", *TODAY)) == [URGENT, "F001"]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("F001", "--on", "2025-06-01"), "needs a reason"),
        (("F009", "--on", "2025-06-01", "--reason", "x"), "There is no follow-up 'F009'"),
        (("F002", "--on", "2025-06-01", "--reason", "x"), "closed on 2025-01-14 by visit V003"),
        (("F001", "--reason", "x"), "--visit or --on"),
        (("F001", "--visit", "V999", "--reason", "x"), "There is no visit 'V999'"),
        (("F001", "--visit", "V001", "--reason", "x"), "V001 was at site S01, F001 is about"),
        (("F001", "--visit", "V006", "--reason", "x"), "raised on 2025-03-11; it cannot be closed"),
        (
            ("F001", "--visit", "V008", "--on", "2025-03-12", "--reason", "x"),
            "Visit V008 was on 2025-03-11, not 2025-03-12",
        ),
        (("F001", "--on", "2999-01-01", "--reason", "x"), "lies in the future"),
    ],
)
def test_close_that_cannot_be_is_refused(run, arguments, expected):
    ran = run("close", *arguments)

    assert ran.exit_code == 1
    assert expected in ran.stderr
    assert refs(run("list", *TODAY)) == [URGENT, "F001"]

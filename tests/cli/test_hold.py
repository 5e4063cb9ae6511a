"""The hold commands: decisions that bind the planner, added, listed and ended."""

from __future__ import annotations

import csv
import io

import pytest

from fleet.settings import Settings
from tests.command_line import CommandLine, Ran

TODAY = ("--as-of", "2025-06-02")
MUST = ("--kind", "must_visit")
JUNE = ("--from", "2025-06-09", "--until", "2025-06-13")


@pytest.fixture
def run(fleet: CommandLine, loaded_settings: Settings):
    def run(*arguments: object) -> Ran:
        return fleet("hold", *arguments, db=loaded_settings.database_url)

    return run


def listed(ran: Ran) -> list[tuple[str, str, str, str]]:
    rows = csv.DictReader(io.StringIO(ran.stdout))
    return [(row["site_code"], row["kind"], row["first_day"], row["last_day"]) for row in rows]


S06 = ("S06", "must_visit", "2025-06-02", "2025-06-13")


def test_list_shows_the_holds_that_bind_today_or_later(run):
    assert listed(run("list", *TODAY)) == [S06]
    assert listed(run("list", "--as-of", "2025-06-13")) == [S06]
    assert listed(run("list", "--as-of", "2025-06-14")) == []
    assert listed(run("list", "--as-of", "2025-06-14", "--all")) == [S06]
    assert listed(run("list", "--depot", "NORTH", *TODAY)) == []


def test_added_hold_is_listed_with_site_and_reason(run):
    ran = run("add", "S01", *MUST, *JUNE, "--reason", "new datum")

    rows = list(csv.DictReader(io.StringIO(run("list", "--depot", "NORTH", *TODAY).stdout)))
    assert ran.stdout == "S01 must_visit from 2025-06-09 to 2025-06-13 added.\n"
    assert (rows[0]["site_name"], rows[0]["reason"]) == ("Quellmoor", "new datum")


def test_same_hold_twice_changes_nothing(run):
    run("add", "S01", *MUST, *JUNE, "--reason", "new datum")

    ran = run("add", "S01", *MUST, *JUNE, "--reason", "new datum")

    assert "stands already; nothing changed." in ran.stdout


def test_same_hold_with_another_last_day_is_amended(run):
    run("add", "S01", *MUST, *JUNE, "--reason", "new datum")

    later = ("--from", "2025-06-09", "--until", "2025-06-20")
    run("add", "S01", *MUST, *later, "--reason", "new datum, ford closed")

    assert listed(run("list", "--depot", "NORTH", *TODAY)) == [
        ("S01", "must_visit", "2025-06-09", "2025-06-20")
    ]


def test_added_dry_run_is_not_kept(run):
    ran = run("add", "S01", *MUST, *JUNE, "--reason", "x", "--dry-run")

    assert "would be added (dry run)" in ran.stdout
    assert listed(run("list", *TODAY)) == [S06]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("S01", *MUST, *JUNE), "A hold needs a reason"),
        (("S99", *MUST, *JUNE, "--reason", "x"), "There is no site 'S99'"),
        (
            ("S01", *MUST, "--from", "2025-06-09", "--until", "2025-06-08", "--reason", "x"),
            "last_day must not be before first_day",
        ),
        (
            ("S01", "--kind", "technician", *JUNE, "--reason", "x"),
            "technician_code is required when kind is technician",
        ),
        (
            ("S01", *MUST, *JUNE, "--technician", "T01", "--reason", "x"),
            "technician_code must be blank unless kind is technician",
        ),
        (
            ("S01", "--kind", "technician", "--technician", "T9", *JUNE, "--reason", "x"),
            "There is no technician 'T9'",
        ),
        (
            ("S06", "--kind", "not_this_week", *JUNE, "--reason", "x"),
            "Site S06 already has the hold must_visit from 2025-06-02 to 2025-06-13",
        ),
        (("S06", *MUST, *JUNE, "--reason", "x"), "Lift it first: fleet hold lift S06"),
    ],
)
def test_hold_that_cannot_be_is_refused(run, arguments, expected):
    ran = run("add", *arguments)

    assert ran.exit_code == 1
    assert expected in ran.stderr
    assert listed(run("list", *TODAY)) == [S06]


def test_technician_hold_may_stand_beside_a_must_visit(run):
    ran = run(
        "add", "S06", "--kind", "technician", "--technician", "T03", *JUNE, "--reason", "has key"
    )

    assert ran.exit_code == 0
    assert len(listed(run("list", *TODAY))) == 2


def test_lifted_hold_that_has_begun_ends_the_day_before(run):
    ran = run("lift", "S06", *MUST, "--on", "2025-06-04", "--reason", "visited")

    assert ran.stdout == "S06 must_visit from 2025-06-02 ended on 2025-06-03.\n"
    assert listed(run("list", *TODAY)) == [("S06", "must_visit", "2025-06-02", "2025-06-03")]
    assert listed(run("list", "--as-of", "2025-06-04")) == []


def test_lifted_hold_that_has_not_begun_is_withdrawn(run):
    ran = run("lift", "S06", *MUST, "--on", "2025-06-02", "--reason", "not needed")

    assert ran.stdout == "S06 must_visit from 2025-06-02 withdrawn.\n"
    assert listed(run("list", *TODAY, "--all")) == []


def test_withdrawn_hold_is_in_the_ledger_and_may_be_added_again(run, fleet, loaded_settings):
    run("lift", "S06", *MUST, "--on", "2025-06-01", "--reason", "not needed")

    shown = fleet("ledger", "show", "2", db=loaded_settings.database_url)
    verified = fleet("ledger", "verify", db=loaded_settings.database_url)
    again = run("add", "S06", *MUST, "--from", S06[2], "--until", S06[3], "--reason", "it is")

    assert "S06 must_visit 2025-06-02" in shown.stdout
    assert verified.exit_code == 0
    assert "added" in again.stdout
    assert listed(run("list", *TODAY)) == [S06]


def test_lift_dry_run_leaves_the_hold(run):
    run("lift", "S06", *MUST, "--on", "2025-06-04", "--reason", "x", "--dry-run")

    assert listed(run("list", *TODAY)) == [S06]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("S06", *MUST, "--on", "2025-06-04"), "needs a reason"),
        (("S06", *MUST, "--on", "2025-06-14", "--reason", "x"), "No hold must_visit of site 'S06'"),
        (("S05", *MUST, "--on", "2025-06-04", "--reason", "x"), "No hold must_visit of site 'S05'"),
        (
            ("S06", *MUST, "--from", "2025-06-03", "--on", "2025-06-04", "--reason", "x"),
            "No hold must_visit of site 'S06'",
        ),
    ],
)
def test_lift_that_fits_no_hold_is_refused(run, arguments, expected):
    ran = run("lift", *arguments)

    assert ran.exit_code == 1
    assert expected in ran.stderr


def test_lift_that_fits_several_holds_asks_for_the_first_day(run):
    run("add", "S06", *MUST, "--from", "2025-07-01", "--until", "2025-07-04", "--reason", "x")

    unclear = run("lift", "S06", *MUST, "--on", "2025-06-04", "--reason", "x")
    named = run("lift", "S06", *MUST, "--from", "2025-07-01", "--on", "2025-06-04", "--reason", "x")

    assert "name the first day with --from: 2025-06-02, 2025-07-01" in unclear.stderr
    assert named.stdout == "S06 must_visit from 2025-07-01 withdrawn.\n"

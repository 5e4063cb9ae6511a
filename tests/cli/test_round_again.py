"""Accepting, planning again, comparing and pricing on the command line."""

from __future__ import annotations

import json

import pytest

REF = "2025-W23-NORTH"
SHORT = ("--iterations", "20")


@pytest.fixture
def run(fleet, loaded_settings):
    """The command line on the loaded network."""
    return lambda *words: fleet(*words, db=loaded_settings.database_url)


@pytest.fixture
def planned(run):
    assert run("round", "plan", "NORTH", "--as-of", "2025-06-01", *SHORT).exit_code == 0
    return run


def test_stops_are_accepted_and_the_acceptance_taken_back(planned):
    first = planned("round", "accept", REF, "S01")
    again = planned("round", "accept", REF, "S01")
    back = planned("round", "accept", REF, "--all", "--withdraw")

    assert first.stdout == f"{REF} version 1: S01 accepted.\n"
    assert again.stdout == f"{REF} version 1: nothing changed.\n"
    assert back.stdout == f"{REF} version 1: S01 no longer accepted.\n"


@pytest.mark.parametrize("words", [(), ("S01", "--all")])
def test_accept_takes_sites_or_all(planned, words):
    ran = planned("round", "accept", REF, *words)

    assert ran.exit_code == 2
    assert "Name the sites, or give --all." in ran.stderr


def test_rest_of_the_week_is_planned_again_and_told_as_changes(planned):
    planned("round", "issue", REF)

    ran = planned(
        "round", "replan", REF, "--as-of", "2025-06-02", "--away", "T02=2025-06-05", *SHORT
    )

    assert ran.exit_code == 0
    assert "T02 taken as away on 2025-06-05." in ran.stderr
    assert "Version 1 to 2:" in ran.stderr
    assert ran.stderr.rstrip().endswith("kept as version 2.")
    assert ran.stdout.startswith("site_code,site_name,change,")


def test_dry_run_of_planning_again_keeps_nothing(planned):
    ran = planned("round", "replan", REF, "--as-of", "2025-06-02", "--dry-run", *SHORT)

    assert ran.stderr.rstrip().endswith("dry run, not kept.")
    assert planned("round", "show", REF, "--version", "2").exit_code == 1


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--at", "T01"), "'T01' is not like T01=S05@13:00 or T01=depot@09:30."),
        (("--at", "T01=S02@24:00"), "'T01=S02@24:00' is not like T01=S05@13:00"),
        (("--away", "T01"), "'T01' is not like T01=2026-11-25."),
        (("--away", "T01=2025-13-01"), "'2025-13-01' is not a day like"),
        (("--stability", "-1"), "-1.0 is not in the range x>=0"),
    ],
)
def test_what_cannot_be_read_says_what_is_expected(planned, words, message):
    ran = planned("round", "replan", REF, *words)

    assert ran.exit_code == 2
    assert message in " ".join(ran.stderr.split())


def test_comparison_leaves_out_what_is_the_same_unless_asked(planned):
    planned("round", "plan", "NORTH", "--as-of", "2025-06-01", *SHORT)

    short = planned("round", "compare", REF, "--format", "json")
    every = planned("round", "compare", REF, "--format", "json", "--all")

    assert json.loads(short.stdout) == []
    assert {row["change"] for row in json.loads(every.stdout)} == {"same"}
    assert "Version 1 to 2: 3 same; " in short.stderr


def test_single_version_is_no_pair(planned):
    ran = planned("round", "compare", REF)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "has only version 1" in ran.stderr


def test_price_of_each_hold_and_of_compliance_is_told(run, amend):
    from tests.factories import InputFolder

    amend(
        InputFolder().add(
            "holds",
            site_code="S02",
            kind="not_this_week",
            first_day="2025-06-02",
            last_day="2025-06-08",
            reason="road closed",
        )
    )

    ran = run("round", "price", "NORTH", "--as-of", "2025-06-01", "--format", "json", *SHORT)

    rows = json.loads(ran.stdout)
    assert [row["wish"] for row in rows] == ["not_this_week", "compliance"]
    assert rows[0]["cost_record_days"] > 100.0
    assert "Planning without not_this_week of S02 ..." in ran.stderr
    assert len(run("round", "list", "--format", "csv").stdout.splitlines()) == 1


def test_show_tells_why_and_what_each_stop_costs(planned):
    table = planned("round", "show", REF, "--why", "--format", "table")
    rows = json.loads(planned("round", "show", REF, "--format", "json").stdout)
    left = planned("round", "show", REF, "--left-out", "--format", "csv")

    assert "extra_min  why" in table.stdout
    assert all(row["extra_min"] > 0 and row["why"] for row in rows)
    assert left.stdout.startswith(
        "site_code,site_name,worth_record_days,must_visit,reason,day,crew,extra_min,over_min,detail"
    )

"""Rounds on the command line: plan, list, show, print, issue, tell, close."""

from __future__ import annotations

import csv
import io

import pytest

from tests.factories import InputFolder

AS_OF = ("--as-of", "2025-06-01")
REF = "2025-W23-NORTH"
QUICK = ("--iterations", "10")


@pytest.fixture
def db(loaded_settings):
    return loaded_settings.database_url


@pytest.fixture
def run(fleet, db):
    """Run a command of the noun: ``run("show", REF)``."""

    def call(*words, **how):
        return fleet("round", *words, db=db, **how)

    return call


@pytest.fixture
def planned(run):
    """A database with the round of NORTH planned."""
    assert run("plan", "NORTH", *AS_OF, *QUICK).exit_code == 0
    return run


@pytest.fixture
def issued(planned):
    assert planned("issue", REF).exit_code == 0
    return planned


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_plan_prints_the_stops_and_says_what_was_left_out(run):
    ran = run("plan", "SOUTH", *AS_OF, *QUICK)

    assert ran.exit_code == 0
    assert [row["site_code"] for row in rows(ran.stdout)] == ["S06", "S05", "S04"]
    assert [row["must_visit"] for row in rows(ran.stdout)] == ["yes", "no", "no"]
    notes = ran.stderr.splitlines()
    assert notes[0] == "Nothing was left out."
    assert notes[-1].startswith("2025-W23-SOUTH: 1 crew-day, 3 stops, ")
    assert notes[-1].endswith(" record-days, kept as version 1.")


def test_plan_says_who_is_away_and_which_must_visit_is_left_out(run, amend):
    amend(
        InputFolder().add(
            "holds",
            site_code="S03",
            kind="must_visit",
            first_day="2025-06-03",
            last_day="2025-06-03",
            reason="flood warning",
        )
    )

    notes = run("plan", "NORTH", *AS_OF, *QUICK).stderr

    assert "  S03, WHICH MUST BE VISITED: open only on Tue 2025-06-03, when nobody" in notes
    assert "2025-06-06 depot closed: stocktaking.\nT02 away 2025-06-03 to 2025-06-04.\n" in notes


def test_plan_is_written_in_the_form_asked_for(run, tmp_path):
    table = run("plan", "SOUTH", *AS_OF, *QUICK, "--dry-run", "--format", "table").stdout
    path = tmp_path / "plan.json"
    ran = run("plan", "SOUTH", *AS_OF, *QUICK, "--dry-run", "--output", path)

    assert table.splitlines()[0].split()[:4] == ["day", "crew", "stop", "site_code"]
    assert ran.stdout == ""
    assert path.read_text(encoding="utf-8").startswith("[\n")


def test_dry_run_of_a_plan_keeps_nothing(run):
    ran = run("plan", "NORTH", *AS_OF, *QUICK, "--dry-run")

    assert ran.stderr.endswith("record-days, dry run, not kept.\n")
    assert rows(run("list").stdout) == []


def test_plan_of_another_week_by_any_of_its_days(run):
    run("plan", "SOUTH", *AS_OF, *QUICK, "--week", "2025-06-19")

    assert [row["round_ref"] for row in rows(run("list").stdout)] == ["2025-W25-SOUTH"]


def test_plan_of_a_week_that_is_over_is_refused(run):
    ran = run("plan", "NORTH", "--as-of", "2025-06-08", "--week", "2025-06-02")

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr == (
        "Error: The week of 2025-06-02 has no day after 2025-06-08, the last day of the evidence. "
        "Name a later week, or an earlier --as-of.\n"
    )


def test_plan_with_a_matrix_tells_its_problems_at_once(run, tmp_path):
    matrix = tmp_path / "drives.csv"
    matrix.write_text("from_key,to_key,minutes,km\nS01,S02,x,1\nS01,S03,1,-1\n")

    ran = run("plan", "NORTH", *AS_OF, "--travel", matrix)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr.splitlines()[0] == "Error: 2 problems; nothing was written."
    assert "drives.csv row 2, column minutes: 'x' found" in ran.stderr
    assert "drives.csv row 3, column km: '-1' found" in ran.stderr


def test_show_prints_the_stops(planned, golden):
    ran = planned("show", REF, "--format", "table")

    golden("round_show.txt", ran.stdout, near=True)
    golden("round_show_notes.txt", ran.stderr, near=True)


def test_show_left_out_prints_the_reasons(run, amend):
    amend(
        InputFolder().add(
            "holds",
            site_code="S01",
            kind="not_this_week",
            first_day="2025-06-02",
            last_day="2025-06-08",
            reason="owner away",
        )
    )
    run("plan", "NORTH", *AS_OF, *QUICK)

    (row,) = rows(run("show", REF, "--left-out", "--format", "csv").stdout)

    assert (row["site_code"], row["site_name"], row["reason"]) == ("S01", "Quellmoor", "held")
    assert row["detail"] == "Held from 2025-06-02 to 2025-06-08 (owner away)."


def test_show_names_the_version_in_the_field(issued):
    issued("plan", "NORTH", *AS_OF, *QUICK)

    newest, first = issued("show", REF), issued("show", REF, "--version", 1)

    assert f"{REF} version 2, planned, 2025-06-02 to 2025-06-08" in newest.stderr
    assert "Version 1 is the one in the field." in newest.stderr
    assert f"{REF} version 1, issued" in first.stderr
    assert "in the field" not in first.stderr
    (row,) = rows(issued("list").stdout)
    assert (row["version"], row["status"], row["version_in_the_field"]) == ("2", "planned", "1")


def test_list_of_a_depot_that_is_not_there_says_which_are(planned):
    ran = planned("list", "--depot", "EAST")

    assert (ran.exit_code, ran.stderr) == (
        1,
        "Error: There is no depot 'EAST'. Depots: NORTH, SOUTH.\n",
    )


def test_round_is_issued_told_and_closed(planned):
    assert planned("issue", REF).stdout == f"{REF} version 1 issued.\n"
    told = planned("stop", REF, "S01", "skipped", "--why", "weather", "--note", "ford closed")
    assert told.stdout == f"{REF} stop S01: skipped.\n"
    refused = planned("close", REF)
    assert refused.exit_code == 1
    assert "2 stop(s) of round 2025-W23-NORTH have no result: S02, S03." in refused.stderr
    closed = planned("close", REF, "--rest", "no_time", "--reason", "storm")

    assert closed.stdout == f"{REF} version 1 closed: 0 done, 3 skipped.\n"
    results = {
        r["site_code"]: (r["result"], r["reason"]) for r in rows(planned("show", REF).stdout)
    }
    assert results == {
        "S01": ("skipped", "weather"),
        "S02": ("skipped", "no_time"),
        "S03": ("skipped", "no_time"),
    }


def test_dry_runs_say_so_and_change_nothing(planned):
    assert planned("issue", REF, "--dry-run").stdout == (
        f"{REF} version 1 would be issued (dry run).\n"
    )
    planned("issue", REF)
    assert planned("stop", REF, "S01", "done", "--dry-run").stdout == (
        f"{REF} stop S01: done (dry run).\n"
    )
    closed = planned("close", REF, "--rest", "weather", "--dry-run").stdout
    assert closed == f"{REF} version 1 would be closed (dry run): 0 done, 3 skipped.\n"

    kept = rows(planned("show", REF).stdout)
    assert {row["result"] for row in kept} == {""}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("issue", "R"), "There is no round 'R'. List them with: fleet round list"),
        (("stop", REF, "S04", "done"), "Site 'S04' is no stop of round 2025-W23-NORTH version 1."),
        (("stop", REF, "S01", "skipped"), "A skipped stop needs a reason; see --help"),
        (("issue", REF), "Round 2025-W23-NORTH version 1 is issued already."),
        (("show", REF, "--version", "7"), "There is no round '2025-W23-NORTH' version 7."),
        (("plan", "EAST"), "There is no depot 'EAST'. Depots: NORTH, SOUTH."),
    ],
    ids=lambda value: value if isinstance(value, str) else " ".join(value),
)
def test_what_cannot_be_is_told(issued, words, message):
    ran = issued(*words)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr.startswith(f"Error: {message}")


def test_round_that_is_only_planned_cannot_be_told_or_closed(planned):
    for words in (("stop", REF, "S01", "done"), ("close", REF)):
        ran = planned(*words)
        assert (ran.exit_code, ran.stderr) == (
            1,
            f"Error: Round {REF} version 1 is planned, not issued.\n",
        )


def test_sheet_writes_files_and_names_them(planned, tmp_path):
    base_map = tmp_path / "map.geojson"
    base_map.write_text(
        '{"features": [{"geometry": {"type": "LineString", '
        '"coordinates": [[-34.9, 44.8], [-34.6, 45.2]]}}]}'
    )
    folder = tmp_path / "out"

    ran = planned("sheet", REF, "--folder", folder, "--paper", "letter", "--base-map", base_map)

    named = [line.removeprefix(f"{folder}/") for line in ran.stdout.splitlines()]
    assert ran.exit_code == 0
    assert f"{REF}-T01.pdf" in named
    assert sorted(path.name for path in folder.iterdir()) == sorted(named)


def test_sheet_with_a_bad_base_map_writes_nothing(planned, tmp_path):
    base_map = tmp_path / "map.geojson"
    base_map.write_text("coast")

    ran = planned("sheet", REF, "--folder", tmp_path / "out", "--base-map", base_map)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "map.geojson: a GeoJSON FeatureCollection of lines and areas" in ran.stderr
    assert not (tmp_path / "out").exists()


def test_sheet_of_a_round_without_stops_says_so(run, amend, tmp_path):
    absent = {"first_day": "2025-06-02", "last_day": "2025-06-08", "reason": "course"}
    amend(InputFolder().add("absences", technician_code="T03", **absent))
    run("plan", "SOUTH", *AS_OF, *QUICK)

    ran = run("sheet", "2025-W23-SOUTH", "--folder", tmp_path / "out")

    assert (ran.exit_code, ran.stdout) == (0, "")
    assert ran.stderr == "2025-W23-SOUTH has no day with a stop: nothing to print.\n"


def test_characters_without_a_font_are_a_warning(run, tmp_path):
    run("plan", "SOUTH", *AS_OF, *QUICK)

    ran = run("sheet", "2025-W23-SOUTH", "--folder", tmp_path / "out")

    assert ran.exit_code == 0
    assert ran.stderr.startswith("Warning: 3 characters have no glyph in the fonts at hand")
    assert "Traceback" not in ran.stderr


def test_seed_and_price_of_driving_are_kept_with_the_plan(run):
    run("plan", "NORTH", *AS_OF, *QUICK, "--seed", 7, "--drive-price", 100)

    shown = run("show", REF, "--left-out")

    assert "not_worth_drive" in {row["reason"] for row in rows(shown.stdout)}


@pytest.mark.parametrize("words", [("--seed", "-1"), ("--drive-price", "0.0001")])
def test_search_settings_out_of_range_are_wrong_use(fleet, loaded_settings, words):
    ran = fleet("round", "plan", "NORTH", *words, db=loaded_settings.database_url)

    assert ran.exit_code == 2
    assert words[0] in ran.stderr


def test_rounds_of_several_depots_come_in_one_table(run):
    alone = run("plan", "SOUTH", *AS_OF, *QUICK, "--dry-run")

    ran = run("plan", "NORTH", "SOUTH", *AS_OF, *QUICK, "--processes", 2)

    assert ran.exit_code == 0
    every = rows(ran.stdout)
    assert {row["round_ref"] for row in every} == {REF, "2025-W23-SOUTH"}
    south = [row for row in every if row.pop("round_ref") == "2025-W23-SOUTH"]
    assert south == rows(alone.stdout)
    assert "Planning the round of NORTH ...\nPlanning the round of SOUTH ...\n" in ran.stderr
    assert f"{REF}: " in ran.stderr
    assert ran.stderr.count("kept as version 1.") == 2


def test_every_depot_is_planned_where_none_is_named(run):
    ran = run("plan", "--every-depot", *AS_OF, *QUICK, "--processes", 1, "--dry-run")

    assert ran.stderr.count("dry run, not kept.") == 2


def test_depot_that_fails_leaves_the_others_and_the_exit_code_tells(run, tmp_path):
    (tmp_path / "bad.csv").write_text("from_key,to_key,minutes,km\nS01,S02,-1,2\n")
    (tmp_path / "travel.toml").write_text('[depot.NORTH]\nsource = "bad.csv"\n')

    ran = run(
        "plan", "--every-depot", *AS_OF, *QUICK, "--processes", 1,
        "--travel", tmp_path / "travel.toml",
    )  # fmt: skip

    assert ran.exit_code == 3
    assert {row["round_ref"] for row in rows(ran.stdout)} == {"2025-W23-SOUTH"}
    assert "Depot NORTH HAS NO ROUND: " in ran.stderr
    assert "bad.csv row 2, column minutes" in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("plan",), "Name at least one DEPOT, or give --every-depot."),
        (("plan", "NORTH", "--every-depot"), "Name at least one DEPOT, or give --every-depot."),
        (("plan", "NORTH", "--share", "--cluster", "local"), "leave --cluster away, or --share"),
    ],
)
def test_words_that_do_not_go_together_are_wrong_use(run, words, told):
    ran = run(*words, *AS_OF)

    assert ran.exit_code == 2
    assert told in ran.stderr


def test_cluster_that_does_not_answer_is_told_in_words(run, monkeypatch):
    monkeypatch.setattr("fleet.workers.cluster.ANSWER_S", 1)

    ran = run("plan", "NORTH", *AS_OF, *QUICK, "--cluster", "tcp://127.0.0.1:9")

    assert ran.exit_code == 1
    assert "Error: No Dask scheduler answers at 'tcp://127.0.0.1:9'" in ran.stderr

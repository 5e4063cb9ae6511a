"""The commands that bring results back: forms out, forms and answers in, one visit whole."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook

from fleet.settings import Settings
from tests.command_line import CommandLine, Ran
from tests.factories import InputFolder
from tests.form_factory import full_answers
from tests.form_filler import address_of, fill

TODAY = ("--as-of", "2025-06-02")
REF = "S01/20250520-0900"


@pytest.fixture
def run(fleet: CommandLine, loaded_settings: Settings):
    def run(*arguments: object, answers: str = "") -> Ran:
        return fleet(*arguments, db=loaded_settings.database_url, answers=answers)

    return run


@pytest.fixture
def filled(run, tmp_path: Path) -> Path:
    """A form for S01 with everything filled in."""
    path = tmp_path / "monday.xlsx"
    assert run("visit", "form", "--site", "S01", "--output", path, *TODAY).exit_code == 0
    return fill(path, full_answers())


def table(ran: Ran) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(ran.stdout)))


def results(ran: Ran) -> dict[str, str]:
    return {row["subject"]: row["result"] for row in table(ran)}


def test_form_has_a_sheet_a_site_in_the_order_named(run, tmp_path):
    path = tmp_path / "out.xlsx"

    ran = run("visit", "form", "--site", "S02", "--site", "S01", "--output", path, *TODAY)

    assert ran.exit_code == 0
    assert "2 sheet(s) with 3 gauge(s)" in ran.stderr
    assert CalamineWorkbook.from_path(str(path)).sheet_names == [
        "read me",
        "1 S02",
        "2 S01",
        "lists",
    ]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("--output", "x.xlsx"), "Name either a round or sites"),
        (("W", "--site", "S01", "--output", "x.xlsx"), "Name either a round or sites"),
        (("--site", "S01", "--output", "x.csv"), "A form is a workbook"),
    ],
)
def test_form_asked_for_wrongly_is_a_usage_error(run, arguments, expected):
    ran = run("visit", "form", *arguments)

    assert ran.exit_code == 2
    assert expected in ran.stderr


def test_form_of_an_unknown_site_or_round_fails_and_writes_nothing(run, tmp_path):
    path = tmp_path / "x.xlsx"

    site = run("visit", "form", "--site", "S99", "--output", path)
    plan = run("visit", "form", "2025-W23-NORTH", "--output", path)

    assert (site.exit_code, plan.exit_code) == (1, 1)
    assert "There is no site S99." in site.stderr
    assert "There is no round '2025-W23-NORTH'" in plan.stderr
    assert not path.exists()


def test_record_tells_outcome_and_verdicts_with_reasons(run, filled):
    ran = run("visit", "record", filled, *TODAY)

    assert ran.exit_code == 0
    # 77 of 80 tips: band 37 to 43 a run; common practice, no published source
    assert results(ran) == {
        "visit": "done",
        "as_found": "passed",
        "as_left": "passed",
        "switch_as_found": "failed",
        "switch_as_left": "passed",
    }
    reasons = {row["subject"]: row["reason"] for row in table(ran)}
    assert "77 tips as found in 2 runs against 80.0 expected, error -3.8 %" in reasons["as_found"]
    assert reasons["switch_as_found"] == "Switch as found: it does not close."
    assert (
        "read at the logger; the cable's loop resistance is not on record"
        in (reasons["switch_as_left"])
    )
    assert "1 visit(s) added, 0 amended, 0 unchanged." in ran.stderr


def test_record_the_same_form_twice_changes_nothing(run, filled):
    first = run("visit", "record", filled, *TODAY)
    entries = run("ledger", "list").stdout

    second = run("visit", "record", filled, *TODAY)

    assert second.exit_code == 0
    assert second.stdout == first.stdout
    assert "0 visit(s) added, 0 amended, 1 unchanged." in second.stderr
    assert run("ledger", "list").stdout == entries


def test_record_dry_run_tells_the_verdicts_and_writes_nothing(run, filled):
    entries = run("ledger", "list").stdout

    ran = run("visit", "record", filled, *TODAY, "--dry-run")

    assert results(ran)["as_found"] == "passed"
    assert "Dry run, nothing was written: 1 visit(s) added" in ran.stderr
    assert run("ledger", "list").stdout == entries
    assert run("visit", "show", REF).exit_code == 1


def test_unproven_reconnection_raises_an_urgent_follow_up_that_is_first_in_the_list(run, filled):
    fill(filled, {("00417|restored", 1): None, ("00417|proven", 1): None})

    ran = run("visit", "record", filled, *TODAY)
    listed = table(run("follow-up", "list", "--depot", "NORTH", *TODAY))

    assert results(ran)["reconnection"] == "not_proven"
    assert results(ran)["follow_up"] == "raised_urgent"
    assert [row["severity"] for row in listed] == ["urgent", "next_visit"]
    assert listed[0]["serial"] == "00417"
    assert listed[0]["raised_by_visit"] == REF
    assert listed[0]["days_past_due"] == "13"


def test_later_proof_closes_the_urgent_follow_up(run, filled, tmp_path):
    fill(filled, {("00417|restored", 1): None, ("00417|proven", 1): None})
    run("visit", "record", filled, *TODAY)
    again = tmp_path / "again.xlsx"
    run("visit", "form", "--site", "S01", "--output", again, *TODAY)
    fill(again, {**full_answers(), ("day", 1): "2025-05-27"})

    ran = run("visit", "record", again, *TODAY)

    assert results(ran)["follow_up"] == "closed"
    assert table(run("follow-up", "list", "--depot", "NORTH", *TODAY))[0]["follow_up_ref"] == "F001"


def test_amending_needs_the_reason_and_keeps_both_versions(run, filled):
    run("visit", "record", filled, *TODAY)
    fill(filled, {("00417|as_found.1", 2): 36, ("00417|as_left.2", 2): None})

    refused = run("visit", "record", filled, *TODAY)
    done = run("visit", "record", filled, *TODAY, "--reason", "misread")
    shown = json.loads(run("visit", "show", REF, "--format", "json").stdout)

    assert refused.exit_code == 1
    assert "tip_runs[00417 as_found 1].tips 38 -> 36" in refused.stderr
    assert done.exit_code == 0
    told = {(row["part"], row["item"], row["field"]): row["value"] for row in shown}
    assert told["tip_runs", "00417 as_found 1", "tips"] == "36"
    assert ("tip_runs", "00417 as_left 2", "tips") not in told
    assert told["versions", "2", "by"] == "tester, visit record: misread"
    assert told["versions", "2", "tip_runs[00417 as_found 1].tips"] == "38 -> 36"
    assert told["versions", "2", "tip_runs[00417 as_left 2].tips"] == "40 -> blank"


def test_arrival_is_corrected_by_the_reference_and_not_by_a_second_visit(run, filled):
    run("visit", "record", filled, *TODAY)
    fill(filled, {("arrived", 1): "08:30"})

    overlapping = run("visit", "record", filled, *TODAY)
    fill(filled, {("visit_ref", 1): REF})
    corrected = run("visit", "record", filled, *TODAY, "--reason", "clock read wrongly")

    assert overlapping.exit_code == 1
    assert f"S01/20250520-0830 overlaps {REF}, 2025-05-20 09:00 to 10:30" in overlapping.stderr
    assert corrected.exit_code == 0
    assert "visits.arrived_at 2025-05-20T08:00+00:00 -> 2025-05-20T08:30+01:00" in corrected.stderr


def test_not_done_visit_needs_only_its_reason_and_untouched_sheets_are_passed_over(run, tmp_path):
    path = tmp_path / "two.xlsx"
    run("visit", "form", "--site", "S02", "--site", "S01", "--output", path, *TODAY)
    visit = {key: value for key, value in full_answers().items() if "|" not in key[0]}
    fill(path, {**visit, ("outcome", 1): "not done", ("reason", 1): "no access"}, sheet=2)

    ran = run("visit", "record", path, *TODAY)

    assert results(ran) == {"visit": "not_done"}
    assert table(ran)[0]["reason"] == "no_access"
    assert "sheet '1 S02': nothing filled in, passed over." in ran.stderr
    assert "nothing filled in about gauge 00417, no check recorded." in ran.stderr


def test_every_problem_is_told_at_once_with_its_cell_and_nothing_is_written(run, filled):
    entries = run("ledger", "list").stdout
    wrong = {
        ("departed", 1): "08:00",
        ("technicians", 1): "T99",
        ("outcome", 1): "partly done",
        ("00417|as_found.1", 2): "38,5",
        ("00417|as_found.2", 2): None,
        ("00417|as_found.2", 3): 900,
        ("00417|as_left.1", 4): "D99",
        ("00417|cleaned", 1): "Yes",
        ("00417|level_left", 1): "crooked",
        ("00417|switch.as_left", 1): "1e12",
        ("00417|finding.1", 2): None,
    }
    first = address_of(filled, "00417|as_found.1", 2)
    fill(filled, wrong)

    ran = run("visit", "record", filled, *TODAY)

    assert ran.exit_code == 1
    assert ran.stdout == ""
    told = ran.stderr.splitlines()
    assert told[0] == "Error: 10 problems; nothing was written."
    for expected in (
        "column C (Left site at): '08:00' found; departed_at must be after arrived_at",
        "column C (Technicians, one code a cell, Technician 1): 'T99' found; ",
        "column C (If not done or partly done, why): not_done_reason is required when outcome is",
        f"row {first[1:]}, column D (Run 1, Tips): '38,5' found; decimal comma; write 38.5",
        "column D (Run 2, Tips): a value is required",
        "column F (Run 1, Device): 'D99' found; neither the files nor the records have it",
        "column C (Cleaned): 'Yes' found; yes or no is expected, in small letters",
        "column C (Bubble as left): 'crooked' found; one of in_ring, out_of_ring is expected",
        "column C (As left, Closed ohm): '1e12' found; 0 to 1000000000 is expected",
        "column D (Finding 1, Condition found): a value is required",
    ):
        assert any(
            line.startswith("monday.xlsx sheet '1 S01' row ") and expected in line for line in told
        ), (expected, ran.stderr)
    rows = [int(line.split(" row ")[1].split(",")[0]) for line in told[1:]]
    assert rows == sorted(rows)
    assert run("ledger", "list").stdout == entries


@pytest.mark.parametrize(
    "hostile",
    [
        "=HYPERLINK(0)",
        "+1-1",
        "'; DROP TABLE visit; --",
        "<script>alert(1)</script>",
        "﷽ ماء 水 नल 🌧",
        'two\nlines, "quoted"',
    ],
)
def test_hostile_text_is_kept_as_text(run, filled, hostile):
    fill(filled, {("note", 1): hostile, ("00417|parts", 1): hostile})

    ran = run("visit", "record", filled, *TODAY)
    shown = json.loads(run("visit", "show", REF, "--format", "json").stdout)

    assert ran.exit_code == 0, ran.stderr
    texts = [row["value"] for row in shown if row["field"] in ("note", "parts")]
    assert texts.count(hostile) == 2


def test_text_that_reorders_or_hides_is_a_problem(run, filled):
    fill(filled, {("note", 1): "good\ufeffbad"})

    ran = run("visit", "record", filled, *TODAY)

    assert ran.exit_code == 1
    assert "column C (Remark)" in ran.stderr


def test_csv_folder_of_visit_tables_is_recorded_by_the_same_command(run, network, tmp_path):
    more = network.only("visits", visit_ref="V003")
    more.change("visits", {"visit_ref": "V003"}, visit_ref="V100")
    more.change("visits", {"visit_ref": "V100"}, arrived_at="2025-05-26T09:00+01:00")
    more.change("visits", {"visit_ref": "V100"}, departed_at="2025-05-26T10:00+01:00")
    more.check("V100", "00417", found=(30, 30), left=(40, 40))

    ran = run("visit", "record", more.write(tmp_path / "in"), *TODAY)

    assert ran.exit_code == 0, ran.stderr
    assert results(ran)["as_found"] == "rejected"


def test_csv_folder_with_other_tables_is_refused(run, network, tmp_path):
    folder = network.only("visits", "sites").write(tmp_path / "in")

    ran = run("visit", "record", folder, *TODAY)

    assert ran.exit_code == 1
    assert "sites" in ran.stderr
    assert "visit record takes only visit tables" in ran.stderr


def test_visit_after_today_is_refused(run, filled):
    ran = run("visit", "record", filled, "--as-of", "2025-05-19")

    assert ran.exit_code == 1
    assert "column C (Arrived at): '09:00' found; in the future; a day up to 2025-05-19" in (
        ran.stderr
    )


def typed(*answers: str) -> str:
    return "\n".join(answers) + "\n"


WHOLE_VISIT = typed(
    "2025-05-20", "9:00", "09:00", "10:30",  # a slip in the clock is asked again
    "T01", "", "", "done", "a remark", "",
    "yes", "00417", "09:10",
    "38", "", "1100", "D01", "",
    "39", "805.5", "", "", "emptied",
    "",
    "yes", "no", "", "in ring",
    "40", "", "", "", "",
    "40", "", "", "", "",
    "",
    "", "", "", "", "",
    "0.4", "20000000", "gauge terminals", "10", "D02",
    "screen", "dirty", "cleaned", "good", "leaves",
    "",
    "reed switch", "10:20", "yes",
)  # fmt: skip


def test_enter_asks_shows_what_it_means_and_records(run):
    ran = run("visit", "enter", "--site", "S01", *TODAY, answers=WHOLE_VISIT + "yes\n")

    assert ran.exit_code == 0, ran.stderr
    assert "Not taken: a local clock time such as 09:30 is expected." in ran.stderr
    assert "Run 1, Volume mL [800]" in ran.stderr
    assert f"{REF} gauge 00417, as found passed: 77 tips as found" in ran.stderr
    assert results(ran)["as_left"] == "passed"
    assert table(ran)[0]["visit_ref"] == REF


def test_enter_gives_the_same_visit_as_the_form(run, filled):
    run("visit", "enter", "--site", "S01", "--yes", *TODAY, answers=WHOLE_VISIT)

    shown = json.loads(run("visit", "show", REF, "--format", "json").stdout)

    told = {(row["part"], row["item"], row["field"]): row["value"] for row in shown}
    assert told["tip_runs", "00417 as_found 2", "volume_ml"] == "805.5"
    assert told["tip_runs", "00417 as_left 1", "start_state"] == "emptied"
    assert told["gauge_checks", "00417", "level_left"] == "in_ring"
    assert told["findings", "1", "note"] == "leaves"
    assert told["versions", "1", "by"] == "tester, visit enter"


def test_enter_refused_at_the_end_writes_nothing(run):
    ran = run("visit", "enter", "--site", "S01", *TODAY, answers=WHOLE_VISIT + "no\n")

    assert ran.exit_code == 130
    assert run("visit", "show", REF).exit_code == 1


def test_enter_dry_run_asks_nothing_more_and_writes_nothing(run):
    ran = run("visit", "enter", "--site", "S01", "--dry-run", *TODAY, answers=WHOLE_VISIT)

    assert ran.exit_code == 0
    assert results(ran)["as_found"] == "passed"
    assert run("visit", "show", REF).exit_code == 1


def test_enter_a_visit_that_could_not_be_made_asks_nothing_about_gauges(run):
    answers = typed(
        "", "09:00", "09:20", "T01", "", "", "not done", "weather", "ford closed", "", "yes"
    )

    ran = run("visit", "enter", "--site", "S01", *TODAY, answers=answers)

    assert ran.exit_code == 0, ran.stderr
    assert table(ran)[0]["visited_on"] == "2025-06-02"
    assert table(ran)[0]["reason"] == "weather"


def test_enter_that_ends_early_is_interrupted(run):
    ran = run("visit", "enter", "--site", "S01", *TODAY, answers="2025-05-20\n09:00\n")

    assert ran.exit_code == 130


def test_enter_tells_problems_by_question(run):
    answers = WHOLE_VISIT.replace("10:30", "08:30").replace("T01", "T77")

    ran = run("visit", "enter", "--site", "S01", "--yes", *TODAY, answers=answers)

    assert ran.exit_code == 1
    assert "visit enter, column Left site at: '08:30' found; departed_at must be" in ran.stderr
    assert "'T77' found" in ran.stderr


def test_show_of_a_visit_that_is_not_there_fails(run):
    ran = run("visit", "show", "V999")

    assert ran.exit_code == 1
    assert "There is no visit 'V999'." in ran.stderr


def test_record_closes_the_follow_ups_that_the_visit_mends(fleet, loaded_settings, tmp_path):
    url = loaded_settings.database_url
    visit = InputFolder().visit("V200", "S03", "2025-05-27", technicians="T01 T02")
    folder = visit.check("V200", "00420", left=(40, 40)).write(tmp_path / "visit")

    ran = fleet("visit", "record", folder, "--as-of", "2025-06-02", "--mends", "F001", db=url)
    waits = fleet("follow-up", "list", "--as-of", "2025-06-02", "--format", "csv", db=url)

    assert ran.exit_code == 0
    assert "V200,2025-05-27,S03,00420,follow_up,closed,F001" in ran.stdout
    assert ",F001," not in waits.stdout

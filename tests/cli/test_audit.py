"""The audit's commands: exit codes, forms of output, notes and refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from python_calamine import CalamineWorkbook

from fleet.cli.audit import command
from fleet.cli.main import cli
from fleet.services.audit_question import QUESTIONS
from fleet.services.equipment_question import EQUIPMENT_QUESTIONS
from fleet.services.question import Question
from fleet.settings import Settings
from tests.command_line import CommandLine

EVERY = (*QUESTIONS, *EQUIPMENT_QUESTIONS)
DAY = ("--as-of", "2025-06-02")


@pytest.fixture
def db(loaded_settings: Settings) -> str:
    return loaded_settings.database_url


def test_overdue_leaves_with_three_and_says_how_many_gauges_were_looked_at(
    fleet: CommandLine, db: str
) -> None:
    ran = fleet("audit", "overdue", *DAY, "--format", "csv", db=db)

    assert ran.exit_code == 3
    lines = ran.stdout.splitlines()
    assert lines[0] == (
        "site_code,site_name,depot_code,position,serial,type_code,counted_from,interval_days,"
        "due_on,days_overdue,last_service_ref,last_service_by,failed_attempts,policy_basis,sentence"
    )
    assert lines[1].startswith(
        "S06,Lower Ims,SOUTH,main,A-033,TB05,2024-10-01,180,2025-03-30,64,,,0,"
    )
    assert len(lines) == 4
    assert ran.stderr == "3 rows; 7 gauges installed as of 2025-06-02\n"


def test_a_question_that_finds_nothing_leaves_with_zero_and_the_columns_alone(
    fleet: CommandLine, db: str
) -> None:
    ran = fleet("audit", "unqualified", *DAY, "--format", "csv", db=db)

    assert (ran.exit_code, len(ran.stdout.splitlines())) == (0, 1)
    assert ran.stderr == "0 rows; 7 gauges installed as of 2025-06-02\n"


def test_summary_leaves_with_zero(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "summary", *DAY, "--format", "csv", db=db)

    assert (ran.exit_code, len(ran.stdout.splitlines())) == (0, 10)


@pytest.mark.parametrize("question", EVERY, ids=lambda question: question.name)
def test_every_question_answers_with_all_of_its_options(
    fleet: CommandLine, db: str, question: Question
) -> None:
    options = {
        "since": ("--since", "2024-01-01"),
        "phase": ("--phase", "as-left"),
        "least": ("--least", "2"),
        "depot": ("--depot", "SOUTH"),
        "serials": ("A-031", "A-033"),
        "devices": ("D03",),
        "ahead": ("--ahead", "30"),
        "field_days": ("--field-days", "365"),
        "off_by": ("--off-by", "-2.5"),
    }
    chosen = [word for name in sorted(question.takes) for word in options[name]]

    ran = fleet(question.noun, question.name, *DAY, *chosen, "--format", "json", db=db)

    assert ran.exit_code in (0, 3)
    found = json.loads(ran.stdout)
    if "depot" in question.takes:
        assert {row["depot_code"] for row in found} <= {"SOUTH"}
    assert (ran.exit_code == 3) == (len(found) > 0 and question.finds)


def test_missing_figures_are_empty_in_csv_and_null_in_json(fleet: CommandLine, db: str) -> None:
    as_json = fleet("audit", "missing-phase", *DAY, "--format", "json", db=db)
    as_csv = fleet("audit", "missing-phase", *DAY, "--format", "csv", db=db)

    assert json.loads(as_json.stdout)[0]["tips"] is None
    assert ",as_found,not_measured,0,,,,,,,2," in as_csv.stdout


def test_a_workbook_holds_the_rows(fleet: CommandLine, db: str, tmp_path: Path) -> None:
    path = tmp_path / "overdue.xlsx"

    ran = fleet("audit", "overdue", *DAY, "--output", path, db=db)

    assert ran.exit_code == 3
    table = CalamineWorkbook.from_path(path).get_sheet_by_name("overdue").to_python()
    assert [row[4] for row in table] == ["serial", "A-033", "00418", "00523"]


def test_brief_shows_the_gauge_and_the_sentence(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "left-disconnected", *DAY, "--brief", "--format", "table", db=db)

    head, _, row = ran.stdout.splitlines()
    assert head.split() == ["depot_code", "site_code", "position", "serial", "sentence"]
    assert row.endswith(
        "Visit V015 does not say that tips reach the logger again. Not made good since."
    )


def test_known_on_reads_the_records_of_that_instant(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "overdue", *DAY, "--known-on", "2025-06-01", "--format", "csv", db=db)

    assert ran.exit_code == 0
    assert ran.stderr == (
        "0 rows; 0 gauges installed as of 2025-06-02, as known on "
        "2025-06-01T23:59:59.999999+00:00\n"
    )


def test_since_after_the_day_asked_about_is_a_usage_error(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "attempts", *DAY, "--since", "2025-06-03", db=db)

    assert ran.exit_code == 2
    assert "2025-06-03 is after the day asked about, 2025-06-02" in ran.stderr


def test_an_unknown_depot_is_an_error_and_not_a_clean_result(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "overdue", *DAY, "--depot", "NROTH", db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "There is no depot 'NROTH'. Depots: NORTH, SOUTH." in ran.stderr


def test_the_commands_are_the_questions_in_their_order() -> None:
    assert list(command.commands) == [*(question.name for question in QUESTIONS), "pack"]


@pytest.mark.parametrize("question", EVERY, ids=lambda question: question.name)
def test_the_help_says_what_counts_which_time_and_whose_policy(question: Question) -> None:
    ran = CliRunner().invoke(cli, [question.noun, question.name, "--help"])

    text = " ".join(ran.stdout.split())
    assert ran.exit_code == 0
    for part in (question.asks, question.counts, question.period, question.policy):
        assert part in text
    assert f"Example: fleet {question.noun} {question.example}" in text


def test_the_group_help_explains_both_dates_and_the_exit_codes() -> None:
    text = " ".join(CliRunner().invoke(cli, ["audit", "--help"]).stdout.split())

    assert "--as-of is the day at whose end the question stands" in text
    assert "--known-on reads the records as they were known then" in text
    assert "leaves with 3 when it found something and with 0 when not" in text


def test_instants_are_written_in_utc_with_their_offset(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "suspect", *DAY, "--depot", "SOUTH", "--format", "csv", db=db)

    assert ran.exit_code == 3
    line = next(line for line in ran.stdout.splitlines() if ",blocked," in line)
    assert ",2024-07-03T09:20:00+00:00,2025-02-05T09:20:00+00:00,blocked,missing," in line


def test_a_device_that_nobody_named_is_a_usage_error(fleet: CommandLine, db: str) -> None:
    ran = fleet("equipment", "tainted", *DAY, db=db)

    assert ran.exit_code == 2
    assert "Missing argument 'DEVICE...'" in ran.stderr


def test_an_unknown_serial_is_an_error_and_not_an_empty_life(fleet: CommandLine, db: str) -> None:
    ran = fleet("audit", "serial", "00471", *DAY, db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "There is no instrument '00471' in the register." in ran.stderr


def test_evidence_goes_into_a_file_of_its_own(fleet: CommandLine, db: str, tmp_path: Path) -> None:
    path = tmp_path / "evidence.csv"

    ran = fleet("audit", "out-of-tolerance", *DAY, "--evidence", path, "--format", "csv", db=db)

    lines = path.read_text(encoding="utf-8").splitlines()
    assert ran.exit_code == 3
    assert lines[0].startswith("site_code,serial,visit_ref,visited_on,arrived_at,technicians,")
    assert lines[2].startswith("S02,00418,V005,2024-11-12,2024-11-12T08:00:00+00:00,T01,1,")
    assert lines[2].endswith(",D01,K-D01,D01/1,2023-01-01,2026-12-31,yes")
    assert len(lines) == 6
    assert f"5 rows written to {path}" in ran.stderr

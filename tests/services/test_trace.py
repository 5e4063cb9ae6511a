"""The records behind an answer on the small network: runs, certificates, people, ledger."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.services.audit import ask_records
from fleet.services.audit_question import ATTEMPTS, OUT_OF_TOLERANCE, QUESTIONS, SUMMARY
from fleet.services.question import Question
from fleet.services.trace import trace_frame
from tests.conftest import Load
from tests.factories import TODAY, InputFolder

Sessions = sessionmaker[Session]
BEFORE_AMENDING = datetime(2025, 6, 2, 12, 0, tzinfo=UTC)


def test_trace_goes_down_to_runs_equipment_people_and_the_ledger(loaded: Sessions) -> None:
    answer = ask_records(loaded, OUT_OF_TOLERANCE, Ask(TODAY))

    frame = trace_frame(loaded, answer.checks)

    assert answer.checks == {("V005", "00418")}
    assert frame.line.tolist() == ["check", "run", "run", "run", "run"]
    run = frame.iloc[1]
    assert (run.site_code, run.serial, run.visit_ref, run.technicians) == (
        "S02",
        "00418",
        "V005",
        "T01",
    )
    assert (run.phase, run.number, run.volume_ml, run.value) == ("as_found", 1, 800.0, 36.0)
    assert (run.device_code, run.device_serial, run.certificate_number) == ("D01", "K-D01", "D01/1")
    assert (run.certificate_until, run.in_date) == (date(2026, 12, 31), "yes")
    assert (run.ledger_entry, run.recorded_by) == (1, "tester")
    assert run.recorded_at == datetime(2025, 6, 2, 8, 0, tzinfo=UTC)
    assert run.arrived_at == datetime(2024, 11, 12, 8, 0, tzinfo=UTC)
    assert run.detail == "tips counted, buckets unknown at the start"


def test_trace_names_the_last_certificate_of_a_device_that_was_out_of_date(
    loaded: Sessions,
) -> None:
    frame = trace_frame(loaded, {("V013", "A-032")})

    runs = frame[frame.line == "run"]
    assert set(runs.in_date) == {"no"}
    assert set(runs.certificate_until) == {date(2024, 12, 31)}
    readings = frame[frame.line == "reading"]
    assert readings.detail.tolist() == [
        "closed ohm at gauge terminals, over range",
        "closed ohm at gauge terminals",
    ]
    assert frame[frame.line == "finding"].detail.tolist() == [
        "switch: found damaged, replaced, left good"
    ]


def test_trace_of_a_failed_attempt_is_the_visit_itself(loaded: Sessions) -> None:
    answer = ask_records(loaded, ATTEMPTS, Ask(date(2025, 3, 1)))

    frame = trace_frame(loaded, answer.checks)

    assert frame[["visit_ref", "line", "detail"]].to_numpy().tolist() == [
        ["V012", "visit", "not done, no access"]
    ]


def test_trace_leaves_out_other_gauges_of_the_visit_unless_none_is_named(loaded: Sessions) -> None:
    one = trace_frame(loaded, {("V004", "00523")})
    every = trace_frame(loaded, {("V004", None)})

    assert set(one.serial) == {"00523"}
    assert set(every.serial) == {"00418", "00523"}


def test_trace_reads_the_records_as_they_were_known(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    run = {"visit_ref": "V005", "serial": "00418", "phase": "as_found", "run_number": 1}
    network.change("tip_runs", run, tips=39)
    amend(network.only("tip_runs", **run), reason="miscopied")

    now = trace_frame(loaded, {("V005", "00418")})
    then = trace_frame(loaded, {("V005", "00418")}, known_on=BEFORE_AMENDING)

    assert (now.value.tolist()[1], then.value.tolist()[1]) == (39.0, 36.0)
    assert (set(now.ledger_entry), set(then.ledger_entry)) == ({2}, {1})


def test_trace_of_a_summary_has_every_check_that_is_counted(loaded: Sessions) -> None:
    answer = ask_records(loaded, SUMMARY, Ask(TODAY))

    assert {serial for _, serial in answer.checks} == {
        *("00417", "00418", "00420", "00523", "A-031", "A-032"),
    }


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_every_check_behind_an_answer_can_be_traced(question: Question, loaded: Sessions) -> None:
    least = 1 if question.name == "adjusted-every-time" else None
    wide = {"since": date(2023, 1, 1)} if question.name == "attempts" else {}

    answer = ask_records(loaded, question, Ask(TODAY, least=least, **wide))
    frame = trace_frame(loaded, answer.checks)

    assert set(frame.visit_ref) == {ref for ref, _ in answer.checks}
    assert bool(answer.checks) == (question.name not in ("unqualified", "too-perfect", "amended"))


def test_trace_of_nothing_has_the_same_columns(loaded: Sessions) -> None:
    empty, full = trace_frame(loaded, set()), trace_frame(loaded, {("V005", "00418")})

    assert (len(empty), list(empty.columns)) == (0, list(full.columns))
    pd.testing.assert_series_equal(empty.dtypes, full.dtypes)

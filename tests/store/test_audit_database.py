"""The audit says the same on both databases, down to the bytes of an evidence pack."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from sqlalchemy import Engine

from fleet.domain.audit.evidence import Ask
from fleet.reports.pack_pdf import pack_pdf
from fleet.services.audit import ask_records
from fleet.services.audit_question import QUESTIONS
from fleet.services.equipment_question import EQUIPMENT_QUESTIONS
from fleet.services.pack import PackOrder, gather_pack
from fleet.services.question import Question
from fleet.services.trace import trace_frame
from fleet.store.session import make_sessions
from tests.factories import TODAY


@pytest.mark.parametrize(
    "question", [*QUESTIONS, *EQUIPMENT_QUESTIONS], ids=lambda question: question.name
)
def test_question_has_the_same_answer_and_evidence_on_both_databases(
    question: Question, shared_sqlite: Engine, shared_postgresql: Engine
) -> None:
    ask = Ask(
        TODAY,
        since=date(2023, 1, 1) if "since" in question.takes else None,
        least=1 if "least" in question.takes else None,
        codes=("D03",) if "devices" in question.takes else (),
    )
    answers = [
        (sessions, ask_records(sessions, question, ask))
        for sessions in (make_sessions(shared_sqlite), make_sessions(shared_postgresql))
    ]

    (light, one), (heavy, other) = answers

    pd.testing.assert_frame_equal(one.frame, other.frame)
    assert one.checks == other.checks
    pd.testing.assert_frame_equal(trace_frame(light, one.checks), trace_frame(heavy, other.checks))


def test_pack_has_the_same_bytes_on_both_databases(
    shared_sqlite: Engine, shared_postgresql: Engine
) -> None:
    order = PackOrder(TODAY, "Evidence pack", "fleet audit pack", serials=("00418",))

    one, other = (
        pack_pdf(gather_pack(make_sessions(engine), order), paper="a4")
        for engine in (shared_sqlite, shared_postgresql)
    )

    assert one == other

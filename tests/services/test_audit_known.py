"""What would have been said on an earlier day: every question before and after an amendment.

The network is `tests.small_network`. One amendment touches what each question rests on.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.errors import NotFoundError
from fleet.services.audit import (
    ask_records,
    audit_amended,
    audit_exclusions,
    audit_serial,
    audit_suspect,
)
from fleet.services.audit_question import QUESTIONS, SERIAL
from fleet.services.equipment_question import DUE, EQUIPMENT_QUESTIONS, TAINTED
from fleet.services.question import Question
from tests.conftest import Load
from tests.factories import TODAY, InputFolder

Sessions = sessionmaker[Session]
BEFORE_AMENDING = datetime(2025, 6, 2, 12, 0, tzinfo=UTC)
EVERY = (*QUESTIONS, *EQUIPMENT_QUESTIONS)


def amendment(network: InputFolder) -> InputFolder:
    """Change something that each question looks at."""
    run = {"visit_ref": "V005", "serial": "00418", "phase": "as_found", "run_number": 1}
    network.change("tip_runs", run, tips=39)
    network.change("tip_runs", {"visit_ref": "V013"}, device_code="D01")
    reading = {"visit_ref": "V013", "phase": "as_found"}
    network.change("switch_readings", reading, value=0.5, over_range=False)
    network.change("gauge_checks", {"visit_ref": "V015"}, restoration_proven=True)
    network.change("gauge_checks", {"visit_ref": "V003"}, adjusted=False)
    network.change("visits", {"visit_ref": "V012"}, not_done_reason="weather")
    network.change("visits", {"visit_ref": "V008"}, technician_codes="T02")
    network.change("instruments", {"serial": "A-040"}, status="workshop")
    network.add(
        "certificates",
        device_code="D03",
        certificate_number="D03/2",
        valid_from="2025-05-01",
        valid_until="2025-12-31",
    )
    network.run("V014", "A-033", "as_left", 1, tips=40)
    network.visit("V100", "S06", "2025-05-20", technicians="T03")
    return network.check("V100", "A-033", found=(40, 40), left=(40, 40))


def cells(frame: pd.DataFrame, columns: list[str]) -> list[tuple[object, ...]]:
    """Give rows with None for what is missing."""
    rows = frame[columns].astype(object).itertuples(index=False, name=None)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows]


def ask_of(question: Question, as_of: date) -> Ask:
    wide = {"since": date(2023, 1, 1)} if "since" in question.takes else {}
    return Ask(
        as_of,
        **wide,
        least=2 if "least" in question.takes else None,
        codes=("D03",) if "devices" in question.takes else (),
        days=100 if question.takes & {"ahead", "field_days"} else None,
    )


@pytest.mark.parametrize("question", EVERY, ids=lambda question: f"{question.noun}-{question.name}")
def test_question_says_what_it_said_before_an_amendment_and_now_something_else(
    question: Question, loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    # no gauge here was adjusted three times in a row, and the amendment is made a day later
    ask = {
        "adjusted-every-time": Ask(TODAY, least=1),
        "amended": Ask(date(2025, 6, 3)),
    }.get(question.name, ask_of(question, TODAY))
    said = ask_records(loaded, question, ask).frame
    assert len(said) or question.name in ("unqualified", "too-perfect", "amended")

    amend(amendment(network), reason="paper forms were read again")
    now = ask_records(loaded, question, ask).frame
    then = ask_records(loaded, question, ask, known_on=BEFORE_AMENDING).frame

    pd.testing.assert_frame_equal(then, said)
    assert not now.equals(said)


@pytest.mark.parametrize("question", EVERY, ids=lambda question: f"{question.noun}-{question.name}")
def test_question_of_a_past_day_sees_nothing_that_happened_later(
    question: Question, loaded: Sessions, amend: Load
) -> None:
    day = date(2025, 3, 1)
    said = ask_records(loaded, question, ask_of(question, day)).frame

    later = InputFolder().visit("V101", "S01", "2025-05-27").visit("V102", "S02", "2025-05-28")
    later.check("V101", "00417", found=(30, 30), left=(40, 40), adjusted=True, closed_ohm=9.0)
    later.check("V102", "00418", found=(30, 30), left=(30, 30), device="D03")
    amend(later)

    now = ask_records(loaded, question, ask_of(question, day)).frame
    pd.testing.assert_frame_equal(now, said)


def test_suspect_stretches_of_the_small_network(loaded: Sessions) -> None:
    frame = audit_suspect(loaded, as_of=TODAY)

    columns = ["site_code", "serial", "reason", "visit_ref", "last_good_ref", "ended_by_ref"]
    assert cells(frame, columns) == [
        ("S02", "00418", "out_of_tolerance", "V005", "V004", "V005"),
        ("S03", "00419", "out_of_tolerance", "V007", "V006", None),
        ("S04", "A-031", "blocked", "V010", "V009", "V010"),
        ("S04", "A-031", "off_logger", "V015", "V010", None),
        ("S05", "A-032", "switch_failed", "V013", None, "V013"),
    ]
    first = frame.iloc[0]
    assert (first.from_at, first.until_at) == (
        datetime(2024, 5, 14, 9, 20, tzinfo=UTC),
        datetime(2024, 11, 12, 9, 20, tzinfo=UTC),
    )
    assert frame.until_at.tolist()[3] is None


def test_exclusions_list_the_visits_of_the_small_network_too(loaded: Sessions) -> None:
    frame = audit_exclusions(loaded, as_of=TODAY)

    assert frame.reason.value_counts().to_dict() == {
        "isolated": 16,
        "out_of_tolerance": 2,
        "blocked": 1,
        "off_logger": 1,
        "switch_failed": 1,
    }


def test_serial_of_an_instrument_that_was_taken_away(loaded: Sessions) -> None:
    frame = audit_serial(loaded, "00419", as_of=TODAY)

    columns = ["event", "site_code", "visit_ref", "days", "status"]
    assert cells(frame, columns) == [
        ("stood", "S03", None, 467, "workshop"),
        ("checked", "S03", "V006", None, "workshop"),
        ("checked", "S03", "V007", None, "workshop"),
        ("away", None, None, 265, "workshop"),
    ]


@pytest.mark.parametrize(
    ("question", "code", "message"),
    [
        (SERIAL, "00471", "no instrument '00471' in the register"),
        (TAINTED, "D99", "no device 'D99' in the register"),
    ],
)
def test_a_code_that_the_register_does_not_know_is_refused(
    loaded: Sessions, question: Question, code: str, message: str
) -> None:
    with pytest.raises(NotFoundError, match=message):
        ask_records(loaded, question, Ask(TODAY, codes=(code,)))


def test_tainted_checks_of_the_small_network(loaded: Sessions) -> None:
    frame = ask_records(loaded, TAINTED, Ask(TODAY, since=date(2025, 1, 1), codes=("D03",))).frame

    columns = ["serial", "visit_ref", "runs", "as_found_verdict", "as_left_verdict", "check_again"]
    assert cells(frame, columns) == [
        ("A-031", "V010", 2, None, "passed", "tip test"),
        ("A-031", "V015", 4, "passed", "passed", "tip test"),
        ("A-032", "V013", 2, None, "passed", "tip test"),
    ]


def test_due_certificates_of_the_small_network(loaded: Sessions) -> None:
    frame = ask_records(loaded, DUE, Ask(TODAY)).frame

    assert frame[["device_code", "days_left"]].to_numpy().tolist() == [["D03", -153]]


def test_amended_tells_who_changed_what_when_and_why(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    network.change("gauge_checks", {"visit_ref": "V015"}, restoration_proven=True)
    network.change("visits", {"visit_ref": "V008"}, technician_codes="T02")
    amend(network.only("gauge_checks", visit_ref="V015"), reason="form read again")
    amend(network.only("visits", visit_ref="V008"), reason="T01 was not there")

    frame = audit_amended(loaded, as_of=date(2025, 6, 3))

    columns = ["changed_by", "reason", "record", "key", "old", "new"]
    assert cells(frame, columns) == [
        ("tester", "form read again", "visit", "V015", None, "yes"),
        ("tester", "form read again", "follow_up", "reconnect:V015:A-031", None, "V015"),
        ("tester", "form read again", "follow_up", "reconnect:V015:A-031", None, "2025-05-07"),
        ("tester", "T01 was not there", "visit", "V008", "T01 T02", "T02"),
    ]
    assert frame.changed_at[0] == datetime(2025, 6, 3, 8, 0, tzinfo=UTC)
    assert frame.sentence[3] == (
        "tester changed visits.technician_codes of V008 from T01 T02 to T02: T01 was not there."
    )
    assert audit_amended(loaded, as_of=date(2025, 6, 2)).empty
    assert audit_amended(loaded, as_of=TODAY.replace(year=2026), known_on=BEFORE_AMENDING).empty
    assert audit_amended(loaded, as_of=date(2025, 6, 4), since=date(2025, 6, 4)).empty

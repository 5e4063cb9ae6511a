"""The questions of the audit on the small network; what is in it stands in `tests.factories`.

Days are counted by hand [CALC]. 37 to 43 tips of 40 is common practice, no published source. The
exact intervals are standards.md 3.2, Clopper-Pearson 95 % [CALC]: 9/10 gives 0.555 to 0.997.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pandas as pd
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.domain.code import Phase
from fleet.errors import ConflictError, NotFoundError
from fleet.services import audit
from fleet.services.audit_question import QUESTIONS, describe_questions
from fleet.services.audit_summary import summary_rows
from fleet.store.queries.gauge import installed_gauges
from tests.conftest import Load
from tests.domain.audit.ground import audited, evidence
from tests.factories import TODAY, InputFolder, make_check

Sessions = sessionmaker[Session]
BEFORE_AMENDING = datetime(2025, 6, 2, 12, 0, tzinfo=UTC)


def rows(frame: pd.DataFrame, *columns: str) -> list[tuple[object, ...]]:
    return list(frame[list(columns)].itertuples(index=False, name=None))


def test_overdue_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_overdue(loaded, as_of=TODAY)

    assert rows(frame, "site_code", "serial", "due_on", "days_overdue") == [
        ("S06", "A-033", date(2025, 3, 30), 64),
        ("S02", "00418", date(2025, 5, 11), 22),
        ("S02", "00523", date(2025, 5, 11), 22),
    ]
    second = frame.iloc[1]
    assert (second.site_name, second.depot_code, second.position) == (
        "Sarrow Weir",
        "NORTH",
        "main",
    )
    assert (second.last_service_ref, second.last_service_by) == ("V005", "T01")
    assert (second.interval_days, second.counted_from) == (180, date(2024, 11, 12))
    assert "network from 2025-01-01" in second.policy_basis


def test_overdue_of_a_past_day_sees_the_visits_gauges_and_policy_of_that_day(
    loaded: Sessions,
) -> None:
    columns = ("site_code", "serial", "interval_days", "due_on", "days_overdue")

    early = audit.audit_overdue(loaded, as_of=date(2024, 5, 13))
    old_policy = audit.audit_overdue(loaded, as_of=date(2024, 12, 31))
    new_policy = audit.audit_overdue(loaded, as_of=date(2025, 1, 1))

    assert rows(early, *columns) == [
        ("S02", "00418", 240, date(2024, 1, 27), 107),
        ("S02", "00523", 240, date(2024, 1, 27), 107),
        ("S04", "A-031", 240, date(2024, 1, 27), 107),
        ("S05", "A-032", 240, date(2024, 1, 27), 107),
    ]
    assert old_policy.empty
    assert rows(new_policy, *columns) == [
        ("S01", "00417", 180, date(2024, 12, 1), 31),
        ("S04", "A-031", 180, date(2024, 12, 30), 2),
    ]


def test_overdue_of_one_depot(loaded: Sessions) -> None:
    assert audit.audit_overdue(loaded, as_of=TODAY, depot_code="SOUTH").serial.tolist() == ["A-033"]


def test_an_unknown_depot_is_refused_instead_of_found_faultless(loaded: Sessions) -> None:
    with pytest.raises(NotFoundError, match="no depot 'NROTH'"):
        audit.audit_overdue(loaded, as_of=TODAY, depot_code="NROTH")


def test_a_day_without_a_policy_is_refused_with_its_date(
    sessions: Sessions, network: InputFolder, load: Load
) -> None:
    load(network.drop("policies", scope="network", valid_from="2023-01-01"))

    with pytest.raises(ConflictError, match="No policy in force on 2024-12-31 sets"):
        audit.audit_overdue(sessions, as_of=date(2024, 12, 31))
    assert len(audit.audit_overdue(sessions, as_of=TODAY)) == 3


def test_out_of_tolerance_of_the_small_network(loaded: Sessions) -> None:
    latest = audit.audit_out_of_tolerance(loaded, as_of=TODAY)
    every = audit.audit_out_of_tolerance(loaded, as_of=TODAY, since=date(2024, 1, 1))

    columns = ("visit_ref", "serial", "phase", "verdict", "tips", "made_good_by")
    assert rows(latest, *columns) == [("V005", "00418", "as_found", "failed", 72, "V005")]
    assert rows(every, *columns) == [
        ("V005", "00418", "as_found", "failed", 72, "V005"),
        ("V007", "00419", "as_found", "rejected", 67, "removal"),
    ]
    figures = latest.iloc[0]
    assert (figures.expected_tips, figures.error_percent) == (80.0, pytest.approx(-10.0))
    assert (figures.band_low_tips, figures.band_high_tips, figures.one_tip_percent) == (74, 86, 2.5)


def test_out_of_tolerance_of_one_phase(loaded: Sessions) -> None:
    frame = audit.audit_out_of_tolerance(loaded, as_of=TODAY, phase=Phase.AS_LEFT)

    assert frame.empty


def test_failed_switch_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_failed_switch(loaded, as_of=TODAY)

    columns = ("serial", "visit_ref", "phase", "no_closure", "closed_limit_ohm", "made_good_by")
    assert rows(frame, *columns) == [("A-032", "V013", "as_found", True, 5.0, "V013")]


def test_never_verified_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_never_verified(loaded, as_of=TODAY)

    columns = ("serial", "installed_on", "days_installed", "checks", "days_overdue")
    assert rows(frame, *columns) == [("A-033", date(2024, 10, 1), 244, 1, 64)]


def test_missing_phase_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_missing_phase(loaded, as_of=TODAY)

    assert rows(frame, "serial", "visit_ref", "phase", "verdict", "runs_asked") == [
        ("A-032", "V013", "as_found", "not_measured", 2),
        ("A-033", "V014", "as_left", "not_measured", 2),
    ]
    assert frame.tips.isna().all()


def test_left_disconnected_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_left_disconnected(loaded, as_of=TODAY)
    before = audit.audit_left_disconnected(loaded, as_of=date(2025, 5, 6))

    assert rows(frame, "serial", "visit_ref", "restoration", "days_open") == [
        ("A-031", "V015", "not_stated", 26)
    ]
    assert before.empty


def test_attempts_of_the_small_network(loaded: Sessions) -> None:
    now = audit.audit_attempts(loaded, as_of=TODAY)
    then = audit.audit_attempts(loaded, as_of=date(2025, 3, 24))
    every = audit.audit_attempts(loaded, as_of=TODAY, since=date(2025, 1, 1))

    assert now.empty
    columns = ("serial", "visit_ref", "not_done_reason", "days_open")
    assert rows(then, *columns) == [("A-032", "V012", "no_access", 34)]
    assert rows(every, *columns, "made_good_by") == [("A-032", "V012", "no_access", 35, "V013")]


def test_device_out_of_date_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_device_out_of_date(loaded, as_of=TODAY)

    columns = ("serial", "visit_ref", "device_code", "runs", "certificate_number")
    assert rows(frame, *columns, "days_out_of_date") == [
        ("A-031", "V015", "D03", 4, "D03/1", 127),
        ("A-032", "V013", "D03", 2, "D03/1", 84),
    ]
    assert (frame.device_kind.tolist(), frame.device_serial.tolist()) == (
        ["volumetric"] * 2,
        ["K-D03"] * 2,
    )


def test_device_out_of_date_is_mended_by_a_certificate_that_was_found_later(
    loaded: Sessions, amend: Load
) -> None:
    more = InputFolder().add(
        "certificates",
        device_code="D03",
        certificate_number="D03/2",
        valid_from="2025-01-01",
        valid_until="2025-12-31",
    )
    amend(more)

    now = audit.audit_device_out_of_date(loaded, as_of=TODAY)
    then = audit.audit_device_out_of_date(loaded, as_of=TODAY, known_on=BEFORE_AMENDING)

    assert (len(now), len(then)) == (0, 2)


def test_device_out_of_date_reads_the_runs_as_they_were_known(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    runs = {"visit_ref": "V015", "serial": "A-031"}
    network.change("tip_runs", runs, device_code="D01")
    amend(network.only("tip_runs", **runs), reason="wrong bottle named")

    now = audit.audit_device_out_of_date(loaded, as_of=TODAY)
    then = audit.audit_device_out_of_date(loaded, as_of=TODAY, known_on=BEFORE_AMENDING)

    assert (now.visit_ref.tolist(), then.visit_ref.tolist()) == (["V013"], ["V015", "V013"])


def test_device_out_of_date_counts_resistances_but_no_manual_tips(
    loaded: Sessions, amend: Load
) -> None:
    more = InputFolder().visit("V100", "S06", "2025-05-20", technicians="T03")
    more.check("V100", "A-033")
    more.reading("V100", "A-033", "as_left", value=0.4, device_code="D03")
    more.reading("V100", "A-033", "as_left", value=10, kind="manual_tips", device_code="D03")
    amend(more)

    frame = audit.audit_device_out_of_date(loaded, as_of=TODAY, depot_code="SOUTH")

    assert rows(frame, "serial", "device_code", "runs", "readings")[-1] == ("A-033", "D03", 0, 1)


def test_overdue_reads_the_policy_as_it_was_known(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    row = {"scope": "network", "valid_from": "2025-01-01"}
    network.change("policies", row, service_interval_days=365)
    amend(network.only("policies", **row), reason="agreed a year")

    now = audit.audit_overdue(loaded, as_of=TODAY)
    then = audit.audit_overdue(loaded, as_of=TODAY, known_on=BEFORE_AMENDING)

    assert (len(now), len(then)) == (0, 3)


def test_installed_gauges_since_a_day_include_those_removed_on_it_or_later(
    loaded: Sessions,
) -> None:
    def serials(since: date) -> set[str]:
        with loaded() as session:
            gauges = installed_gauges(session, as_of=TODAY, since=since)
        return {gauge.gauge.serial for gauge in gauges}

    assert "00419" in serials(date(2024, 9, 10))
    assert "00419" not in serials(date(2024, 9, 11))


def test_unqualified_reads_the_records_as_they_were_known(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    network.change("visits", {"visit_ref": "V008"}, technician_codes="T02")
    amend(network.only("visits", visit_ref="V008"), reason="T01 was not there")

    now = audit.audit_unqualified(loaded, as_of=TODAY)
    then = audit.audit_unqualified(loaded, as_of=TODAY, known_on=BEFORE_AMENDING)

    columns = ("site_code", "serial", "visit_ref", "technicians", "required_skill", "held_until")
    assert rows(now, *columns) == [
        ("S03", "00420", "V008", "T02", "mast", date(2024, 12, 31)),
    ]
    assert then.empty


def test_out_of_tolerance_reads_the_records_as_they_were_known(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    run = {"visit_ref": "V005", "serial": "00418", "phase": "as_found", "run_number": 1}
    network.change("tip_runs", run, tips=39)
    amend(network.only("tip_runs", **run), reason="miscopied from the paper form")

    now = audit.audit_out_of_tolerance(loaded, as_of=TODAY)
    then = audit.audit_out_of_tolerance(loaded, as_of=TODAY, known_on=BEFORE_AMENDING)

    assert now.empty
    assert rows(then, "visit_ref", "tips") == [("V005", 72)]


def test_adjusted_every_time_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_adjusted_every_time(loaded, as_of=TODAY, least=1)

    columns = ("serial", "adjusted_in_a_row", "services", "as_found_errors_percent")
    assert rows(frame, *columns) == [("00417", 1, 3, "-5.0"), ("00418", 1, 2, "-10.0")]
    assert audit.audit_adjusted_every_time(loaded, as_of=TODAY).empty


def test_too_perfect_of_a_network_with_a_copied_form(
    loaded: Sessions, network: InputFolder, amend: Load
) -> None:
    more = InputFolder()
    for number, day in enumerate(("2025-05-12", "2025-05-14", "2025-05-19", "2025-05-21")):
        ref = f"V10{number}"
        more.visit(ref, "S06", day, technicians="T03")
        more.check(ref, "A-033", found=(40, 40), left=(40, 40))
    amend(more)

    frame = audit.audit_too_perfect(loaded, as_of=TODAY)

    columns = ("about", "serial", "technicians", "runs", "checks", "furthest_tips", "others_runs")
    assert rows(frame, *columns) == [("gauge", "A-033", "T03", 8, 4, 0.0, 26)]
    assert audit.audit_too_perfect(loaded, as_of=TODAY, known_on=BEFORE_AMENDING).empty


def test_summary_of_the_small_network(loaded: Sessions) -> None:
    frame = audit.audit_summary(loaded, as_of=TODAY)

    assert rows(frame, "depot_code", "measure", "hits", "n", "not_measured") == [
        ("NORTH", "in_date", 2, 4, 0),
        ("NORTH", "in_tolerance_as_found", 3, 4, 0),
        ("NORTH", "in_tolerance_as_left", 4, 4, 0),
        ("SOUTH", "in_date", 2, 3, 0),
        ("SOUTH", "in_tolerance_as_found", 2, 2, 1),
        ("SOUTH", "in_tolerance_as_left", 2, 2, 1),
        ("*", "in_date", 4, 7, 0),
        ("*", "in_tolerance_as_found", 5, 6, 1),
        ("*", "in_tolerance_as_left", 6, 6, 1),
    ]
    assert frame.share_percent[1] == pytest.approx(75.0)
    assert frame.high_percent[2] == pytest.approx(100.0)


def test_summary_has_the_exact_interval_of_nine_in_ten() -> None:
    gauges = [audited(installed_on=date(2025, 5, 1), serial=str(n)) for n in range(9)]
    late = audited(make_check(date(2024, 1, 1), left=(40, 40)))

    [row, *_] = summary_rows(evidence(*gauges, late), Ask(TODAY))

    assert (row.hits, row.n) == (9, 10)
    assert row.low_percent == pytest.approx(55.5, abs=0.05)
    assert row.high_percent == pytest.approx(99.7, abs=0.05)
    assert row.sentence.startswith("9 of 10 gauges are in date: 90.0 % (95 % interval 55.5 to")


def test_summary_without_a_verdict_has_no_share() -> None:
    [_, found, _] = summary_rows(evidence(audited(installed_on=date(2025, 5, 1))), Ask(TODAY))

    assert (found.n, found.share_percent, found.low_percent, found.not_measured) == (
        0,
        None,
        None,
        1,
    )


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_each_question_has_the_same_columns_and_dtypes_when_it_finds_nothing(
    question: audit.Question, sessions: Sessions, loaded: Sessions
) -> None:
    ask = Ask(TODAY, since=date(2023, 1, 1) if "since" in question.takes else None)

    empty = audit.ask_records(sessions, question, ask)
    full = audit.ask_records(loaded, question, ask)

    assert (len(empty.frame), empty.gauges, full.gauges) == (0, 0, 7)
    assert list(empty.frame.columns) == list(full.frame.columns)
    assert empty.frame.dtypes.to_dict() == full.frame.dtypes.to_dict()
    assert empty.frame.columns[-1] == "sentence"


def test_columns_have_the_dtype_of_what_they_hold(loaded: Sessions) -> None:
    overdue = audit.audit_overdue(loaded, as_of=TODAY).dtypes.astype(str)
    missing = audit.audit_missing_phase(loaded, as_of=TODAY).dtypes.astype(str)
    disconnected = audit.audit_left_disconnected(loaded, as_of=TODAY).dtypes.astype(str)

    assert (overdue.serial, overdue.days_overdue, overdue.due_on) == ("str", "int64", "object")
    assert (missing.tips, missing.error_percent, missing.runs) == ("Int64", "float64", "int64")
    assert disconnected.isolated == "bool"


def test_each_question_has_a_function_of_its_own() -> None:
    names = {name.removeprefix("audit_") for name in dir(audit) if name.startswith("audit_")}

    assert {question.name.replace("-", "_") for question in QUESTIONS} <= names


def test_the_list_of_questions_names_each_with_its_policy() -> None:
    text = describe_questions()

    assert len(text.splitlines()) == 18
    assert (
        "| `overdue` | Which gauges are past the day on which their next service was due? | "
        "The policy in force on the day asked about. |" in text
    )


def test_asking_since_a_day_after_the_day_asked_about_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="since 2025-06-03 is after as of 2025-06-02"):
        Ask(date(2025, 6, 2), since=date(2025, 6, 3))

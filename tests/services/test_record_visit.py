"""Recording visits: verdicts by the policy of the day, whole visits replaced, stops settled."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.errors import ConflictError, InputError
from fleet.ingest.form_answer import StopAnswers
from fleet.ingest.visit_form import read_visit_form
from fleet.reports.visit_form import write_visit_form
from fleet.services.record_visit import record_answers, record_file
from fleet.services.recorded_visits import COLUMNS
from fleet.services.round_life import issue_round
from fleet.services.round_view import show_round
from fleet.services.show_visit import show_visit
from fleet.services.visit_verdict import visit_verdicts
from fleet.store.journal import Wish
from tests.factories import TODAY
from tests.form_factory import full_answers, make_form, make_sheet
from tests.form_filler import fill
from tests.hand_round import keep_round

WISH = Wish("tester", "visit record", "")
REF = "S01/20250520-0900"


@pytest.fixture
def form(tmp_path):
    """A form of one stop at S01 with gauge 00417, everything filled in."""
    path = tmp_path / "form.xlsx"
    write_visit_form(make_form(), path)
    return fill(path, full_answers())


@pytest.fixture
def record(loaded, clock):
    def record(path, *, reason="", dry_run=False, today=TODAY):
        wish = Wish("tester", "visit record", reason, dry_run)
        return record_file(loaded, path, wish, clock=clock, today=today)

    return record


def verdicts(sessions, *refs: str) -> dict[tuple[str, str], tuple[str, str]]:
    with sessions() as session:
        lines = visit_verdicts(session, refs)
    return {(line.serial, line.subject): (line.result, line.reason) for line in lines}


def test_verdict_uses_the_policy_of_the_day_of_the_visit(loaded):
    # 36 of 40 tips twice on 2024-11-12, -10 %: outside 74 to 86, not beyond the reject limit
    told = verdicts(loaded, "V005")

    assert told["00418", "as_found"][0] == "failed"
    assert told["00418", "as_left"][0] == "passed"
    assert told["00523", "as_found"][0] == "passed"


def test_verdict_of_a_gauge_taken_away_on_that_day_is_given(loaded):
    # 00419 was replaced by 00420 on 2024-09-10; 67 of 80 tips, -16.25 %
    told = verdicts(loaded, "V007")

    assert told["00419", "as_found"][0] == "rejected"
    assert told["00419", "as_left"][0] == "not_measured"
    assert told["00420", "as_left"][0] == "passed"


def test_verdict_of_a_gauge_that_stood_elsewhere_is_not_guessed(loaded, amend, network, tmp_path):
    more = network.only("visits", visit_ref="V001").change(
        "visits",
        {"visit_ref": "V001"},
        visit_ref="V200",
        arrived_at="2025-05-26T09:00+01:00",
        departed_at="2025-05-26T10:30+01:00",
    )
    amend(more.check("V200", "A-040", found=(40, 40)))

    told = verdicts(loaded, "V200")

    assert told["A-040", "check"] == (
        "not_judged",
        "No installation says that it stood at S01 on that day.",
    )


def test_verdicts_of_no_visits_are_none(loaded):
    assert verdicts(loaded) == {}


def test_recorded_frame_has_its_columns_also_when_empty(record, tmp_path):
    path = tmp_path / "untouched.xlsx"
    write_visit_form(make_form(), path)

    recorded = record(path)

    assert list(recorded.frame.columns) == list(COLUMNS)
    assert len(recorded.frame) == 0
    assert recorded.notes == (
        "untouched.xlsx sheet '1 S01': nothing filled in, passed over.",
        "0 visit(s) added, 0 amended, 0 unchanged.",
    )


def test_form_read_from_the_file_and_given_as_answers_is_the_same_visit(loaded, clock, form):
    stops: list[StopAnswers] = read_visit_form(form).stops
    by_answers = record_answers(loaded, stops, WISH, clock=clock, today=TODAY)

    by_file = record_file(loaded, form, WISH, clock=clock, today=TODAY)

    assert by_answers.lines == by_file.lines
    assert not by_file.result.changed_anything


def test_amended_form_is_the_whole_visit_and_removed_parts_are_gone(loaded, record, form):
    record(form)
    gone = {("00417|finding.1", blank): None for blank in range(1, 6)}
    fill(form, {**gone, ("00417|parts", 1): None})

    with pytest.raises(ConflictError, match=r"findings\[1\].component screen -> "):
        record(form)
    record(form, reason="written on the wrong sheet")

    visit = show_visit(loaded, REF)
    assert visit.parts["findings"] == ()
    assert visit.parts["gauge_checks"][0]["parts"] is None
    assert visit.versions[1].changes["findings[1].component"] == ("screen", None)
    assert [version.known_until is None for version in visit.versions] == [False, True]


def test_csv_of_one_run_keeps_the_rest_of_a_visit_recorded_by_form(
    loaded, record, form, network, tmp_path
):
    record(form)
    network.tables = {}
    network.run(REF, "00417", "as_found", 2, tips=41, start_state="emptied")

    record(network.write(tmp_path / "csv"), reason="misread")

    visit = show_visit(loaded, REF)
    assert len(visit.parts["tip_runs"]) == 4
    assert [row["tips"] for row in visit.parts["tip_runs"]] == [38, 41, 40, 40]
    assert len(visit.parts["findings"]) == 1


def test_same_visit_on_two_sheets_is_a_problem(record, tmp_path):
    path = tmp_path / "twice.xlsx"
    write_visit_form(make_form(make_sheet(), make_sheet()), path)
    fill(fill(path, full_answers(), sheet=1), full_answers(), sheet=2)

    with pytest.raises(InputError) as raised:
        record(path)

    assert [str(problem) for problem in raised.value.problems] == [
        "twice.xlsx sheet '2 S01': 'S01/20250520-0900' found; the same visit stands in "
        "twice.xlsx sheet '1 S01'; each may stand there once"
    ]


def test_form_of_another_network_names_site_and_gauge_once_each(record, tmp_path):
    from tests.form_factory import make_gauge

    path = tmp_path / "foreign.xlsx"
    sheet = make_sheet(site_code="Q77", gauges=(make_gauge(serial="77"),))
    write_visit_form(make_form(sheet), path)
    fill(path, full_answers("77"))

    with pytest.raises(InputError) as raised:
        record(path)

    told = [str(problem) for problem in raised.value.problems]
    assert len(told) == 2
    assert told[0].startswith("foreign.xlsx sheet '1 Q77', column site_code: 'Q77' found; neither")
    assert told[1].startswith("foreign.xlsx sheet '1 Q77', column serial: '77' found; neither")


def test_skipped_run_is_told_once_with_its_sheet(record, form):
    fill(form, {("00417|as_left.1", 2): None})

    with pytest.raises(InputError) as raised:
        record(form)

    (told,) = [str(problem) for problem in raised.value.problems]
    assert "sheet '1 S01' row " in told
    assert "runs 2 of S01/20250520-0900 00417 as_left; the runs of a phase count 1, 2, 3" in told


def test_damaged_form_tells_the_sheet_and_the_problems_of_the_others(record, tmp_path):
    from tests.form_filler import set_cells

    path = tmp_path / "half.xlsx"
    write_visit_form(make_form(make_sheet(), make_sheet()), path)
    set_cells(path, {"A1": "visit-form 9"}, sheet=1)
    fill(path, {("outcome", 1): "done"}, sheet=2)

    with pytest.raises(InputError) as raised:
        record(path)

    told = [str(problem) for problem in raised.value.problems]
    assert "row 1, column A: 'visit-form 9' found; 'visit-form 1' is expected" in told[0]
    assert any("sheet '2 S01'" in text and "(Day of arrival)" in text for text in told)
    assert any("sheet '2 S01'" in text and "(Left site at): a value" in text for text in told)


def test_recorded_visit_settles_the_stop_of_an_issued_round(loaded, record, clock, form):
    ref = keep_round(loaded, clock)
    issue_round(loaded, ref, Wish("tester", "round issue", ""), clock=clock)
    fill(form, {("day", 1): date(2025, 6, 3)})

    recorded = record(form, today=date(2025, 6, 6))

    assert "2025-W23-NORTH stop S01: done by visit S01/20250603-0900" in recorded.notes
    _, stops, _ = show_round(loaded, ref)
    results = dict(zip(stops["site_code"], stops["result"], strict=True))
    assert results["S01"] == "done"


def test_two_visits_of_a_site_on_one_day_are_two_visits(loaded, record, form):
    record(form)
    # the first ended at 10:30
    later = {("arrived", 1): "10:30", ("departed", 1): "12:00"}
    fill(form, {**later, ("00417|isolated", 1): "10:40", ("00417|restored", 1): "11:50"})

    recorded = record(form)

    assert recorded.result.visits_written == ("S01/20250520-1030",)
    assert show_visit(loaded, REF).row["note"] == "两次 =1+1 кап"

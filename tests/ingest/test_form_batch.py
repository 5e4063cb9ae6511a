"""Answers to the visit form held against the contracts of the input tables."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.domain.visit_form import GAUGE_PARTS, VISIT_PART, FormPart
from fleet.ingest.catalogue import TABLES
from fleet.ingest.form_answer import Answer, GaugeAnswers, StopAnswers
from fleet.ingest.form_batch import form_batch
from fleet.ingest.known import KnownCodes

TODAY = date(2025, 6, 2)
KNOWN = KnownCodes(
    keys={
        "sites": frozenset({("S01",)}),
        "technicians": frozenset({("T01",)}),
        "instruments": frozenset({("00417",)}),
        "devices": frozenset({("D01",)}),
    }
)
VISIT = {
    ("day", ""): "2025-05-20",
    ("arrived", ""): "09:00",
    ("departed", ""): "10:30",
    ("technicians", "1"): "T01",
    ("purpose", ""): "routine",
    ("outcome", ""): "done",
}
GAUGE = {
    ("as_found.1", "volume_ml"): "800",
    ("as_found.1", "tips"): "38",
    ("as_found.1", "start"): "unknown",
    ("cleaned", ""): "yes",
    ("adjusted", ""): "no",
    ("proven", ""): "yes",
}


def answers_of(
    parts: tuple[FormPart, ...], texts: dict[tuple[str, str], str]
) -> dict[tuple[str, str], Answer]:
    return {
        (row.key, blank.key): Answer(
            texts.get((row.key, blank.key), ""), "form", None, f"{row.key}.{blank.key}"
        )
        for part in parts
        for row in part.rows
        for blank in row.blanks
    }


def make_stop(visit: dict[tuple[str, str], str], gauge: dict[tuple[str, str], str]) -> StopAnswers:
    stop = StopAnswers("form", "S01", "Etc/GMT-1", answers_of((VISIT_PART,), visit))
    stop.gauges.append(GaugeAnswers("00417", answers_of(GAUGE_PARTS, gauge)))
    return stop


def told(visit: dict[tuple[str, str], str], gauge: dict[tuple[str, str], str]) -> list[str]:
    made = form_batch([make_stop(visit, gauge)], known=KNOWN, today=TODAY)
    return [f"{problem.column}: {problem.expected}" for problem in made.batch.problems]


def test_whole_answers_are_clean_and_typed():
    made = form_batch([make_stop(VISIT, GAUGE)], known=KNOWN, today=TODAY)

    made.batch.require_clean()
    (run,) = made.batch.rows["tip_runs"]
    assert (run.values["tips"], run.values["volume_ml"]) == (38, 800.0)
    assert made.visit_refs == ("S01/20250520-0900",)


@pytest.mark.parametrize(
    ("blank", "text", "expected"),
    [
        (("arrived", ""), "25:00", "arrived.: there is no such clock time"),
        (("departed", ""), "late", "departed.: a clock time from 00:00 to 23:59 is expected"),
        (("day", ""), "2025-02-30", "day.: there is no such day; 2025-02 has 28 days"),
        (("technicians", "1"), "t 1", "technicians.1: neither the files nor the records"),
        (("visit_ref", ""), "a b", "visit_ref.: letters A-Z a-z, digits and . _ / - are"),
        (("outcome", ""), "not done", "reason.: not_done_reason is required when outcome is"),
        (("reason", ""), "weather", "reason.: not_done_reason must be blank unless outcome is"),
    ],
)
def test_one_slip_in_the_visit_is_one_problem(blank, text, expected):
    problems = told({**VISIT, blank: text}, GAUGE)

    assert len(problems) == (2 if text == "t 1" else 1)
    assert problems[0].startswith(expected)


@pytest.mark.parametrize(
    ("blank", "text", "expected"),
    [
        (("isolated", ""), "9.10", "isolated.: a clock time from 00:00 to 23:59"),
        (("isolated", ""), "2025-05-18 09:10", "isolated.: more than 12 hours outside the visit"),
        (("restored", ""), "2025-05-20T10:20", None),
        (("as_found.1", "tips"), "38.5", "as_found.1.tips: "),
        (("as_found.1", "tips"), "", None),
        (("as_found.1", "start"), "", "as_found.1.start: a value is required"),
        (("switch.as_left", "closed_ohm"), "over", "switch.as_left.measured_at: a value is requi"),
        (("switch.as_left", "closed_ohm"), "OVER", "switch.as_left.closed_ohm: a number such as"),
        (("switch.as_left", "manual_tips"), "9.5", "switch.as_left.manual_tips: manual_tips is"),
        (("switch.as_left", "device"), "D01", "switch.as_left.closed_ohm: a reading is required"),
        (("finding.2", "component"), "roof", "finding.2.component: one of funnel, screen"),
        (("proven", ""), "perhaps", "proven.: yes or no is expected"),
        (("cleaned", ""), "", "cleaned.: a value is required"),
    ],
)
def test_one_slip_about_a_gauge_is_told_at_its_blank(blank, text, expected):
    problems = told(VISIT, {**GAUGE, blank: text})

    if expected is None:
        assert problems == []
    else:
        assert any(problem.startswith(expected) for problem in problems), problems


def test_visit_of_a_morning_far_east_is_not_in_the_future():
    # 08:00 at UTC+14 on 2025-06-03 is 18:00 UTC on 2025-06-02
    far_east = {("day", ""): "2025-06-03", ("arrived", ""): "08:00", ("departed", ""): "09:00"}
    stop = make_stop({**VISIT, **far_east}, GAUGE)
    stop.time_zone = "Etc/GMT-14"

    made = form_batch([stop], known=KNOWN, today=TODAY)
    west = form_batch([make_stop({**VISIT, **far_east}, GAUGE)], known=KNOWN, today=TODAY)

    assert made.batch.problems == []
    assert [problem.column for problem in west.batch.problems] == ["arrived.", "departed."]


def test_manual_tips_cannot_be_over_range():
    over = {("switch.as_left", "manual_tips"): "over", ("switch.as_left", "measured_at"): "logger"}

    problems = told(VISIT, {**GAUGE, **over})

    assert len(problems) == 1
    assert problems[0].startswith("switch.as_left.manual_tips: a number such as")


def test_runs_of_a_visit_given_whole_are_not_filled_up_from_the_records():
    known = KnownCodes(
        keys={
            **KNOWN.keys,
            "tip_runs": frozenset({("S01/20250520-0900", "00417", "as_found", 1)}),
            "gauge_checks": frozenset({("S01/20250520-0900", "00417")}),
        }
    )
    second = {(key.replace(".1", ".2"), blank): text for (key, blank), text in GAUGE.items()}

    made = form_batch([make_stop(VISIT, second)], known=known, today=TODAY)

    assert ["runs 2 of" in problem.expected for problem in made.batch.problems] == [True]


def test_same_visit_twice_is_told_once():
    stops = [make_stop(VISIT, GAUGE), make_stop(VISIT, GAUGE)]

    made = form_batch(stops, known=KNOWN, today=TODAY)

    assert [problem.value for problem in made.batch.problems] == ["S01/20250520-0900"]


BLANKS = st.sampled_from(
    [
        (row.key, blank.key)
        for part in (VISIT_PART, *GAUGE_PARTS)
        for row in part.rows
        for blank in row.blanks
    ]
)
TEXTS = st.one_of(
    st.text(max_size=20),
    st.sampled_from(
        ["over", "1e400", "-0", "NaN", "2025-05-20 24:00", "0001-01-01", "9999-12-31 23:59"]
    ),
    st.from_regex(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}", fullmatch=True),
    st.from_regex(r"[0-9]{1,2}:[0-9]{2}", fullmatch=True),
)


@settings(max_examples=150, deadline=None)
@given(changes=st.dictionaries(BLANKS, TEXTS, min_size=1, max_size=6))
def test_whatever_is_written_gives_problems_and_never_an_error(changes):
    visit_keys = {row.key for row in VISIT_PART.rows}
    visit = {key: text for key, text in changes.items() if key[0] in visit_keys}
    gauge = {key: text for key, text in changes.items() if key[0] not in visit_keys}

    made = form_batch([make_stop({**VISIT, **visit}, {**GAUGE, **gauge})], known=KNOWN, today=TODAY)

    if made.batch.problems:
        assert all(problem.expected and problem.file == "form" for problem in made.batch.problems)
    else:
        for name, rows in made.batch.rows.items():
            assert all(set(row.values) == set(TABLES[name].column_names) for row in rows)

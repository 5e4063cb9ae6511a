"""The questions of the audit: the one list from which commands, library and README are made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fleet.domain.audit.attendance import (
    AttemptRow,
    DisconnectedRow,
    attempts,
    left_disconnected,
)
from fleet.domain.audit.due import NeverVerifiedRow, OverdueRow, never_verified, overdue
from fleet.domain.audit.evidence import Ask, Evidence
from fleet.domain.audit.pattern import (
    AdjustedRow,
    TooPerfectRow,
    adjusted_every_time,
    too_perfect,
)
from fleet.domain.audit.switch import SwitchRow, failed_switch
from fleet.domain.audit.tolerance import (
    MissingPhaseRow,
    ToleranceRow,
    missing_phase,
    out_of_tolerance,
)
from fleet.domain.audit.traceability import (
    DeviceRow,
    UnqualifiedRow,
    device_out_of_date,
    unqualified,
)
from fleet.services.audit_summary import ShareRow, summary_rows

VISIT_DAY = "The policy in force on the day of each visit."
AS_OF_DAY = "The policy in force on the day asked about."
NO_POLICY = "None; the question rests on the records alone."
LATEST = (
    "Without --since the latest check that counts of each gauge that is installed on the day "
    "asked about; with --since every check from that day on, also of gauges since removed."
)


@dataclass(frozen=True, slots=True)
class Question:
    """One question: its word, what it asks, what counts, over which time, by which policy.

    ``rule`` gives rows of ``row_type``, whose fields are the columns. ``takes`` names the
    options beyond the dates and the depot: since, phase, least. ``finds`` is False for a
    question whose rows are no faults.
    """

    name: str
    asks: str
    counts: str
    period: str
    policy: str
    row_type: type
    rule: Callable[[Evidence, Ask], Sequence[object]]
    example: str
    takes: frozenset[str] = frozenset()
    finds: bool = True


OVERDUE = Question(
    name="overdue",
    asks="Which gauges are past the day on which their next service was due?",
    counts=(
        "The due day is the last service plus the interval; a gauge is overdue from the day "
        "after. A service cleaned, adjusted or tested the gauge as left; a visit that failed is "
        "none. A gauge never serviced counts from its installation. A day to come may be asked: "
        "what will be overdue if nobody goes."
    ),
    period="Gauges that are installed on the day asked about.",
    policy=AS_OF_DAY,
    row_type=OverdueRow,
    rule=overdue,
    example="overdue --as-of 2026-06-30 --output overdue.xlsx",
)

OUT_OF_TOLERANCE = Question(
    name="out-of-tolerance",
    asks="Which gauges were out of tolerance, as found or as left?",
    counts=(
        "All runs of a phase are judged together; failed and beyond the reject limit count. A "
        "phase without a verdict does not: missing-phase lists it. A later check without the "
        "phase lifts nothing. Each row says when a phase passed again."
    ),
    period=LATEST,
    policy=VISIT_DAY,
    row_type=ToleranceRow,
    rule=out_of_tolerance,
    example="out-of-tolerance --phase as-found --since 2026-01-01 --as-of 2026-06-30",
    takes=frozenset({"since", "phase"}),
)

FAILED_SWITCH = Question(
    name="failed-switch",
    asks="Which switches failed their readings?",
    counts=(
        "No closure, a closed resistance above or an open one below its limit, or manual tips "
        "that were not counted. A reading at the logger has the cable taken off. A switch that "
        "nobody read is not listed, and has not passed."
    ),
    period=LATEST,
    policy=VISIT_DAY,
    row_type=SwitchRow,
    rule=failed_switch,
    example="failed-switch --since 2026-01-01",
    takes=frozenset({"since", "phase"}),
)

NEVER_VERIFIED = Question(
    name="never-verified",
    asks="Which gauges were never tested since they were installed?",
    counts=(
        "No test run as found or as left at this place, on the day of installation or later. "
        "Tests of the same instrument elsewhere do not count."
    ),
    period="Gauges that are installed on the day asked about.",
    policy=AS_OF_DAY,
    row_type=NeverVerifiedRow,
    rule=never_verified,
    example="never-verified --depot TJA",
)

MISSING_PHASE = Question(
    name="missing-phase",
    asks="Which checks have no verdict as found or as left?",
    counts=(
        "A phase that was not measured, has fewer runs than the policy asks for, or lies too "
        "near the edge to tell. Nothing is asked of a visit that only looked, as found on the "
        "day of installation, or as left on the day of removal."
    ),
    period=LATEST,
    policy=VISIT_DAY,
    row_type=MissingPhaseRow,
    rule=missing_phase,
    example="missing-phase --phase as-found",
    takes=frozenset({"since", "phase"}),
)

LEFT_DISCONNECTED = Question(
    name="left-disconnected",
    asks="Which gauges may still be off their logger?",
    counts=(
        "A gauge was isolated or tested and nothing proves that tips reach the logger again, or "
        "the record denies it. "
        "Only a later check that proves it, or the gauge's removal, makes it good; a later check "
        "that says nothing does not."
    ),
    period="Without --since what is not made good; with it every such check from that day on.",
    policy=NO_POLICY,
    row_type=DisconnectedRow,
    rule=left_disconnected,
    example="left-disconnected",
    takes=frozenset({"since"}),
)

ATTEMPTS = Question(
    name="attempts",
    asks="Which visits failed, and were not made good?",
    counts=(
        "A visit not done, or done in part without servicing this gauge. A service on the same "
        "day or later makes it good, and so does the gauge's removal."
    ),
    period="Without --since what is not made good; with it every failed visit from that day on.",
    policy=NO_POLICY,
    row_type=AttemptRow,
    rule=attempts,
    example="attempts --since 2026-01-01",
    takes=frozenset({"since"}),
)

DEVICE_OUT_OF_DATE = Question(
    name="device-out-of-date",
    asks="Which tests used equipment without a certificate in force on the day?",
    counts=(
        "Both days of a certificate are in force. Test runs that name no equipment are listed "
        "too: nothing shows that it was in date. Manual tips need none."
    ),
    period=LATEST,
    policy=NO_POLICY,
    row_type=DeviceRow,
    rule=device_out_of_date,
    example="device-out-of-date --since 2026-01-01",
    takes=frozenset({"since"}),
)

UNQUALIFIED = Question(
    name="unqualified",
    asks="Which checks were made without the skill that the site asks for?",
    counts=(
        "None of those who were there held the skill on the day of the visit. What the site "
        "asks for is what the records say of it now, or said on --known-on."
    ),
    period=LATEST,
    policy=NO_POLICY,
    row_type=UnqualifiedRow,
    rule=unqualified,
    example="unqualified --since 2026-01-01",
    takes=frozenset({"since"}),
)

ADJUSTED_EVERY_TIME = Question(
    name="adjusted-every-time",
    asks="Which instruments are adjusted at every service, and may be unstable?",
    counts=(
        "Adjusted at each of the latest services in a row, 3 or --least, wherever the instrument "
        "stood. A pointer, not a proof; common practice, no published source."
    ),
    period="All services until the day asked about; with --since those from that day on.",
    policy=NO_POLICY,
    row_type=AdjustedRow,
    rule=adjusted_every_time,
    example="adjusted-every-time --least 4",
    takes=frozenset({"since", "least"}),
)

TOO_PERFECT = Question(
    name="too-perfect",
    asks="Which results as found may be too good to be true?",
    counts=(
        "A technician, or a gauge, of which each run as found is within half a tip of the "
        "expected count, over 20 runs of a technician, 8 of a gauge, or --least. A volume that "
        "makes a whole number of tips can give such counts honestly. A pointer, not a proof; "
        "common practice, no published source."
    ),
    period="All runs until the day asked about; with --since those from that day on.",
    policy=NO_POLICY,
    row_type=TooPerfectRow,
    rule=too_perfect,
    example="too-perfect --since 2025-01-01 --least 30",
    takes=frozenset({"since", "least"}),
)

SUMMARY = Question(
    name="summary",
    asks="What share of the gauges is in date, and what share is in tolerance, by depot?",
    counts=(
        "Passed phases among those that passed or failed; undecided and unmeasured ones stand "
        "beside, in neither. The interval is the exact 95 % one of Clopper and Pearson: it reads "
        "the count as a sample of how the work is done. The last rows, under *, are all depots."
    ),
    period=LATEST,
    policy="In date: of the day asked about. In tolerance: of the day of each visit.",
    row_type=ShareRow,
    rule=summary_rows,
    example="summary --as-of 2026-06-30",
    takes=frozenset({"since"}),
    finds=False,
)

QUESTIONS = (
    OVERDUE,
    OUT_OF_TOLERANCE,
    FAILED_SWITCH,
    NEVER_VERIFIED,
    MISSING_PHASE,
    LEFT_DISCONNECTED,
    ATTEMPTS,
    DEVICE_OUT_OF_DATE,
    UNQUALIFIED,
    ADJUSTED_EVERY_TIME,
    TOO_PERFECT,
    SUMMARY,
)


def describe_questions() -> str:
    """Give every question with what it asks and whose policy it uses, as a Markdown table."""
    rows = [f"| `{q.name}` | {q.asks} | {q.policy} |" for q in QUESTIONS]
    return "\n".join(["| Question | What it asks | Policy |", "|---|---|---|", *rows]) + "\n"

"""The questions of the audit: the one list from which commands, library and README are made."""

from __future__ import annotations

from fleet.domain.audit.amendment import AmendmentRow, amendments
from fleet.domain.audit.attendance import (
    AttemptRow,
    DisconnectedRow,
    attempts,
    left_disconnected,
)
from fleet.domain.audit.due import NeverVerifiedRow, OverdueRow, never_verified, overdue
from fleet.domain.audit.exclusion import ExclusionRow, exclusions, suspect_windows
from fleet.domain.audit.pattern import (
    AdjustedRow,
    TooPerfectRow,
    adjusted_every_time,
    perfect_checks,
    too_perfect,
)
from fleet.domain.audit.serial import SerialRow, serial_history
from fleet.domain.audit.share import counted_checks
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
from fleet.services.question import (
    AS_OF_DAY,
    HISTORIES,
    LATEST,
    NO_POLICY,
    VISIT_DAY,
    About,
    Question,
    Use,
)

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
    uses=frozenset({Use.SERVICES}),
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
    takes=frozenset({"depot", "since", "phase"}),
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
    takes=frozenset({"depot", "since", "phase"}),
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
    about=About.NEVER_TESTED,
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
    takes=frozenset({"depot", "since", "phase"}),
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
    about=About.OFF_LOGGER,
    takes=frozenset({"depot", "since"}),
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
    about=About.FAILED_VISIT,
    takes=frozenset({"depot", "since"}),
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
    uses=HISTORIES | {Use.DEVICES},
    takes=frozenset({"depot", "since"}),
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
    takes=frozenset({"depot", "since"}),
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
    takes=frozenset({"depot", "since", "least"}),
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
    backs=perfect_checks,
    example="too-perfect --since 2025-01-01 --least 30",
    takes=frozenset({"depot", "since", "least"}),
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
    backs=counted_checks,
    example="summary --as-of 2026-06-30",
    uses=HISTORIES | {Use.SERVICES, Use.SERVICES_TOLD},
    takes=frozenset({"depot", "since"}),
    finds=False,
)

SUSPECT = Question(
    name="suspect",
    asks="Which stretches of record does a failing check put in doubt?",
    counts=(
        "From the last good check (or the installation) to the next good one: out of tolerance, "
        "switch failing, blocked; and from a check that does not prove the reconnection to one "
        "that does. Rain that the gauge counted itself, and alarms of its neighbours' rain, "
        "shorten a stretch; the whole one stands beside. The suggested codes are this program's "
        "own words: suggestions, with what they rest on."
    ),
    period="All until the day asked about; with --since those that reach that day.",
    policy=VISIT_DAY,
    row_type=ExclusionRow,
    rule=suspect_windows,
    example="suspect --since 2026-01-01 --output suspect.csv",
    takes=frozenset({"depot", "since"}),
    uses=HISTORIES | {Use.TIMES, Use.RAIN},
)

EXCLUSIONS = Question(
    name="exclusions",
    asks="What should a data editor take out of the record, or look at?",
    counts=(
        "What suspect lists, and each visit with a gauge off its logger, or with test tips that "
        "nothing kept out of the record (and how many to expect). Instants are in UTC."
    ),
    period="All until the day asked about; with --since those that reach that day.",
    policy=VISIT_DAY,
    row_type=ExclusionRow,
    rule=exclusions,
    example="exclusions --since 2026-11-01 --output exclusions.csv",
    takes=frozenset({"depot", "since"}),
    uses=HISTORIES | {Use.TIMES, Use.RAIN},
)

SERIAL = Question(
    name="serial",
    asks="Where did an instrument stand, what was found of it, and where was it between?",
    counts=(
        "Every stay at a site, every check in it, and every time away. Status is what the "
        "register says now, or said on --known-on; it has no day of its own."
    ),
    period="All until the day asked about; with --since what was not over before that day.",
    policy=VISIT_DAY,
    row_type=SerialRow,
    rule=serial_history,
    example="serial 000461 S.1207",
    takes=frozenset({"since", "serials"}),
    uses=HISTORIES | {Use.REGISTER},
    finds=False,
)

AMENDED = Question(
    name="amended",
    asks="Which records were changed after they had been written: who, when, why, what?",
    counts=(
        "Every field of every record that a later entry of the ledger replaced, with the old value "
        "and the new; loads that only add are none. Days are those of UTC."
    ),
    period="All until the end of the day asked about; with --since those from that day on.",
    policy=NO_POLICY,
    row_type=AmendmentRow,
    rule=amendments,
    example="amended --since 2026-01-01",
    takes=frozenset({"since"}),
    uses=frozenset({Use.LEDGER}),
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
    SUSPECT,
    EXCLUSIONS,
    SERIAL,
    AMENDED,
    SUMMARY,
)


def describe_questions() -> str:
    """Give every question with what it asks and whose policy it uses, as a Markdown table."""
    rows = [f"| `{q.name}` | {q.asks} | {q.policy} |" for q in QUESTIONS]
    return "\n".join(["| Question | What it asks | Policy |", "|---|---|---|", *rows]) + "\n"

"""Ask the records: what is, or on any past day was, overdue, out of tolerance or unproven.

Every function takes two dates: ``as_of``, the day at whose end the question stands, and
``known_on``, the instant at which the records were as they are to be read.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import BOTH_PHASES, Ask, Evidence
from fleet.domain.code import Phase
from fleet.errors import NotFoundError
from fleet.services import audit_question as questions
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_frame import frame_of
from fleet.services.question import Checks, Question
from fleet.services.trace import checks_behind


@dataclass(frozen=True, slots=True)
class Answer:
    """The rows that a question found, the installed gauges looked at, and the checks behind."""

    frame: pd.DataFrame
    gauges: int
    checks: Checks = frozenset()


def ask_records(
    sessions: sessionmaker[Session],
    question: Question,
    ask: Ask,
    *,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> Answer:
    """Put a question to the records.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    question : Question
        One of `fleet.services.audit_question.QUESTIONS`.
    ask : Ask
        As of which day, since when, of which phases, and how many make a pattern.
    known_on : datetime, optional
        As the records were known then; None is now.
    depot_code : str, optional
        Only gauges of sites of that depot.

    Returns
    -------
    Answer
        Columns are the fields of the question's row, units in their names; text is str, days
        are `datetime.date`, whole numbers that may be missing are Int64. The same columns and
        dtypes when nothing was found. Row order as the rule says.

    Raises
    ------
    NotFoundError
        The depot, or a serial or device that is asked about, is not among those known then.
    ConflictError
        A term of the policy that the question needs was set by no row in force on its day.
    """
    asked = RecordsAsked(known_on, depot_code, question.uses, question.about)
    return answer_from(gather_evidence(sessions, ask, asked=asked), question, ask)


def answer_from(evidence: Evidence, question: Question, ask: Ask) -> Answer:
    """Answer a question from evidence that was gathered for it; see `ask_records`."""
    require_codes(question, ask, evidence)
    rows = question.rule(evidence, ask)
    behind = checks_behind(rows) if question.backs is None else question.backs(evidence, ask)
    frame = frame_of(question.row_type, rows)
    return Answer(frame, evidence.installed, behind)


def require_codes(question: Question, ask: Ask, evidence: Evidence) -> None:
    """Refuse a serial or device that the register does not know, instead of finding nothing."""
    of_devices = "devices" in question.takes
    known = (
        [device.device_code for device in evidence.devices]
        if of_devices
        else [kept.serial for kept in evidence.instruments]
    )
    missing = sorted(set(ask.codes) - set(known))
    if missing:
        kind = "device" if of_devices else "instrument"
        raise NotFoundError(f"There is no {kind} {', '.join(map(repr, missing))} in the register.")


def audit_overdue(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the gauges past their due day, the longest overdue first; see `ask_records`."""
    asked = Ask(as_of)
    return ask_records(
        sessions, questions.OVERDUE, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_out_of_tolerance(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    phase: Phase | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the phases out of tolerance, of both phases or one; see `ask_records`."""
    asked = Ask(as_of, since, BOTH_PHASES if phase is None else (phase,))
    return ask_records(
        sessions, questions.OUT_OF_TOLERANCE, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_failed_switch(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    phase: Phase | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the phases in which the switch failed, of both phases or one; see `ask_records`."""
    asked = Ask(as_of, since, BOTH_PHASES if phase is None else (phase,))
    return ask_records(
        sessions, questions.FAILED_SWITCH, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_never_verified(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the gauges never tested since their installation; see `ask_records`."""
    asked = Ask(as_of)
    return ask_records(
        sessions, questions.NEVER_VERIFIED, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_missing_phase(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    phase: Phase | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the phases without a verdict, of both phases or one; see `ask_records`."""
    asked = Ask(as_of, since, BOTH_PHASES if phase is None else (phase,))
    return ask_records(
        sessions, questions.MISSING_PHASE, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_left_disconnected(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the gauges whose reconnection is not proven; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.LEFT_DISCONNECTED, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_attempts(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the visits that failed and were not made good; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.ATTEMPTS, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_device_out_of_date(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List test equipment used without a certificate in force that day; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.DEVICE_OUT_OF_DATE, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_unqualified(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List checks made without the skill that the site asks for; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.UNQUALIFIED, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_adjusted_every_time(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    least: int | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the instruments adjusted at each of their latest services; see `ask_records`."""
    asked = Ask(as_of, since, least=least)
    return ask_records(
        sessions, questions.ADJUSTED_EVERY_TIME, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_too_perfect(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    least: int | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the technicians whose counts are all the nearest to the expected; see `ask_records`."""
    asked = Ask(as_of, since, least=least)
    return ask_records(
        sessions, questions.TOO_PERFECT, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_summary(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """Give the shares in date and in tolerance by depot; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.SUMMARY, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_suspect(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List the stretches of record that a failing check puts in doubt; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.SUSPECT, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_exclusions(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
    depot_code: str | None = None,
) -> pd.DataFrame:
    """List what a data editor should take out or look at; see `ask_records`."""
    asked = Ask(as_of, since)
    return ask_records(
        sessions, questions.EXCLUSIONS, asked, known_on=known_on, depot_code=depot_code
    ).frame


def audit_serial(
    sessions: sessionmaker[Session],
    *serials: str,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
) -> pd.DataFrame:
    """Tell the life of instruments, of all where none is named; see `ask_records`."""
    asked = Ask(as_of, since, codes=serials)
    return ask_records(sessions, questions.SERIAL, asked, known_on=known_on).frame


def audit_amended(
    sessions: sessionmaker[Session],
    *,
    as_of: date,
    since: date | None = None,
    known_on: datetime | None = None,
) -> pd.DataFrame:
    """List every change of a record: who, when, why, old and new; see `ask_records`."""
    return ask_records(sessions, questions.AMENDED, Ask(as_of, since), known_on=known_on).frame

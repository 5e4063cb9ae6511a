"""Gather an evidence pack: questions, the records behind them, drawings, hashes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.errors import NotFoundError
from fleet.reports.pack_pdf import Pack, PackFile, PackSection
from fleet.reports.table import render_text
from fleet.reports.wording import counted
from fleet.services.audit import Answer, answer_from
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_question import OUT_OF_TOLERANCE, QUESTIONS, SERIAL
from fleet.services.equipment_question import DUE
from fleet.services.pack_chart import Chart, gauge_chart, in_date_chart
from fleet.services.pack_manifest import PackIdentity, fleet_version, ledger_head, manifest_file
from fleet.services.question import HISTORIES, Question, Use
from fleet.services.ranking import rank_network
from fleet.services.trace import trace_frame
from fleet.stats.gauge_forecast import GaugeForecast

PACK_QUESTIONS = (*(question for question in QUESTIONS if question is not SERIAL), DUE)
"""What may be asked in a pack; the lives of the gauges drawn come by themselves."""

ROWS_ON_PAPER = 150
"""Longer answers are cut on the page; the file inside has every row."""

GAUGES_DRAWN = 4
"""How many gauges are drawn where none is named: those out of tolerance, the farthest first."""


@dataclass(frozen=True, slots=True)
class PackOrder:
    """What a pack is to hold; no question named is every one, no gauge the farthest out.

    ``command`` is printed as what made the pack.
    """

    as_of: date
    title: str
    command: str
    since: date | None = None
    known_on: datetime | None = None
    depot_code: str | None = None
    questions: tuple[Question, ...] = PACK_QUESTIONS
    serials: tuple[str, ...] = ()


def gather_pack(sessions: sessionmaker[Session], order: PackOrder) -> Pack:
    """Gather everything that goes into a pack.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head; only read from.
    order : PackOrder
        What is to be in it.

    Returns
    -------
    Pack
        The same for the same records, order and version, whenever and wherever it is made.

    Raises
    ------
    NotFoundError
        The depot is not among those known then, or a gauge never stood anywhere.
    ConflictError
        A term of the policy was set by no row in force on its day.
    """
    ask = Ask(order.as_of, order.since)
    head = ledger_head(sessions, known_on=order.known_on, as_of=order.as_of)
    known_on = order.known_on or head.at  # what is written meanwhile is not seen
    uses = HISTORIES | {Use.REGISTER}.union(*(question.uses for question in order.questions))
    asked = RecordsAsked(known_on, order.depot_code, uses)
    evidence = gather_evidence(sessions, ask, asked=asked)
    answers = {
        question: answer_from(evidence, question, _ask_for(question, ask))
        for question in order.questions
    }
    gauges = _gauges(evidence, order, answers)
    pinned = replace(order, known_on=known_on)
    charts = list(_charts(sessions, evidence, pinned, gauges))
    checks = frozenset(check for answer in answers.values() for check in answer.checks)
    behind = trace_frame(sessions, checks, known_on=known_on)
    files = list(_files(answers, charts, _life(evidence, gauges, ask), behind))
    identity = PackIdentity(
        title=order.title,
        as_of=order.as_of,
        since=order.since,
        known_on=order.known_on,
        depot_code=order.depot_code,
        command=order.command,
        head=head,
        version=fleet_version(),
    )
    return _pack(identity, answers, charts, [*files, manifest_file(identity, files)])


def _ask_for(question: Question, ask: Ask) -> Ask:
    return ask if "since" in question.takes else replace(ask, since=None)


def _gauges(
    evidence: Evidence, order: PackOrder, answers: Mapping[Question, Answer]
) -> list[AuditedGauge]:
    """Give the last stay of each gauge that is to be drawn."""
    last = {
        audited.gauge.serial: audited
        for audited in sorted(evidence.gauges, key=lambda one: one.gauge.installed_on)
    }
    missing = [serial for serial in order.serials if serial not in last]
    if missing:
        named = ", ".join(map(repr, missing))
        raise NotFoundError(f"No gauge {named} stood anywhere by {order.as_of}.")
    if order.serials:
        return [last[serial] for serial in dict.fromkeys(order.serials)]
    if OUT_OF_TOLERANCE not in answers:
        return []
    frame = answers[OUT_OF_TOLERANCE].frame
    far = frame.assign(far=frame.error_percent.abs()).sort_values(
        ["far", "serial"], ascending=[False, True], kind="stable"
    )
    return [last[serial] for serial in far.serial.drop_duplicates().head(GAUGES_DRAWN)]


def _charts(
    sessions: sessionmaker[Session],
    evidence: Evidence,
    order: PackOrder,
    gauges: Sequence[AuditedGauge],
) -> Iterator[tuple[str, Chart]]:
    """Give each chart with the name of its file."""
    yield "in-date", in_date_chart(evidence, as_of=order.as_of, since=order.since)
    forecasts = _forecasts(sessions, order, gauges) if gauges else {}
    for number, gauge in enumerate(gauges, start=1):
        forecast = forecasts.get(gauge.gauge.installation_id)
        chart = gauge_chart(evidence, gauge, forecast, as_of=order.as_of)
        yield f"gauge-{number}", chart


def _forecasts(
    sessions: sessionmaker[Session], order: PackOrder, gauges: Sequence[AuditedGauge]
) -> dict[int, GaugeForecast]:
    ranked = rank_network(sessions, as_of=order.as_of, known_on=order.known_on)
    shown = ranked.of_serials([audited.gauge.serial for audited in gauges])
    return {one.state.gauge.installation_id: one.forecast for one in shown}


def _life(evidence: Evidence, gauges: Sequence[AuditedGauge], ask: Ask) -> pd.DataFrame:
    serials = tuple(gauge.gauge.serial for gauge in gauges)
    if not serials:
        return answer_from(replace(evidence, instruments=()), SERIAL, ask).frame
    return answer_from(evidence, SERIAL, replace(ask, since=None, codes=serials)).frame


def _files(
    answers: Mapping[Question, Answer],
    charts: Sequence[tuple[str, Chart]],
    life: pd.DataFrame,
    behind: pd.DataFrame,
) -> Iterator[PackFile]:
    for question, answer in answers.items():
        yield _table_file(_file_name(question), answer.frame, question.asks)
    for name, chart in charts:
        yield _table_file(f"{name}.csv", chart.frame, f"drawn: {chart.figure.title}")
    yield _table_file("lives.csv", life, "the lives of the gauges drawn")
    yield _table_file("records.csv", behind, "the records behind every answer")


def _file_name(question: Question) -> str:
    return f"{question.noun}-{question.name}.csv"


def _table_file(name: str, frame: pd.DataFrame, what: str) -> PackFile:
    return PackFile(name, render_text(frame, "csv"), what, len(frame))


def _pack(
    identity: PackIdentity,
    answers: Mapping[Question, Answer],
    charts: Sequence[tuple[str, Chart]],
    files: Sequence[PackFile],
) -> Pack:
    figures = [chart.figure for _, chart in charts if chart.figure.drawings]
    return Pack(
        title=identity.title,
        description=f"Evidence from the maintenance records as of {identity.as_of}",
        identity=f"{identity.title}, as of {identity.as_of}, ledger entry {identity.head.entry_id}",
        made_at=identity.head.at,
        facts=tuple(_facts(identity, answers)),
        asked=tuple(
            (question.asks, counted(len(answer.frame), "row"), _file_name(question))
            for question, answer in answers.items()
        ),
        notes=_NOTES,
        figures=tuple(figures),
        sections=tuple(_section(question, answer) for question, answer in answers.items()),
        files=tuple(files),
    )


_NOTES = (
    "Nothing after the day asked about is seen: gauges, visits, certificates, skills and policy "
    "are those of their days.",
    "Not measured is never passed. One tip's share of a test is printed where a figure rests on "
    "few tips.",
    "Tolerances and limits are rows of the network's own policy. None of them is a standard's "
    "unless its basis, printed with it, says so.",
    "Suggested codes are this program's own words: the data editor decides.",
    "The page shows which gauge, which visit and a sentence; every figure stands in the files "
    "inside, and records.csv holds each run, reading and finding behind the answers with its "
    "equipment, certificate, people and ledger entry.",
    "The same records, dates, questions and version give the same document, byte for byte. The "
    "date of the document is that of the newest ledger entry that it rests on.",
)


def _facts(identity: PackIdentity, answers: Mapping[Question, Answer]) -> Iterator[tuple[str, str]]:
    gauges = max((answer.gauges for answer in answers.values()), default=0)
    known = "now, at the ledger entry below"
    if identity.known_on is not None:
        known = identity.known_on.astimezone(UTC).isoformat(timespec="seconds")
    yield "as of the end of", identity.as_of.isoformat()
    yield "known on", known
    since = "the latest only, where a question may ask since a day"
    yield "since", since if identity.since is None else identity.since.isoformat()
    yield "depot", identity.depot_code or "all"
    yield "gauges installed", str(gauges)
    yield "newest ledger entry", f"{identity.head.entry_id} of {identity.head.at.isoformat()}"
    yield "its hash", identity.head.hash or "none yet"
    yield "version", f"fleet {identity.version}"
    yield "command", identity.command


def _section(question: Question, answer: Answer) -> PackSection:
    rows = answer.frame.to_dict("records")
    shown = tuple(_page_row(row) for row in rows[:ROWS_ON_PAPER])
    hidden = len(rows) - len(shown)
    more = f"{hidden} more in {_file_name(question)}, inside this document." if hidden else ""
    facts = (
        ("counts", question.counts),
        ("time", question.period),
        ("policy", question.policy),
        ("file", _file_name(question)),
    )
    found = f"{counted(len(rows), 'row')}." if rows else "Nothing was found."
    return PackSection(question.asks, facts, found, shown, more)


def _page_row(row: Mapping[Any, Any]) -> tuple[str, str, str]:
    """Give a row for the page: which gauge or device, which visit and who, and the sentence."""
    place = _joined(row, ("site_code", "position"), " ")
    plain = ("serial", "device_code", "measure", "record", "key")
    head = [place or _cell(row, "depot_code"), _joined(row, plain, "\n")]
    visit = ("visit_ref", "visited_on", "technicians", "last_service_ref", "changed_at")
    return (
        "\n".join(part for part in head if part),
        _joined(row, visit, "\n"),
        _span_words(row) + _cell(row, "sentence"),
    )


def _joined(row: Mapping[Any, Any], names: Sequence[str], between: str) -> str:
    return between.join(cell for name in names if (cell := _cell(row, name)))


def _span_words(row: Mapping[Any, Any]) -> str:
    """Say from when until when a stretch of record is in doubt, where the row is about one."""
    since, until = row.get("from_at"), row.get("until_at")
    if since is None:
        return ""
    end = "until now" if until is None else f"until {until:%Y-%m-%d %H:%M}"
    code = str(row["suggested_code"]).replace("_", " ")
    return f"From {since:%Y-%m-%d %H:%M} {end} (UTC); suggested: {code}. "


def _cell(row: Mapping[Any, Any], name: str) -> str:
    value = row.get(name)
    return "" if value is None or pd.isna(value) else str(value)

"""From filled-in visit forms to a batch, checked as input tables are; problems name the cell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from fleet.domain.visit_form import GAUGE_ROWS, VISIT_ROWS
from fleet.errors import Problem
from fleet.ingest.batch import Batch, check_drafts
from fleet.ingest.draft import read_draft
from fleet.ingest.file_log import FileLog
from fleet.ingest.form_answer import Answer, StopAnswers
from fleet.ingest.form_row import FormRecord, StopRecords, stop_records
from fleet.ingest.known import KnownCodes, KnownSource
from fleet.ingest.tables.visit import (
    FINDINGS,
    GAUGE_CHECKS,
    SWITCH_READINGS,
    TIP_RUNS,
    VISITS,
)

VISIT_TABLES = (VISITS, GAUGE_CHECKS, TIP_RUNS, SWITCH_READINGS, FINDINGS)
Records = Mapping[str, Sequence[FormRecord]]


@dataclass(frozen=True, slots=True)
class FormBatch:
    """A batch of visits and what was passed over: sheets, and gauges of a visit, in words."""

    batch: Batch
    visit_refs: tuple[str, ...]
    notes: tuple[str, ...]


def form_batch(
    stops: Iterable[StopAnswers],
    *,
    known: KnownSource,
    today: date,
    problems: Iterable[Problem] = (),
) -> FormBatch:
    """Check the answers of some stops.

    Parameters
    ----------
    stops : iterable of StopAnswers
        Untouched ones are passed over and said.
    known : callable
        Gives what the records hold already.
    today : date
        The day of loading; visits after it are problems.
    problems : iterable of Problem
        Found already while the answers were read.

    Returns
    -------
    FormBatch
        Each visit whole. Problems name sheet, row and cell.
    """
    made: dict[str, StopRecords] = {}
    found, notes = [*problems], []
    for stop in stops:
        if not stop.touched(VISIT_ROWS, GAUGE_ROWS):
            notes.append(f"{stop.source}: nothing filled in, passed over.")
            continue
        records = stop_records(stop, today=today)
        found += records.problems
        notes += [
            f"{stop.source}: nothing filled in about gauge {serial}, no check recorded."
            for serial in records.unchecked
        ]
        if records.visit_ref in made:
            found.append(_twice(stop, made[records.visit_ref], records.visit_ref))
        else:
            made[records.visit_ref] = records
    batch = _check(list(made.values()), known=_without(known(made.keys()), made), today=today)
    batch.problems = _in_order([*found, *_unsaid(found, batch.problems)])
    return FormBatch(batch, tuple(made), tuple(notes))


def _twice(stop: StopAnswers, first: StopRecords, visit_ref: str) -> Problem:
    other = first.records[0].source
    expected = f"the same visit stands in {other}; each may stand there once"
    return Problem(stop.source, None, None, visit_ref, expected)


def _without(known: KnownCodes, visit_refs: Iterable[str]) -> KnownCodes:
    """Leave out the known parts of visits that are given whole."""
    whole = set(visit_refs)
    keys = {
        table: frozenset(key for key in kept if key[0] not in whole)
        if table in (GAUGE_CHECKS.name, TIP_RUNS.name)
        else kept
        for table, kept in known.keys.items()
    }
    return replace(known, keys=keys)


def _check(made: Sequence[StopRecords], *, known: KnownCodes, today: date) -> Batch:
    records: dict[str, list[FormRecord]] = {table.name: [] for table in VISIT_TABLES}
    for stop in made:
        for record in stop.records:
            records[record.table].append(record)
    drafts = []
    for table in VISIT_TABLES:
        rows = [
            (number, {name: record.cells.get(name, "") for name in table.column_names})
            for number, record in enumerate(records[table.name])
        ]
        drafts.append(read_draft(table, rows, FileLog(table.name), today=today))
    batch = check_drafts(drafts, known=known)
    batch.problems = [told for p in batch.problems if (told := _in_cell(p, records)) is not None]
    return batch


def _in_cell(problem: Problem, records: Records) -> Problem | None:
    """Tell a problem by the cell of the form; None for what only follows from another one."""
    record = records[problem.file][problem.row or 0]
    answer = _answer(problem, record)
    if answer is None:
        return _of_row(problem, record)
    if answer.text and not record.cells.get(problem.column or ""):
        return None
    return answer.problem(problem.expected)


def _of_row(problem: Problem, record: FormRecord) -> Problem | None:
    """Tell a problem of what the form itself gives, once and not with every row that has it."""
    first_told = {"visit_ref": VISITS.name, "serial": GAUGE_CHECKS.name}
    if first_told.get(problem.column or "", record.table) != record.table:
        return None
    row = next(iter(record.places.values())).row if record.table == TIP_RUNS.name else None
    return replace(problem, file=record.source, row=row, value=problem.value or None)


def _answer(problem: Problem, record: FormRecord) -> Answer | None:
    names = (problem.column or "").split(", ")
    return next((record.places[name] for name in names if name in record.places), None)


def _unsaid(said: Iterable[Problem], problems: Iterable[Problem]) -> list[Problem]:
    """Leave out problems of cells about which something was said already."""
    cells = {(p.file, p.row, p.column) for p in said}
    return [p for p in problems if (p.file, p.row, p.column) not in cells]


def _in_order(problems: Sequence[Problem]) -> list[Problem]:
    """Sort by sheet, in order of first mention, and row."""
    sheets = {name: number for number, name in enumerate(dict.fromkeys(p.file for p in problems))}
    return sorted(problems, key=lambda p: (sheets[p.file], p.row or 0))

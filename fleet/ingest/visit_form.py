"""Read a filled-in visit form: every blank by the key of its row, never by its look."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fleet.domain.visit_form import (
    CLOCK_KEY,
    FIRST_BLANK_COLUMN,
    FORM_KEY,
    GAUGE_KEY,
    GAUGE_ROWS,
    KEY_COLUMN,
    SITE_KEY,
    VISIT_KEY,
    VISIT_ROWS,
    FormRow,
)
from fleet.errors import Problem
from fleet.ingest.cell import CellError
from fleet.ingest.form_answer import Answer, BlankPlace, GaugeAnswers, StopAnswers
from fleet.ingest.native_cell import blank_text
from fleet.ingest.parse_text import parse_time_zone
from fleet.ingest.workbook import WorkbookError, open_workbook

WORKBOOK_ENDINGS = (".xlsx", ".xlsm")
"""Other kinds of workbook are refused as input tables are: what a cell of them lost would not show.
"""

_FORM_WORD = FORM_KEY.split()[0]
_UNCHANGED = "take an unchanged form and fill it in anew"


@dataclass(slots=True)
class FilledForm:
    """The stops of a form in order; ``foreign`` are sheets that no form has, passed over."""

    stops: list[StopAnswers] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


@dataclass(slots=True)
class _Sheet:
    """A sheet being read: where it is, its rows by key, and what is wrong with it."""

    source: str
    rows: dict[str, tuple[int, Sequence[Any]]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def complain(self, row: int | None, value: str | None, expected: str) -> None:
        self.problems.append(Problem(self.source, row, "A" if row else None, value, expected))


def is_visit_form(path: Path) -> bool:
    """Tell whether a file is a workbook with the mark of a visit form, of whatever version."""
    if path.suffix.lower() not in WORKBOOK_ENDINGS or not path.is_file():
        return False
    try:
        return any(_mark(rows).startswith(_FORM_WORD) for _, rows in _sheets(path))
    except WorkbookError:
        return False


def read_visit_form(path: Path) -> FilledForm:
    """Read a filled-in form.

    Parameters
    ----------
    path : Path
        A workbook for which `is_visit_form` holds.

    Returns
    -------
    FilledForm
        Every stop whose keys are whole, touched or not, with every blank; problems where keys
        are missing, unknown or doubled.
    """
    form = FilledForm()
    for name, rows in _sheets(path):
        mark = _mark(rows)
        if not mark.startswith(_FORM_WORD):
            form.foreign.append(name)
            continue
        sheet = _Sheet(f"{path.name} sheet {name!r}")
        if mark != FORM_KEY:
            sheet.complain(1, mark, f"{FORM_KEY!r} is expected; make a new form with this version")
        else:
            _index(sheet, rows)
            stop = _stop(sheet)
            if not sheet.problems:
                form.stops.append(stop)
        form.problems += sheet.problems
    return form


def _sheets(path: Path) -> Iterable[tuple[str, list[list[object]]]]:
    book = open_workbook(path)
    for name in book.sheets:
        yield name, [cells for _, cells in book.numbered_rows(name)]


def _mark(rows: Sequence[Sequence[Any]]) -> str:
    return str(rows[0][KEY_COLUMN]) if rows and rows[0] else ""


def _index(sheet: _Sheet, rows: Sequence[Sequence[Any]]) -> None:
    for number, row in enumerate(rows[1:], start=2):
        key = str(row[KEY_COLUMN]) if row else ""
        if not key:
            continue
        if key in sheet.rows:
            sheet.complain(number, key, f"this row stands twice; {_UNCHANGED}")
        sheet.rows[key] = (number, row)


def _stop(sheet: _Sheet) -> StopAnswers:
    stop = StopAnswers(sheet.source, _head(sheet, SITE_KEY), _head(sheet, CLOCK_KEY))
    stop.visit = _answers(sheet, VISIT_KEY, VISIT_ROWS)
    serials = dict.fromkeys(
        key.split("|")[1] for key in sheet.rows if key.startswith(f"{GAUGE_KEY}|")
    )
    for serial in serials:
        answers = _answers(sheet, f"{GAUGE_KEY}|{serial}", GAUGE_ROWS)
        stop.gauges.append(GaugeAnswers(serial, answers))
    _check_zone(sheet, stop.time_zone)
    for key, (number, _) in sheet.rows.items():
        sheet.complain(number, key, f"this row is not part of a form; {_UNCHANGED}")
    return stop


def _check_zone(sheet: _Sheet, name: str) -> None:
    try:
        parse_time_zone(name)
    except CellError as error:
        sheet.complain(None, name, f"{error}; {_UNCHANGED}")


def _head(sheet: _Sheet, word: str) -> str:
    found = [key for key in sheet.rows if key.startswith(f"{word}|")]
    if not found:
        sheet.complain(None, None, f"the row of the {word} is missing; {_UNCHANGED}")
        return ""
    del sheet.rows[found[0]]
    return found[0].partition("|")[2]


def _answers(
    sheet: _Sheet, owner: str, questions: Mapping[str, FormRow]
) -> dict[BlankPlace, Answer]:
    """Take the rows of one owner out of the sheet, and give what their blanks hold."""
    answers: dict[BlankPlace, Answer] = {}
    for key, question in questions.items():
        number, row = sheet.rows.pop(f"{owner}|{key}", (None, ()))
        if number is None:
            label = f"the row {question.label!r} of {owner.replace('|', ' ')} is missing"
            sheet.complain(None, None, f"{label}; {_UNCHANGED}")
            continue
        for place, blank in enumerate(question.blanks, start=FIRST_BLANK_COLUMN):
            text, fault = blank_text(row[place] if place < len(row) else None, blank.kind)
            column = f"{chr(ord('A') + place)} ({_asked(question, blank.label)})"
            answers[key, blank.key] = Answer(text, sheet.source, number, column, fault)
    return answers


def _asked(question: FormRow, label: str) -> str:
    return label if label == question.label else f"{question.label}, {label}"

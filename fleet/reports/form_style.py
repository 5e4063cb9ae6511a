"""The looks of a visit form's workbook, and the lists that its blanks are filled in from.

What is to be filled in has a border and is the only thing that can be changed; colour only
repeats what border and words say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from xlsxwriter.utility import xl_range_abs

from fleet.domain.visit_form import OVER, Blank, BlankKind, shown
from fleet.reports.wording import figure

LISTS_SHEET = "lists"
LAST_COLUMN = 7
"""Column H: what the workbook itself works out."""

_INPUT = {"locked": False, "border": 1, "bg_color": "#FFFBE6", "valign": "vcenter"}
_CELL_FORMATS = {
    BlankKind.DAY: "yyyy-mm-dd",
    BlankKind.CLOCK: "hh:mm",
    BlankKind.WORD: "@",
    BlankKind.YES_NO: "@",
    BlankKind.CODE: "@",
    BlankKind.NUMBER: "General",
    BlankKind.COUNT: "0",
    BlankKind.OHM: "General",
    BlankKind.TEXT: "@",
}


@dataclass(frozen=True, slots=True)
class Style:
    """The formats of one workbook."""

    title: Any
    head: Any
    part: Any
    label: Any
    text: Any
    strong: Any
    result: Any
    blanks: Mapping[BlankKind, Any]


def make_style(book: Any) -> Style:
    """Add the formats to a workbook."""
    wrap = {"text_wrap": True, "valign": "vcenter"}
    return Style(
        title=book.add_format({"bold": True, "font_size": 16}),
        head=book.add_format({"bold": True, "bottom": 1, **wrap}),
        part=book.add_format({"bold": True, "top": 2, "font_size": 12, "valign": "vcenter"}),
        label=book.add_format(wrap),
        text=book.add_format({"text_wrap": True, "valign": "top"}),
        strong=book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
        result=book.add_format({"italic": True, "num_format": '+0.0 "%";-0.0 "%"'}),
        blanks={
            kind: book.add_format({**_INPUT, "num_format": form, "text_wrap": kind == "text"})
            for kind, form in _CELL_FORMATS.items()
        },
    )


class Lists:
    """The word and code lists of one workbook, each in a column of one hidden sheet.

    Parameters
    ----------
    book : Workbook
        Gets the sheet; add it after the sheets that people see.
    codes : mapping
        Name of each list of codes to the codes.
    """

    def __init__(self, book: Any, codes: Mapping[str, Sequence[str]]) -> None:
        self._sheet = book.add_worksheet(LISTS_SHEET)
        self._sheet.hide()
        self._sheet.protect()
        self._codes = codes
        self._ranges: dict[tuple[str, ...], str] = {}

    def options(self, blank: Blank) -> Sequence[str]:
        """Give what may be chosen for a blank, as it is shown; nothing where it is free."""
        if blank.kind is BlankKind.YES_NO:
            return ("yes", "no")
        if blank.words is not None:
            return tuple(shown(word.value) for word in blank.words)
        return self._codes.get(blank.codes, ())

    def range_of(self, options: Sequence[str]) -> str:
        """Write a list where it does not stand yet, and give the cells that hold it."""
        key = tuple(options)
        if key not in self._ranges:
            column = len(self._ranges)
            for row, option in enumerate(key):
                self._sheet.write_string(row, column, option)
            cells = xl_range_abs(0, column, len(key) - 1, column)
            self._ranges[key] = f"={LISTS_SHEET}!{cells}"
        return self._ranges[key]


def validation_of(blank: Blank, lists: Lists, cell: str) -> dict[str, Any] | None:
    """Give the rule that a spreadsheet holds a blank to, None where anything may stand.

    Parameters
    ----------
    blank : Blank
        Question.
    lists : Lists
        Of the workbook.
    cell : str
        Its address, such as ``C7``.
    """
    told = {"error_title": "Not what this cell expects", "error_message": f"Expected: {blank.kind}"}
    options = lists.options(blank)
    if options:
        closed = blank.kind is not BlankKind.CODE
        rule = {"validate": "list", "source": lists.range_of(options)}
        return {**rule, **told, "error_type": "stop" if closed else "warning"}
    if blank.kind is BlankKind.DAY:
        first = {"validate": "date", "criteria": ">=", "value": date(1950, 1, 1)}
        return {**first, **told, "error_type": "warning"}
    if blank.kind is BlankKind.CLOCK:
        span = {"criteria": "between", "minimum": time(0, 0), "maximum": time(23, 59, 59)}
        return {"validate": "time", **span, **told, "error_type": "warning"}
    return _number_rule(blank, cell, told)


def _number_rule(blank: Blank, cell: str, told: Mapping[str, str]) -> dict[str, Any] | None:
    if blank.low is None or blank.high is None:
        return None
    if blank.kind is BlankKind.OHM:
        number = f"AND(ISNUMBER({cell}),{cell}>={blank.low:g},{cell}<={blank.high:.0f})"
        return {"validate": "custom", "value": f'=OR({number},{cell}="{OVER}")', **told}
    span = {"criteria": "between", "minimum": blank.low, "maximum": blank.high}
    message = f"Expected: {blank.kind} from {figure(blank.low)} to {figure(blank.high)}"
    whole = "integer" if blank.kind is BlankKind.COUNT else "decimal"
    return {"validate": whole, **span, **told, "error_message": message}

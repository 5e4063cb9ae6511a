"""The visit form as a workbook to fill in without reception: a cover, and a sheet a stop."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from datetime import datetime, time
from pathlib import Path

import xlsxwriter

from fleet.domain.form_sheet import VisitForm
from fleet.domain.visit_form import TECHNICIANS
from fleet.reports.form_cover import write_cover
from fleet.reports.form_page import Page, write_page
from fleet.reports.form_style import Lists, make_style
from fleet.reports.table import write_whole

_LONGEST_SHEET_NAME = 31


def write_visit_form(form: VisitForm, path: Path) -> None:
    """Write a form to a file, whole or not at all.

    Parameters
    ----------
    form : VisitForm
        At least one sheet.
    path : Path
        Replaced when it exists.
    """
    write_whole(path, render_visit_form(form))


def render_visit_form(form: VisitForm) -> bytes:
    """Give a form as a workbook; the same form gives the same bytes.

    Parameters
    ----------
    form : VisitForm
        At least one sheet.

    Returns
    -------
    bytes
        An Office Open XML workbook: ``read me``, one sheet a stop in order, and a hidden sheet
        of word lists. Nothing but the blanks can be changed, without a password.
    """
    buffer = io.BytesIO()
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "in_memory": True,
        "default_format_properties": {"font_name": "Arial", "font_size": 10},
    }
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"created": datetime.combine(form.made_on, time(0))})
    style = make_style(book)
    write_cover(book.add_worksheet("read me"), style, form)
    names = sheet_names([sheet.site_code for sheet in form.sheets])
    sheets = [book.add_worksheet(name) for name in names]
    lists = Lists(book, _codes(form))
    for sheet, stop in zip(sheets, form.sheets, strict=True):
        write_page(Page(sheet, style, lists), stop)
    if len(sheets) == 1:
        sheets[0].activate()
    book.close()
    return buffer.getvalue()


def sheet_names(site_codes: Sequence[str]) -> list[str]:
    """Give a sheet name for each stop: its number and site code, as far as sheets allow.

    Examples
    --------
    >>> sheet_names(["S01", "north/2"])
    ['1 S01', '2 north-2']
    """
    return [
        f"{number} {re.sub(r'[^A-Za-z0-9._-]', '-', code)}"[:_LONGEST_SHEET_NAME]
        for number, code in enumerate(site_codes, start=1)
    ]


def _codes(form: VisitForm) -> Mapping[str, Sequence[str]]:
    codes: dict[str, list[str]] = {TECHNICIANS: [code for code, _ in form.technicians]}
    for device in form.devices:
        codes.setdefault(device.kind, []).append(device.code)
    return codes

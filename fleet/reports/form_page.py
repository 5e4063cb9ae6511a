"""One stop of a visit form: what to know above, the questions below, each with its key."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from xlsxwriter.utility import xl_rowcol_to_cell

from fleet.domain.check import TipBand
from fleet.domain.code import Phase
from fleet.domain.form_sheet import FormGauge, FormSheet, PhaseTerms
from fleet.domain.visit_form import (
    CLOCK_KEY,
    FIRST_BLANK_COLUMN,
    FORM_KEY,
    GAUGE_KEY,
    GAUGE_PARTS,
    KEY_COLUMN,
    LABEL_COLUMN,
    NOMINAL_VOLUME,
    SITE_KEY,
    VISIT_KEY,
    VISIT_PART,
    Blank,
    BlankKind,
    FormPart,
    FormRow,
    key_text,
    shown,
)
from fleet.reports.form_live import write_errors, write_guide
from fleet.reports.form_style import LAST_COLUMN, Lists, Style, validation_of
from fleet.reports.wording import day_words, figure, plain_text

_WIDTHS = (32, 15, 15, 15, 15, 15, 20)
_LINE_CHARACTERS = 120
"""Characters of a line that runs over the whole page; more need a higher row."""

_TITLE_CHARACTERS = 75
_LINE_HEIGHT, _TITLE_HEIGHT, _BLANK_HEIGHT = 14.0, 22.0, 18.0
"""In points."""


@dataclass(slots=True)
class Page:
    """A worksheet that is written from the top; ``row`` is the next one, from 0."""

    sheet: Any
    style: Style
    lists: Lists
    row: int = 0


def write_page(page: Page, stop: FormSheet) -> None:
    """Write one stop.

    Parameters
    ----------
    page : Page
        An empty worksheet.
    stop : FormSheet
        The site and its gauges.
    """
    _prepare(page, stop)
    _write_head(page, stop)
    _write_part(page, VISIT_PART, (VISIT_KEY,), None)
    breaks = []
    for gauge in stop.gauges:
        page.row += 1
        breaks.append(page.row)
        _write_gauge(page, gauge)
    page.sheet.set_h_pagebreaks(breaks[1:])
    page.sheet.print_area(0, LABEL_COLUMN, page.row, LAST_COLUMN)


def _prepare(page: Page, stop: FormSheet) -> None:
    sheet = page.sheet
    sheet.set_column(KEY_COLUMN, KEY_COLUMN, None, None, {"hidden": True})
    for column, width in enumerate(_WIDTHS, start=LABEL_COLUMN):
        sheet.set_column(column, column, width)
    sheet.set_paper(9)
    sheet.set_portrait()
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.5, right=0.4, top=0.6, bottom=0.6)
    running = plain_text(f"{stop.site_code} {stop.site_name}").replace("&", "&&")[:120]
    sheet.set_footer(f"&L{running}&RPage &P of &N")
    allowed = {"format_columns": True, "format_rows": True}
    sheet.protect("", allowed)


def _write_head(page: Page, stop: FormSheet) -> None:
    _put(page, f"{stop.site_code}  {stop.site_name}", key=FORM_KEY, form=page.style.title)
    planned = "" if stop.planned_on is None else f"Planned for {day_words(stop.planned_on)}. "
    clock = f"{planned}All times by the local clock of {stop.time_zone}."
    _put(page, clock, key=key_text(SITE_KEY, stop.site_code))
    _put(page, "Fill in the framed cells; leave empty what was not done.", key=_clock_key(stop))
    hazards = plain_text(stop.hazards) or "none on record; look for yourself before you start"
    _put(page, f"HAZARDS: {hazards}", form=page.style.strong)
    if stop.access_notes:
        _put(page, f"Access: {stop.access_notes}")
    for follow_up in stop.follow_ups:
        _put(page, f"To mend: {follow_up}")


def _clock_key(stop: FormSheet) -> str:
    return key_text(CLOCK_KEY, stop.time_zone)


def _write_gauge(page: Page, gauge: FormGauge) -> None:
    _put(page, f"Gauge {gauge.serial}  {gauge.type_code}, {gauge.position}", form=page.style.title)
    for line in _gauge_lines(gauge):
        _put(page, line)
    for part in GAUGE_PARTS:
        _write_part(page, part, (GAUGE_KEY, gauge.serial), gauge)
        terms = _terms_of(part, gauge)
        if terms is not None:
            first = page.row - len(part.rows)
            write_errors(page.sheet, page.style, (first, page.row), gauge.tip_ml)
            write_guide(page.sheet, page.style, (first, page.row), (gauge.tip_ml, terms))
            page.row += 1


def _gauge_lines(gauge: FormGauge) -> Iterable[str]:
    yield (
        f"Bucket {figure(gauge.bucket_mm, digits=3)} mm, "
        f"{figure(gauge.tip_ml, digits=3)} mL a tip. "
        f"Nominal volume {figure(gauge.test_volume_ml)} mL: {figure(gauge.expected_tips)} tips "
        f"expected, one tip is {figure(100.0 / gauge.expected_tips)} %."
    )
    loop = (
        ""
        if gauge.loop_ohm is None
        else f"; the cable loop adds {figure(gauge.loop_ohm, digits=2)} ohm at the logger"
    )
    limit = figure(gauge.closed_field_limit_ohm, digits=2)
    yield f"Switch closed: at most {limit} ohm at the gauge's terminals{loop}."


def _write_part(
    page: Page, part: FormPart, owner: tuple[str, ...], gauge: FormGauge | None
) -> None:
    if part.title:
        terms = _terms_of(part, gauge)
        title = part.title if terms is None else f"{part.title}. {_band_words(terms)}"
        for column in range(LABEL_COLUMN, LAST_COLUMN + 1):
            page.sheet.write_blank(page.row, column, None, page.style.part)
        page.sheet.write_string(page.row, LABEL_COLUMN, title, page.style.part)
        page.row += 1
    if part.tabular:
        for number, blank in enumerate(part.rows[0].blanks, start=FIRST_BLANK_COLUMN):
            page.sheet.write_string(page.row, number, blank.label, page.style.head)
        page.row += 1
    for row in part.rows:
        _write_row(page, row, owner, gauge)


def _terms_of(part: FormPart, gauge: FormGauge | None) -> PhaseTerms | None:
    if gauge is None:
        return None
    return {Phase.AS_FOUND: gauge.as_found, Phase.AS_LEFT: gauge.as_left}.get(part.key)  # type: ignore[call-overload,no-any-return]  # a phase is its word


def _band_words(terms: PhaseTerms) -> str:
    band: TipBand = terms.band
    runs = f"at least {terms.minimum_runs} runs"
    if band.low > band.high:
        return f"No whole number of tips passes with the nominal volume: pour more; {runs}"
    return f"{band.low} to {band.high} tips a run pass; {runs}"


def _write_row(page: Page, row: FormRow, owner: tuple[str, ...], gauge: FormGauge | None) -> None:
    sheet, number = page.sheet, page.row
    sheet.set_row(number, _BLANK_HEIGHT)
    sheet.write_string(number, KEY_COLUMN, key_text(*owner, row.key))
    sheet.write_string(number, LABEL_COLUMN, row.label, page.style.label)
    for column, blank in enumerate(row.blanks, start=FIRST_BLANK_COLUMN):
        form = page.style.blanks[blank.kind]
        if blank.kind is BlankKind.TEXT:
            sheet.merge_range(number, column, number, LAST_COLUMN, "", form)
        _write_default(sheet, (number, column), blank, form, gauge)
        rule = validation_of(blank, page.lists, xl_rowcol_to_cell(number, column))
        if rule is not None:
            sheet.data_validation(number, column, number, column, rule)
    page.row += 1


def _write_default(
    sheet: Any, at: tuple[int, int], blank: Blank, form: Any, gauge: FormGauge | None
) -> None:
    if blank.default == NOMINAL_VOLUME and gauge is not None:
        sheet.write_number(*at, gauge.test_volume_ml, form)
    elif blank.default:
        sheet.write_string(*at, shown(blank.default), form)
    else:
        sheet.write_blank(*at, None, form)


def _put(page: Page, text: str, *, key: str = "", form: Any = None) -> None:
    """Write a line over the whole width, with a key where the line carries one."""
    if key:
        page.sheet.write_string(page.row, KEY_COLUMN, key)
    plain = plain_text(text)
    form = form or page.style.text
    large = form is page.style.title
    lines = 1 + len(plain) // (_TITLE_CHARACTERS if large else _LINE_CHARACTERS)
    page.sheet.merge_range(page.row, LABEL_COLUMN, page.row, LAST_COLUMN, "", form)
    page.sheet.write_string(page.row, LABEL_COLUMN, plain, form)
    page.sheet.set_row(page.row, lines * (_TITLE_HEIGHT if large else _LINE_HEIGHT))
    page.row += 1

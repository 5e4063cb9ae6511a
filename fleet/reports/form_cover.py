"""The first sheet of a visit form: how to fill it in, reminders, people and test equipment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fleet.domain.form_sheet import FormDevice, VisitForm
from fleet.domain.visit_form import OVER
from fleet.reports.caution import (
    DROPPINGS,
    ELECTRICITY,
    INSECTS,
    LEAD,
    LIGHTNING,
    LONE_WORK,
    WEATHER,
)
from fleet.reports.form_style import Style
from fleet.reports.wording import figure, plain_text

HOW = (
    "One sheet a stop. Only the framed cells can be changed; a sheet left untouched is skipped.",
    "A visit that could not be made: day, times, technicians, outcome and reason are enough.",
    "Days as year-month-day, times as hours:minutes by the local clock of the site. For a visit "
    "past midnight write day and time together, such as 2025-03-31 00:40.",
    "A test run counts when its tips are filled in. The volume is the nominal one; correct it to "
    "what was poured. The bucket state before a run is filled in as the trade expects it; "
    "correct it where it was not so.",
    f"Switch: ohms as a number, or the word {OVER} when the meter is beyond its range.",
    "Isolate the gauge before any test tip. Reconnecting it, tight and proven, is the last act: "
    "a visit that does not prove it raises an urgent follow-up.",
    "Send the file back as it is; loading it twice changes nothing.",
)
REMINDERS = (LEAD, LONE_WORK, LIGHTNING, ELECTRICITY, WEATHER, DROPPINGS, INSECTS)


def write_cover(sheet: Any, style: Style, form: VisitForm) -> None:
    """Write the first sheet of a form.

    Parameters
    ----------
    sheet : Worksheet
        Empty.
    style : Style
        Formats of its workbook.
    form : VisitForm
        Whole form.
    """
    _prepare(sheet)
    lines: list[tuple[str, Any]] = [(f"Visit form: {plain_text(form.title)}", style.title)]
    lines += [(f"Bands and equipment as of {form.made_on.isoformat()}.", style.text)]
    lines += [("How to fill it in", style.part), *((line, style.text) for line in HOW)]
    lines += [("Reminders", style.part), *((line, style.text) for line in REMINDERS)]
    row = 0
    for text, form_of_line in lines:
        sheet.merge_range(row, 0, row, 4, "", form_of_line)
        sheet.write_string(row, 0, text, form_of_line)
        sheet.set_row(row, _height(text, large=form_of_line is style.title))
        row += 1
    people = [(code, plain_text(name), "", "", "") for code, name in form.technicians]
    row = _write_table(sheet, style, row, [("Technicians", "Name", "", "", ""), *people])
    heads = ("Test equipment", "Kind", "Description", "Certified mL", "Certificate until")
    devices = [_device_row(device, form) for device in form.devices]
    _write_table(sheet, style, row, [heads, *devices])


def _prepare(sheet: Any) -> None:
    for column, width in enumerate((20, 26, 42, 14, 30)):
        sheet.set_column(column, column, width)
    sheet.set_paper(9)
    sheet.set_portrait()
    sheet.fit_to_pages(1, 0)
    sheet.protect("", {"format_columns": True, "format_rows": True})


def _height(text: str, *, large: bool) -> float:
    return 24.0 if large else 14.0 * (1 + len(text) // 120)


def _write_table(sheet: Any, style: Style, row: int, rows: Sequence[Sequence[str]]) -> int:
    for number, cells in enumerate(rows):
        form = style.text if number else style.head
        for column, cell in enumerate(cells):
            sheet.write_string(row + number, column, cell, form)
    return row + len(rows) + 1


def _device_row(device: FormDevice, form: VisitForm) -> tuple[str, ...]:
    volume = "" if device.volume_ml is None else figure(device.volume_ml, digits=2)
    return (
        device.code,
        device.kind.value,
        plain_text(device.description),
        volume,
        _validity(device, form),
    )


def _validity(device: FormDevice, form: VisitForm) -> str:
    if device.valid_until is None:
        return "no certificate on record"
    over = " (OUT OF DATE)" if device.valid_until < form.made_on else ""
    return f"{device.valid_until.isoformat()}{over}"

"""The text of a workbook cell in a blank of the visit form, native days and times included."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from fleet.domain.visit_form import BlankKind

CODE_AS_NUMBER = (
    "stored as a number, leading zeros may be lost: format the cell as text and enter it anew"
)


def cell_text(value: object, kind: BlankKind) -> tuple[str, str]:
    """Give the text of a cell and, where it cannot be taken, the fault.

    Parameters
    ----------
    value : object
        As python-calamine reads it.
    kind : BlankKind
        What the blank asks for.

    Returns
    -------
    tuple of str
        Text and fault; the fault is '' for a cell that can be read on. Times are cut to the
        minute that the cell shows.
    """
    if value is None:
        return "", ""
    if isinstance(value, bool):
        return ("yes" if value else "no"), ""
    if isinstance(value, int | float):
        text = repr(int(value)) if float(value).is_integer() else repr(value)
        return text, CODE_AS_NUMBER if kind is BlankKind.CODE else ""
    if isinstance(value, date | time | timedelta):
        return _moment_text(value, kind), ""
    return str(value), ""


def _moment_text(value: date | time | timedelta, kind: BlankKind) -> str:
    if isinstance(value, timedelta):
        minutes = int(value.total_seconds() // 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        if kind is BlankKind.DAY and midnight:
            return value.date().isoformat()
        return value.isoformat(timespec="minutes")
    return f"{value.isoformat()}T00:00" if kind is BlankKind.CLOCK else value.isoformat()

"""The text of a native cell: strict for an input table, as it is shown for a blank of a form."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from fleet.domain.visit_form import BlankKind
from fleet.ingest.cell import CellError
from fleet.ingest.contract import Kind

NUMBER_AS_TEXT = "stored as a number, leading zeros may be lost: format the column as text"
CODE_AS_NUMBER = (
    "stored as a number, leading zeros may be lost: format the cell as text and enter it anew"
)


def table_text(cell: object, kind: Kind) -> str:
    """Give the text that a CSV file would have in place of a cell of an input table.

    Parameters
    ----------
    cell : object
        As python-calamine gives it, or a `CellError` for a cell that it cannot give.
    kind : Kind
        What the column expects.

    Returns
    -------
    str
        Text to be parsed.

    Raises
    ------
    CellError
        The cell is of another nature than its column.
    """
    if isinstance(cell, CellError):
        raise cell
    if isinstance(cell, str):
        return cell.replace("\r\n", "\n")
    if isinstance(cell, bool):
        return _native(cell, kind, Kind.YES_NO, "yes" if cell else "no")
    if isinstance(cell, int | float):
        return _number_text(cell, kind)
    if isinstance(cell, date | time):
        return _time_text(cell, kind)
    raise CellError(f"a span of time; {kind.value} is expected")


def blank_text(cell: object, kind: BlankKind) -> tuple[str, str]:
    """Give the text of a blank of the visit form and, where it cannot be taken, the fault.

    Parameters
    ----------
    cell : object
        As python-calamine gives it, None beyond the row's end, or a `CellError`.
    kind : BlankKind
        What the blank asks for.

    Returns
    -------
    tuple of str
        Text and fault; the fault is '' for a cell that can be read on. Times are cut to the
        minute that the cell shows.
    """
    if cell is None:
        return "", ""
    if isinstance(cell, CellError):
        return "", str(cell)
    if isinstance(cell, bool):
        return ("yes" if cell else "no"), ""
    if isinstance(cell, int | float):
        return _figure(cell), CODE_AS_NUMBER if kind is BlankKind.CODE else ""
    if isinstance(cell, date | time | timedelta):
        return _moment_text(cell, kind), ""
    return str(cell), ""


def _native(cell: object, kind: Kind, own: Kind, text: str) -> str:
    if kind is not own:
        raise CellError(f"stored as {_nature(cell)}; {kind.value} is expected")
    return text


def _number_text(cell: float, kind: Kind) -> str:
    if kind.is_text and kind is not Kind.INSTANT:
        raise CellError(NUMBER_AS_TEXT)
    if kind not in (Kind.NUMBER, Kind.INTEGER):
        raise CellError(f"stored as a number; {kind.value} is expected")
    return _figure(cell)


def _time_text(cell: date | time, kind: Kind) -> str:
    if kind is Kind.INSTANT and isinstance(cell, datetime):
        raise CellError(
            "stored as a date, which has no offset from UTC: format the column as text and write "
            f"such as {cell:%Y-%m-%dT%H:%M}+01:00 with the offset of the site's clock"
        )
    if isinstance(cell, time):
        if cell.second or cell.microsecond:
            raise CellError("a clock time without seconds is expected")
        return _native(cell, kind, Kind.CLOCK, f"{cell:%H:%M}")
    if isinstance(cell, datetime):
        raise CellError(f"stored as a date with a time; {kind.value} is expected")
    return _native(cell, kind, Kind.DAY, cell.isoformat())


def _nature(cell: object) -> str:
    if isinstance(cell, bool):
        return "a truth value"
    return "a clock time" if isinstance(cell, time) else "a date"


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


def _figure(cell: float) -> str:
    return str(int(cell)) if float(cell).is_integer() and abs(cell) < 1e15 else repr(cell)

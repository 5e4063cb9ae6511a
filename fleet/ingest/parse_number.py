"""Number cells: a decimal point, no thousands separators, no unit, never a guess."""

from __future__ import annotations

import math
import re

from fleet.ingest.cell import CellError, ascii_digits
from fleet.ingest.contract import Column

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_INTEGER = re.compile(r"[+-]?[0-9]{1,15}")
_WHOLE = re.compile(r"([+-]?[0-9]{1,15})\.0*")
_WITH_UNIT = re.compile(r"[+-]?[0-9.]+\s*(?:[^\W\d_]+[0-9²³]?|%|‰|°)")
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_UNCLEAR = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_GAPS = " \u00a0\u2009\u202f'\u2019_"
_GROUPED = re.compile(
    rf"[+-]?[0-9]{{1,3}}(?:([{_GAPS}])[0-9]{{3}}(?:\1[0-9]{{3}})*([.,][0-9]+)?"
    r"|(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,}"
    r"|(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})"
)
_MINUS_SIGNS = "\u2212\u2010\u2011\u2012\u2013\u2014\uff0d"
_NOT_FINITE = frozenset({"nan", "inf", "infinity"})


def parse_number(text: str, column: Column) -> float:
    """Read a number.

    Parameters
    ----------
    text : str
        Cell without blanks around it.
    column : Column
        Gives the allowed range.

    Returns
    -------
    float
        Finite; minus zero is read as zero.

    Raises
    ------
    CellError
        Anything that is not plainly a number with a decimal point, or lies outside the range.
    """
    if _NUMBER.fullmatch(text) is None:
        raise CellError(_fault(text))
    value = float(text) + 0.0
    if not math.isfinite(value):
        raise CellError("too large a number")
    _check_range(value, column)
    return value


def parse_integer(text: str, column: Column) -> int:
    """Read a whole number; the arguments and errors are those of `parse_number`."""
    if _INTEGER.fullmatch(text) is None:
        whole = _WHOLE.fullmatch(text)
        if whole is not None:
            raise CellError(f"a whole number has no decimal point; write {whole[1]}")
        if _NUMBER.fullmatch(text) is not None:
            raise CellError("a whole number of at most 15 digits is expected")
        raise CellError(_fault(text))
    value = int(text)
    _check_range(value, column)
    return value


def _check_range(value: float, column: Column) -> None:
    low, high = column.low, column.high
    if (low is None or value >= low) and (high is None or value <= high):
        return
    raise CellError(f"{describe_range(column)} is expected")


def describe_range(column: Column) -> str:
    """Give the allowed range of a number column in words, empty where there is none."""
    low, high = column.low, column.high
    if low is not None and high is not None:
        return f"{_plain(low)} to {_plain(high)}"
    if low is not None:
        return f"{_plain(low)} or more"
    return "" if high is None else f"{_plain(high)} or less"


def _plain(value: float) -> str:
    return str(int(value)) if float(value).is_integer() else str(value)


def _fault(text: str) -> str:
    """Say what stands in the way of reading a number."""
    turned = ascii_digits(text)
    if turned is not None:
        return f"digits other than 0-9; write {turned}"
    if text.lstrip("+-").lower() in _NOT_FINITE:
        return "not a finite number; leave the cell empty if the value is unknown"
    if text[0] in _MINUS_SIGNS:
        return f"not the ASCII minus sign; write -{text[1:]}"
    if _WITH_UNIT.fullmatch(text) is not None:
        return "a number alone is expected, without letters or a unit"
    return _separator_fault(text) or "a number such as 12.5 is expected"


def _separator_fault(text: str) -> str | None:
    if _GROUPED.fullmatch(text) is not None:
        return f"thousands separators; write {_without_groups(text)}"
    if _UNCLEAR.fullmatch(text) is not None:
        point, none = text.replace(",", "."), text.replace(",", "")
        return f"a decimal comma or a thousands separator; write {point} or {none}"
    if _COMMA.fullmatch(text) is not None:
        return f"decimal comma; write {text.replace(',', '.')}"
    return None


def _without_groups(text: str) -> str:
    last = max(text.rfind("."), text.rfind(","))
    separators = re.sub(r"[0-9+-]", "", text)
    decimal = len(set(separators)) > 1 and last >= 0
    head, tail = (text[:last], "." + text[last + 1 :]) if decimal else (text, "")
    return re.sub(r"[^0-9+-]", "", head) + tail

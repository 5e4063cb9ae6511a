"""Cells with text, codes, words and names of zones and regions."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from enum import StrEnum
from functools import cache
from zoneinfo import available_timezones

from fleet.ingest.cell import CellError, ascii_digits
from fleet.ingest.contract import Column
from fleet.ingest.nearest import did_you_mean

CODE_LIMIT = 40

_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]*")
_ROUNDED = re.compile(r"[0-9](\.[0-9]+)?E\+[0-9]+")
_PLAIN = re.compile(r"[ -~]*")
_REFUSED_CATEGORIES = frozenset({"Cc", "Cs", "Zl", "Zp"})
_REFUSED_SIGNS = {
    "\ufeff": "a byte order mark inside the text",
    "\ufffd": "the sign for a character that an earlier conversion lost",
}
_NOT_ZONES = frozenset({"localtime", "posixrules", "Factory"})
"""Names among the zone files that are no place: the first depends on the machine."""


def parse_text(text: str, *, several_lines: bool) -> str:
    """Read free text in any script.

    Parameters
    ----------
    text : str
        Cell without blanks around it.
    several_lines : bool
        Whether line feeds are allowed.

    Returns
    -------
    str
        As it was, with line ends as LF.

    Raises
    ------
    CellError
        Control characters, line ends where one line is expected, signs of a damaged text.
    """
    if _PLAIN.fullmatch(text) is not None:
        return text
    text = text.replace("\r\n", "\n")
    for sign in text:
        if sign == "\n" and several_lines:
            continue
        fault = _sign_fault(sign)
        if fault is not None:
            raise CellError(fault)
    return text


def parse_code(text: str) -> str:
    """Read a code or a serial; leading zeros stay.

    Raises
    ------
    CellError
        A character that codes do not have, or more than 40 characters.
    """
    if _CODE.fullmatch(text) is None:
        raise CellError(_code_fault(text))
    if len(text) > CODE_LIMIT:
        raise CellError(f"{len(text)} characters; a code has at most {CODE_LIMIT}")
    return text


def parse_codes(text: str) -> tuple[str, ...]:
    """Read codes separated by one space each; the errors are those of `parse_code`."""
    return tuple(parse_code(item) for item in _items(text))


def parse_word(text: str, column: Column) -> str:
    """Read one word of the column's list.

    Returns
    -------
    str
        The member, where the list is an enumeration.

    Raises
    ------
    CellError
        Any other word; names the list and the nearest word.
    """
    words = [str(word) for word in column.choices]
    if text not in words:
        expected = ", ".join(words)
        raise CellError(f"one of {expected} is expected{did_you_mean(text, words)}")
    return _member(text, column)


def parse_words(text: str, column: Column) -> tuple[str, ...]:
    """Read words of the column's list separated by one space each."""
    return tuple(parse_word(item, column) for item in _items(text))


def parse_yes_no(text: str) -> bool:
    """Read ``yes`` or ``no``.

    Raises
    ------
    CellError
        Anything else, also in capitals.
    """
    if text not in ("yes", "no"):
        raise CellError("yes or no is expected, in small letters")
    return text == "yes"


def parse_time_zone(text: str) -> str:
    """Read the name of an IANA time zone.

    Raises
    ------
    CellError
        A name that the installed time zone data does not have.
    """
    zones = _zones()
    if text not in zones:
        expected = "an IANA time zone such as Atlantic/Azores is expected"
        raise CellError(expected + did_you_mean(text, sorted(zones)))
    return text


def parse_region(text: str) -> str:
    """Read a region whose public holidays the `holidays` library knows.

    Raises
    ------
    CellError
        A country or subdivision that the library does not know.
    """
    regions = _regions()
    country, dash, subdivision = text.partition("-")
    if country not in regions:
        raise CellError("an ISO 3166 country code with known public holidays is expected")
    if dash and subdivision not in regions[country]:
        known = ", ".join(regions[country]) or "none"
        raise CellError(f"a subdivision with known public holidays is expected: {known}")
    return text


def _member(text: str, column: Column) -> str:
    choices = column.choices
    return choices(text) if isinstance(choices, type) and issubclass(choices, StrEnum) else text


def _items(text: str) -> list[str]:
    items = text.split(" ")
    if "" in items:
        raise CellError("one space between the words is expected")
    if any(sign in text for sign in ",;"):
        raise CellError("words separated by one space are expected, without commas")
    twice = _first_repeated(items)
    if twice is not None:
        raise CellError(f"{twice} stands there twice")
    return items


def _first_repeated(items: Iterable[str]) -> str | None:
    seen: set[str] = set()
    for item in items:
        if item in seen:
            return item
        seen.add(item)
    return None


def _sign_fault(sign: str) -> str | None:
    if sign in "\r\n":
        return "one line of text is expected, without line ends"
    if sign in _REFUSED_SIGNS:
        return f"{_REFUSED_SIGNS[sign]} (U+{ord(sign):04X}); write it anew"
    if unicodedata.category(sign) in _REFUSED_CATEGORIES or ord(sign) & 0xFFFE == 0xFFFE:
        return f"a control character (U+{ord(sign):04X}) inside the text; remove it"
    return None


def _code_fault(text: str) -> str:
    turned = ascii_digits(text)
    if turned is not None and _CODE.fullmatch(turned):
        return f"digits other than 0-9; write {turned}"
    if _ROUNDED.fullmatch(text):
        return "a code that a spreadsheet rounded; format the column as text and enter it anew"
    return "letters A-Z a-z, digits and . _ / - are expected, a letter or digit first"


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones()) - _NOT_ZONES


@cache
def _regions() -> dict[str, list[str]]:
    from holidays import list_supported_countries

    return {str(code): list(parts) for code, parts in list_supported_countries(False).items()}

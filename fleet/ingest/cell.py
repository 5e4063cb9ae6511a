"""What is wrong with one cell, and what every kind of cell has to keep to."""

from __future__ import annotations

import unicodedata

TEXT_LIMIT = 2000
"""Most characters of a text cell."""

SPREADSHEET_ERRORS = frozenset(
    {
        "#BLOCKED!",
        "#BUSY!",
        "#CALC!",
        "#CONNECT!",
        "#DIV/0!",
        "#FIELD!",
        "#GETTING_DATA",
        "#N/A",
        "#NAME?",
        "#NULL!",
        "#NUM!",
        "#REF!",
        "#SPILL!",
        "#UNKNOWN!",
        "#VALUE!",
    }
)
"""What spreadsheets show in place of a value (ECMA-376 part 1, 18.17.2 names seven of them; the
others from memory of spreadsheet programs)."""


class CellError(ValueError):
    """A cell is not what its column expects; the message says what is expected."""


def check_cell(text: str) -> None:
    """Refuse what no cell may hold.

    Parameters
    ----------
    text : str
        A cell that is not empty.

    Raises
    ------
    CellError
        Blanks around the value, an error of a spreadsheet, too many characters.
    """
    bare = text.strip()
    if not bare:
        raise CellError("only blanks; leave the cell empty")
    if bare.strip("#") == "" and len(bare) > 1:
        raise CellError("a spreadsheet's sign for a column too narrow; write the value")
    if bare in SPREADSHEET_ERRORS:
        raise CellError("an error of the spreadsheet; correct its formula")
    if bare != text:
        raise CellError(f"blanks before or after the value; write {shorten(bare)!r}")
    if len(text) > TEXT_LIMIT:
        raise CellError(f"{len(text)} characters; at most {TEXT_LIMIT} are allowed")


def ascii_digits(text: str) -> str | None:
    """Give the text with every decimal digit in ASCII, or None where all of them are."""
    turned = "".join(
        str(unicodedata.digit(sign)) if unicodedata.category(sign) == "Nd" else sign
        for sign in text
    )
    return None if turned == text else turned


def shorten(text: str, limit: int = 60) -> str:
    """Give the beginning of a text that is too long to show."""
    return text if len(text) <= limit else f"{text[:limit]}..."

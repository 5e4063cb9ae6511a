"""Texts in CSV files that no spreadsheet runs as a formula, and back again without loss."""

from __future__ import annotations

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""First characters that make a spreadsheet run a text as a formula; the last four are full-width
forms of the first (from memory of a published list on CSV injection, not read again)."""

GUARD = "'"
"""What `guarded` puts before a text; without it in a text `unguarded` has nothing to do."""


def guarded(text: str) -> str:
    """Put a quote before a text that a spreadsheet would run as a formula.

    Parameters
    ----------
    text : str
        As it stands in the records.

    Returns
    -------
    str
        A text that begins with quotes and then such a character gets one more too, so that
        `unguarded` gives every text back as it was.

    Examples
    --------
    >>> guarded("=1+1"), guarded("'=1+1"), guarded("plain"), guarded("'tis")
    ("'=1+1", "''=1+1", 'plain', "'tis")
    """
    return f"{GUARD}{text}" if _would_run(text) else text


def unguarded(text: str) -> str:
    """Take the quote of `guarded` off again.

    Examples
    --------
    >>> unguarded("'=1+1"), unguarded("''=1+1"), unguarded("=1+1"), unguarded("'tis")
    ('=1+1', "'=1+1", '=1+1', "'tis")
    """
    return text[1:] if text.startswith(GUARD) and _would_run(text) else text


def _would_run(text: str) -> bool:
    return text.lstrip(GUARD).startswith(FORMULA_STARTS)

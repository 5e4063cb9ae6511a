"""One canonical text for a row and an entry, and the hashes over them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from enum import Enum
from json import JSONEncoder
from json.encoder import encode_basestring
from typing import Any

GENESIS = "0" * 64
"""The hash before the first entry."""


def canonical_value(value: object) -> object:
    """Turn a column's value into one that JSON writes in exactly one way.

    Parameters
    ----------
    value : object
        None, bool, int, float, str, enum, date or aware datetime.

    Returns
    -------
    object
        None, bool, int, str; a float becomes its shortest exact text so that 1.0 and 1 in a
        column of floats cannot differ between databases.
    """
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value)
    return value


_encode = JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode


def canonical_text(value: object) -> str:
    """Write a structure as JSON with sorted keys, no blanks and all characters as they are."""
    return _encode(value)


_PLAIN: Mapping[type, Callable[[Any], str]] = {
    type(None): lambda _: "null",
    bool: lambda value: "true" if value else "false",
    int: repr,
    float: lambda value: f'"{value!r}"',
    str: encode_basestring,
    date: lambda value: f'"{value}"',
    datetime: lambda value: f'"{canonical_value(value)}"',
}
"""Shortcuts for the values that most columns hold: `canonical_text` of `canonical_value`."""


def canonical_line(row: Iterable[tuple[str, object]]) -> str:
    """Write one row as `canonical_text` would, many times faster.

    Parameters
    ----------
    row : iterable of tuple of str and object
        Names of columns in order, each as JSON text followed by a colon, and their values.

    Returns
    -------
    str
        JSON object on one line.
    """
    parts = [
        name + (write(value) if (write := _PLAIN.get(value.__class__)) else _other(value))
        for name, value in row
    ]
    return "{" + ",".join(parts) + "}"


def _other(value: object) -> str:
    plain = canonical_value(value)
    return encode_basestring(plain) if isinstance(plain, str) else canonical_text(plain)


class RowsDigest:
    """The hash over rows in the order given, one row at a time."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()
        self.rows = 0

    def add(self, lines: Sequence[str]) -> None:
        """Take in the canonical texts of some more rows."""
        text = "".join(f"{line}\n" for line in lines)
        self._hash.update(text.encode("utf-8", "surrogatepass"))
        self.rows += len(lines)

    @property
    def text(self) -> str:
        """Give the SHA-256 so far in 64 hexadecimal digits; of no rows, that of the empty text."""
        return self._hash.hexdigest()


def rows_digest(lines: Iterable[str]) -> str:
    """Hash rows in the order given.

    Parameters
    ----------
    lines : iterable of str
        Their canonical texts.

    Returns
    -------
    str
        SHA-256 in 64 hexadecimal digits; of no rows, that of the empty text.
    """
    digest = RowsDigest()
    for line in lines:
        digest.add((line,))
    return digest.text


def entry_hash(head: Mapping[str, object], changes: Sequence[Mapping[str, object]]) -> str:
    """Hash one ledger entry with its changes and the hash of the entry before.

    Parameters
    ----------
    head : mapping
        id, at, actor, action, reason, previous_hash; canonical.
    changes : sequence of mapping
        The entry's changes in order; canonical.

    Returns
    -------
    str
        SHA-256 in 64 hexadecimal digits.
    """
    return rows_digest(canonical_text(part) for part in (head, *changes))

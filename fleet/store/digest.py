"""One canonical text for a row and an entry, and the hashes over them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
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

_UNLIKE = (int, float, str, datetime)
"""Kinds of value of which a column has many different ones, so that remembering does not pay."""


def canonical_cells(values: Sequence[object]) -> Sequence[str]:
    """Write each value of one column as `canonical_text` of `canonical_value` would, but faster.

    Parameters
    ----------
    values : sequence
        Of any kinds that `canonical_value` takes.

    Returns
    -------
    sequence of str
        JSON, in the order given.
    """
    kinds = set(map(type, values))
    if len(kinds) != 1:
        return [_PLAIN.get(value.__class__, _other)(value) for value in values]
    (kind,) = kinds
    write = _PLAIN.get(kind, _other)
    return list(map(write if kind in _UNLIKE else Remembered(write).__getitem__, values))


def _other(value: object) -> str:
    plain = canonical_value(value)
    return encode_basestring(plain) if isinstance(plain, str) else canonical_text(plain)


class Remembered(dict[Any, Any]):
    """Looked up with a value, gives what a function makes of it, and asks that once a value."""

    def __init__(self, make: Callable[[Any], Any]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, value: Any) -> Any:
        made = self[value] = self._make(value)
        return made


class RowsDigest:
    """The hash over rows in the order given: each is the JSON object of its cells, on one line.

    Parameters
    ----------
    names : sequence of str
        The columns that it covers.
    floats : collection of str, optional
        Columns of floats: an int there counts as a float.
    """

    def __init__(self, names: Sequence[str], floats: Collection[str] = ()) -> None:
        self._names = sorted(names)
        self._floats = frozenset(floats)
        cells = ",".join(f"{canonical_text(name)}:%s" for name in self._names)
        self._line = "{" + cells + "}\n"
        self._hash = hashlib.sha256()
        self.rows = 0

    def add(self, columns: Mapping[str, Sequence[object]]) -> None:
        """Take in some more rows, column by column; columns that it does not cover may be there."""
        cells = [canonical_cells(self._values(name, columns[name])) for name in self._names]
        text = "".join(map(self._line.__mod__, zip(*cells, strict=True)))
        self._hash.update(text.encode("utf-8", "surrogatepass"))
        self.rows += len(cells[0])

    def _values(self, name: str, values: Sequence[Any]) -> Sequence[object]:
        if name not in self._floats or int not in set(map(type, values)):
            return values
        return [float(value) if isinstance(value, int) else value for value in values]

    @property
    def text(self) -> str:
        """Give the SHA-256 so far in 64 hexadecimal digits; of no rows, that of the empty text."""
        return self._hash.hexdigest()


def rows_digest(lines: Iterable[str]) -> str:
    """Hash lines in the order given.

    Parameters
    ----------
    lines : iterable of str
        Their canonical texts.

    Returns
    -------
    str
        SHA-256 in 64 hexadecimal digits; of no rows, that of the empty text.
    """
    digest = hashlib.sha256()
    for line in lines:
        digest.update(f"{line}\n".encode("utf-8", "surrogatepass"))
    return digest.hexdigest()


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

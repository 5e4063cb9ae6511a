"""One canonical text for a row and an entry, and the hashes over them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from enum import Enum

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


def canonical_text(value: object) -> str:
    """Write a structure as JSON with sorted keys, no blanks and all characters as they are."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def rows_digest(rows: Iterable[Mapping[str, object]]) -> str:
    """Hash rows in the order given.

    Parameters
    ----------
    rows : iterable of mapping
        Column name to value, already canonical.

    Returns
    -------
    str
        SHA-256 in 64 hexadecimal digits; of no rows, that of the empty text.
    """
    digest = hashlib.sha256()
    for row in rows:
        digest.update(canonical_text(row).encode("utf-8", "surrogatepass"))
        digest.update(b"\n")
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
    return rows_digest([head, *changes])

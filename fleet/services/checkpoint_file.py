"""A checkpoint of the ledger as a small file, which tells when it was changed itself."""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from fleet.errors import ConflictError, InputError, Problem
from fleet.reports.table import write_whole
from fleet.store.digest import canonical_text

KIND = "fleet ledger checkpoint 1"
LEAST_KEY_BYTES = 16
"""Bytes of a key; a shorter one could be guessed (a bound of our own)."""

_EXPECTED = "a checkpoint as `fleet ledger checkpoint` writes it is expected"


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """How far the ledger went at one moment.

    ``head`` and ``hash`` are number and hash of the newest entry (0 and zeros: none yet), ``at``
    its instant; ``rows`` the number of rows in each table that entries up to it had written;
    ``rungs`` the hashes of some earlier entries, so that a rewritten stretch can be told.
    """

    head: int
    hash: str
    at: str
    made_at: str
    rows: Mapping[str, int]
    rungs: Mapping[str, str]


def write_checkpoint(checkpoint: Checkpoint, path: Path, *, key: bytes | None = None) -> None:
    """Write a checkpoint with its digest and, with a key, its seal (HMAC with SHA-256, RFC 2104).

    Parameters
    ----------
    checkpoint : Checkpoint
    path : Path
        Replaced when it exists.
    key : bytes, optional
        Whoever does not have it can neither make nor change such a file unseen.
    """
    body: dict[str, object] = {"kind": KIND, **asdict(checkpoint)}
    content = {**body, "digest": _digest(body)}
    if key is not None:
        content["seal"] = _seal(body, key)
    write_whole(path, (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode())


def read_checkpoint(path: Path, *, key: bytes | None = None) -> Checkpoint:
    """Read a checkpoint and hold it against its own digest, and against its seal with a key.

    Raises
    ------
    InputError
        The file cannot be read, is no checkpoint, or was changed after it was written.
    ConflictError
        A key is given and the file has no seal.
    """
    content = _read(path)
    digest, seal = content.pop("digest", None), content.pop("seal", None)
    if content.get("kind") != KIND or set(content) != {"kind", *_names()}:
        raise _wrong(path, _EXPECTED, value=str(content.get("kind", "")))
    if digest != _digest(content):
        raise _wrong(path, "it was changed after it was written: its own digest does not fit")
    if key is not None:
        if seal is None:
            raise ConflictError(f"{path.name} has no seal; verify it without --key-file.")
        if not hmac.compare_digest(str(seal), _seal(content, key)):
            raise _wrong(path, "its seal does not fit this key: another key, or a forged file")
    checkpoint = Checkpoint(**{name: content[name] for name in _names()})
    if not _is_sound(checkpoint):
        raise _wrong(path, _EXPECTED)
    return checkpoint


def read_key(path: Path) -> bytes:
    """Read the key of a seal: all bytes of a file.

    Raises
    ------
    InputError
        The file cannot be read or is shorter than `LEAST_KEY_BYTES`.
    """
    try:
        key = path.read_bytes()
    except OSError as error:
        raise _wrong(path, f"the key cannot be read: {error.strerror}") from error
    if len(key) < LEAST_KEY_BYTES:
        raise _wrong(path, f"a key has at least {LEAST_KEY_BYTES} bytes; this has {len(key)}")
    return key


def _names() -> tuple[str, ...]:
    return tuple(field.name for field in fields(Checkpoint))


def _read(path: Path) -> dict[str, Any]:
    try:
        content = json.loads(path.read_bytes())
    except OSError as error:
        raise _wrong(path, f"it cannot be read: {error.strerror}") from error
    except (ValueError, RecursionError) as error:
        raise _wrong(path, _EXPECTED) from error
    if not isinstance(content, dict):
        raise _wrong(path, _EXPECTED)
    return content


def _is_sound(checkpoint: Checkpoint) -> bool:
    try:
        datetime.fromisoformat(checkpoint.made_at)
        numbers = [checkpoint.head, *checkpoint.rows.values(), *map(int, checkpoint.rungs)]
    except (AttributeError, TypeError, ValueError):
        return False
    return all(isinstance(number, int) and number >= 0 for number in numbers)


def _digest(body: Mapping[str, object]) -> str:
    return hashlib.sha256(canonical_text(body).encode("utf-8", "surrogatepass")).hexdigest()


def _seal(body: Mapping[str, object], key: bytes) -> str:
    text = canonical_text(body).encode("utf-8", "surrogatepass")
    return hmac.new(key, text, hashlib.sha256).hexdigest()


def _wrong(path: Path, expected: str, *, value: str = "") -> InputError:
    return InputError([Problem(str(path), None, None, value or None, expected)])

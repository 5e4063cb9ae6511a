"""Engines that a command opens are closed as it leaves, whatever way it leaves."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_TO_CLOSE: ContextVar[list[Callable[[], None]] | None] = ContextVar("to_close", default=None)


@contextmanager
def closing_opened() -> Iterator[None]:
    """Close at the end whatever was named to `close_later` meanwhile, the last one first.

    An SQLite database that is closed has all in its one file again; left open, its write-ahead
    log stays beside it, and a copy of the file alone would lack the newest entries.
    """
    opened: list[Callable[[], None]] = []
    token = _TO_CLOSE.set(opened)
    try:
        yield
    finally:
        _TO_CLOSE.reset(token)
        while opened:
            opened.pop()()


def close_later(close: Callable[[], None]) -> None:
    """Name what to call at the end of `closing_opened`; outside of it nothing is done."""
    opened = _TO_CLOSE.get()
    if opened is not None:
        opened.append(close)

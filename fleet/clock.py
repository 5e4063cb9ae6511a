"""The only place that reads the time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]
"""Gives the present instant, aware, in UTC; tests pass a frozen one."""


def utc_now() -> datetime:
    """Give the present instant in UTC, to the microsecond."""
    return datetime.now(tz=UTC)

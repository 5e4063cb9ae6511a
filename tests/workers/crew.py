"""Tasks at the top of a module, as workers need them."""

from __future__ import annotations

import os
import signal
import time


def double(given: int, value: int) -> int:
    return given * value


def half(value: int) -> float:
    if value < 0:
        raise ValueError(f"{value} is negative")
    return value / 2


def half_or_die(value: int) -> float:
    """Die as a process does that the system kills."""
    if value == 13:
        time.sleep(0.2)  # so that neighbours are under way
        os.kill(os.getpid(), signal.SIGKILL)
    return value / 2


def threads() -> str | None:
    return os.environ.get("OMP_NUM_THREADS")

"""What a command costs as a whole: the clock, processor time and memory of every process in it.

Reads ``/proc``, so it runs on Linux alone.
"""

from __future__ import annotations

import os
import resource
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

_TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")
_EVERY_S = 0.25


@dataclass(frozen=True)
class Cost:
    """Clock and processor time in s, and the most memory at one moment in MB.

    Memory is the proportional set size: a page that processes share is counted once.
    """

    clock_s: float
    busy_s: float
    peak_mb: float


def run_watched(command: Sequence[str], *, server: int | None = None) -> Cost:
    """Run a command to its end and give what it cost.

    Parameters
    ----------
    command : sequence of str
        Program and arguments.
    server : int, optional
        Process id of a database server that works for nobody else: its part is counted too.

    Raises
    ------
    CalledProcessError
        The command failed.
    """
    before = _busy_s(server)
    start = time.perf_counter()
    with subprocess.Popen(
        command, text=True, stderr=subprocess.PIPE, stdout=subprocess.PIPE
    ) as run:
        peak = _Peak([run.pid, *([] if server is None else [server])])
        out, told = run.communicate()
        peak.stop()
    clock_s = time.perf_counter() - start
    if run.returncode:
        raise subprocess.CalledProcessError(run.returncode, command, out, told)
    return Cost(clock_s, _busy_s(server) - before, peak.mb)


class _Peak:
    """Looks at processes and their children until it is stopped."""

    def __init__(self, roots: Sequence[int]) -> None:
        self.mb = 0.0
        self._roots = roots
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._done.set()
        self._thread.join()

    def _look(self) -> None:
        while True:
            family = [pid for root in self._roots for pid in _family(root)]
            self.mb = max(self.mb, sum(map(_memory_mb, family)))
            if self._done.wait(_EVERY_S):
                return


def _family(pid: int) -> Iterator[int]:
    yield pid
    for child in _read(f"/proc/{pid}/task/{pid}/children").split():
        yield from _family(int(child))


def _memory_mb(pid: int) -> float:
    for line in _read(f"/proc/{pid}/smaps_rollup").splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024
    return 0.0


def _own_busy_s(pid: int) -> float:
    """Give the processor time of a process and of those of its children that have ended."""
    fields = _read(f"/proc/{pid}/stat").rpartition(")")[2].split()
    return sum(map(int, fields[11:15])) / _TICKS_A_SECOND if fields else 0.0


def _busy_s(server: int | None) -> float:
    """Give the processor time of all commands that have ended and of the server, in s."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    serving = 0.0 if server is None else sum(map(_own_busy_s, _family(server)))
    return ended.ru_utime + ended.ru_stime + serving


def _read(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except OSError:
        return ""  # it has ended meanwhile

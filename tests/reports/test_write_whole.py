"""Writing a file whole, and what is no file."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from threading import Thread

from fleet.reports.table import write_whole


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "new" / "table.csv"

    write_whole(path, b"first")
    write_whole(path, b"second")

    assert path.read_bytes() == b"second"
    assert [entry.name for entry in path.parent.iterdir()] == ["table.csv"]


def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    read: list[bytes] = []
    reader = Thread(target=lambda: read.append(path.read_bytes()), daemon=True)
    reader.start()

    write_whole(path, b"rows")
    reader.join(timeout=10)

    assert read == [b"rows"]
    assert stat.S_ISFIFO(path.stat().st_mode)

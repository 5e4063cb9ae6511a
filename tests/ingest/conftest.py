"""Fixtures for reading input: a folder or a text in, the problems as a person sees them out."""

from collections.abc import Callable
from pathlib import Path

import pytest

from fleet.ingest.batch import Batch, read_batch
from fleet.ingest.known import NOTHING_KNOWN, KnownCodes
from tests.factories import TODAY, InputFolder

Read = Callable[..., Batch]
Problems = Callable[..., list[str]]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read an `InputFolder` or a path: ``read(network, known=...)``."""

    def read(source: InputFolder | Path, *, known: KnownCodes = NOTHING_KNOWN) -> Batch:
        path = source.write(tmp_path / "input") if isinstance(source, InputFolder) else source
        return read_batch(path, known=known, today=TODAY)

    return read


@pytest.fixture
def problems(read: Read) -> Problems:
    """Give the problems of an `InputFolder` or a path as printed."""

    def problems(source: InputFolder | Path, *, known: KnownCodes = NOTHING_KNOWN) -> list[str]:
        return [str(problem) for problem in read(source, known=known).problems]

    return problems


@pytest.fixture
def closures(tmp_path: Path, problems: Problems) -> Callable[[bytes], list[str]]:
    """Give the problems of a file closures.csv with these bytes; depot NORTH is known."""
    known = KnownCodes(keys={"depots": frozenset({("NORTH",)})})

    def closures(content: bytes) -> list[str]:
        path = tmp_path / "closures.csv"
        path.write_bytes(content)
        return problems(path, known=known)

    return closures

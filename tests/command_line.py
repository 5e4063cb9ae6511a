"""Runs the command line as a person does, inside the test's own process."""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass

import pytest

from fleet.cli.main import main


@dataclass(frozen=True)
class Ran:
    """What a run left behind."""

    exit_code: int
    stdout: str
    stderr: str


class CommandLine:
    """Calls ``fleet`` with arguments; ``answers`` are what is typed at its prompts."""

    def __init__(self, patch: pytest.MonkeyPatch, capture: pytest.CaptureFixture[str]) -> None:
        self._patch = patch
        self._capture = capture

    def __call__(self, *arguments: object, db: str | None = None, answers: str = "") -> Ran:
        given = ["--actor", "tester", *(() if db is None else ("--db", db))]
        self._patch.setattr(sys, "argv", ["fleet", *given, *(str(item) for item in arguments)])
        self._patch.setattr(sys, "stdin", io.StringIO(answers))
        self._capture.readouterr()
        with pytest.raises(SystemExit) as left:
            main()
        out, err = self._capture.readouterr()
        return Ran(int(left.value.code or 0), out, err)

"""Golden texts: what a command prints, held against the files of tests/expected."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

EXPECTED = Path(__file__).parents[1] / "expected"
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")

Golden = Callable[..., None]


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Golden:
    """Hold a text against a file: ``golden("name.txt", text)``.

    With ``near=True`` figures may differ by a thousandth, and blanks in number: a fitted figure
    moves in its last digits with the version of the numerical libraries.
    """

    def compare(name: str, text: str, *, near: bool = False) -> None:
        path = EXPECTED / name
        if request.config.getoption("--update-expected"):
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        expected = path.read_text(encoding="utf-8")
        if not near:
            assert text == expected
            return
        assert _words(text) == _words(expected)
        assert _figures(text) == pytest.approx(_figures(expected), rel=1e-3, abs=2e-3)

    return compare


def _words(text: str) -> list[str]:
    return _NUMBER.sub("#", re.sub("-{3,}", "---", text)).split()


def _figures(text: str) -> list[float]:
    return [float(number) for number in _NUMBER.findall(re.sub("-{3,}", "---", text))]

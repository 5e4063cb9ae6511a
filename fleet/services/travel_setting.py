"""How the drives of a depot are timed: one word, file or address, or a file of settings."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from enum import Enum
from math import isfinite
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from fleet.errors import InputError, Problem
from fleet.ingest.route_answer import service_form
from fleet.planning.distance import CIRCUITY, SPEED_KMH, Pace

WALKING_KMH = 4.0
"""Walking speed across country with a load, in km/h (common practice, no published source)."""

EXPECTED = (
    "great-circle, learned, a matrix (.csv), a road extract (.osm.pbf, .osm), the address of a "
    "routing service (http://HOST/table/v1/driving, http://HOST/sources_to_targets) or a file of "
    "settings (.toml) is expected"
)


class TravelKind(Enum):
    """Where driving times come from."""

    GREAT_CIRCLE = "great-circle"
    LEARNED = "learned"
    MATRIX = "matrix"
    ROADS = "roads"
    SERVICE = "service"


@dataclass(frozen=True, slots=True)
class TravelSetting:
    """How one depot's drives are timed.

    ``source`` is the word, path or address as it was named. ``circuity``, ``speed_kmh`` and
    ``start_min`` are for the great circle and for gaps, None where nobody has set them;
    ``walk_kmh`` is for ways beyond the road; ``radius_km`` crops a road extract around the
    depot, None takes what the sites need; ``dated`` is the day of a file that does not say.
    """

    source: str = "great-circle"
    circuity: float | None = None
    speed_kmh: float | None = None
    start_min: float | None = None
    walk_kmh: float = WALKING_KMH
    radius_km: float | None = None
    private_roads: bool = False
    dated: date | None = None

    @property
    def kind(self) -> TravelKind:
        """Tell what the source is; raises InputError for anything else."""
        kind = _kind(self.source)
        if kind is None:
            raise InputError([Problem("--travel", None, None, self.source, EXPECTED)])
        return kind

    @property
    def pace(self) -> Pace:
        """Give how a drive follows from a great-circle distance."""
        given = (self.circuity, self.speed_kmh, self.start_min)
        basis = "a default, not learned" if given == (None, None, None) else "set by hand"
        return Pace(
            circuity=CIRCUITY if self.circuity is None else self.circuity,
            speed_kmh=SPEED_KMH if self.speed_kmh is None else self.speed_kmh,
            start_min=self.start_min or 0.0,
            basis=basis,
        )


def read_travel_setting(text: str, depot_code: str) -> TravelSetting:
    """Read how a depot's drives are timed.

    Parameters
    ----------
    text : str
        A source, or the path of a TOML file with the fields of `TravelSetting` at its top for
        every depot, and in tables ``[depot.CODE]`` for one.
    depot_code : str
        Whose setting.

    Returns
    -------
    TravelSetting
        Paths in a file are taken from the file's folder.

    Raises
    ------
    InputError
        With every problem: no such source, no such file, an unknown field, a value out of range.
    """
    if not text.endswith(".toml"):
        setting = TravelSetting(source=text)
        problems = [*_source_problems("--travel", None, setting.source, Path())]
        if problems:
            raise InputError(problems)
        return setting
    return _from_file(Path(text), depot_code)


def named_depots(text: str) -> frozenset[str]:
    """Give the depots that a file of settings names; none for a source."""
    return frozenset(_tables(Path(text))[1]) if text.endswith(".toml") else frozenset()


def _from_file(path: Path, depot_code: str) -> TravelSetting:
    top, depots = _tables(path)
    problems = [*_problems(path, "", top)]
    for code, fields in depots.items():
        problems += _problems(path, f"depot.{code}.", fields)
    if problems:
        raise InputError(problems)
    setting = TravelSetting(**{**top, **depots.get(depot_code, {})})
    if setting.kind in (TravelKind.MATRIX, TravelKind.ROADS):
        return replace(setting, source=str(path.parent / setting.source))
    return setting


def _tables(path: Path) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """Give the fields at the top of a file and those of each depot."""
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError) as error:
        expected = f"settings in TOML are expected ({error})"
        raise InputError([Problem(path.name, None, None, None, expected)]) from error
    depots = read.pop("depot", {})
    if not isinstance(depots, dict) or not all(isinstance(f, dict) for f in depots.values()):
        expected = "tables such as [depot.NORTH] are expected"
        raise InputError([Problem(path.name, None, "depot", None, expected)])
    return read, depots


@dataclass(frozen=True, slots=True)
class _Field:
    """What a field must be."""

    expected: str
    holds: Callable[[Any], bool]


def _number(low: float, high: float) -> _Field:
    return _Field(
        f"a number from {low:g} to {high:g} is expected",
        lambda value: (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and isfinite(value)
            and low <= value <= high
        ),
    )


FIELDS: Mapping[str, _Field] = {
    "source": _Field(EXPECTED, lambda value: isinstance(value, str)),
    "circuity": _number(1.0, 10.0),
    "speed_kmh": _number(1.0, 200.0),
    "start_min": _number(0.0, 120.0),
    "walk_kmh": _number(0.5, 10.0),
    "radius_km": _number(1.0, 2000.0),
    "private_roads": _Field("true or false is expected", lambda value: isinstance(value, bool)),
    "dated": _Field("a day such as 2026-11-02 is expected", lambda value: type(value) is date),
}


def _problems(path: Path, prefix: str, fields: Mapping[str, Any]) -> Iterator[Problem]:
    for name, value in fields.items():
        field = FIELDS.get(name)
        if field is None:
            expected = f"an unknown field; {', '.join(FIELDS)} are known"
            yield Problem(path.name, None, prefix + name, None, expected)
        elif not field.holds(value):
            yield Problem(path.name, None, prefix + name, str(value), field.expected)
        elif name == "source":
            yield from _source_problems(path.name, prefix + name, value, path.parent)


def _source_problems(file: str, column: str | None, source: str, base: Path) -> Iterator[Problem]:
    kind = _kind(source)
    if kind is None:
        yield Problem(file, None, column, source, EXPECTED)
    elif kind in (TravelKind.MATRIX, TravelKind.ROADS) and not (base / source).is_file():
        yield Problem(file, None, column, source, "there is no such file")


def _kind(source: str) -> TravelKind | None:
    if source in (TravelKind.GREAT_CIRCLE.value, TravelKind.LEARNED.value):
        return TravelKind(source)
    if source.startswith(("http://", "https://")):
        return TravelKind.SERVICE if service_form(source) and urlsplit(source).hostname else None
    if source.endswith(".csv"):
        return TravelKind.MATRIX
    return TravelKind.ROADS if source.endswith((".osm.pbf", ".osm")) else None

"""Builders of small planning problems; all places, people and figures are invented."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import pytest

from fleet.domain.plan import (
    Candidate,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Travel,
    Window,
)

MONDAY = date(2024, 3, 4)
DEPOT = Place("depot:HUB", 0.0, 0.0)


def _site(code: str, **given: Any) -> Candidate:
    figures: dict[str, Any] = {
        "worth": 10.0,
        "service_min": 60,
        "windows": {MONDAY: (Window(0, 1440),)},
    }
    return Candidate(place=Place(code, 0.0, 0.0), **{**figures, **given})


def _member(code: str = "T01", **given: Any) -> TechnicianDay:
    figures: dict[str, Any] = {
        "day": MONDAY,
        "starts_min": 480,
        "ends_min": 960,
        "max_driving_min": 300,
        "start": DEPOT,
        "end": DEPOT,
    }
    return TechnicianDay(technician_code=code, **{**figures, **given})


def _line_travel(positions: Mapping[str, int]) -> Travel:
    """Lay places along one road; a position is the minutes from its beginning."""
    keys = tuple(positions)
    minutes = tuple(tuple(abs(positions[a] - positions[b]) for b in keys) for a in keys)
    km = tuple(tuple(float(value) for value in row) for row in minutes)
    return Travel(keys, minutes, km, "One straight road")


def _problem(
    sites: Sequence[Candidate],
    members: Sequence[TechnicianDay],
    positions: Mapping[str, int],
    **settings: Any,
) -> PlanProblem:
    return PlanProblem(
        candidates=tuple(sites),
        technician_days=tuple(members),
        travel=_line_travel({DEPOT.key: 0, **positions}),
        settings=SearchSettings(**{"iterations": 200, **settings}),
    )


@pytest.fixture(scope="session")
def monday() -> date:
    return MONDAY


@pytest.fixture(scope="session")
def depot() -> Place:
    return DEPOT


@pytest.fixture(scope="session")
def site() -> Callable[..., Candidate]:
    """Build a site that is open all Monday, takes 60 min and is worth 10 record-days."""
    return _site


@pytest.fixture(scope="session")
def member() -> Callable[..., TechnicianDay]:
    """Build a technician's Monday: 08:00 to 16:00 from the depot, at most 300 min of driving."""
    return _member


@pytest.fixture(scope="session")
def problem() -> Callable[..., PlanProblem]:
    """Build a problem of sites along one road through the depot, which lies at minute 0."""
    return _problem

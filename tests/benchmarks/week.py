"""Invented weeks of any size, straight as planning problems: the same for the same size and seed.

Sites lie scattered and in clusters around one depot; some are open on two days or for some hours
only. Nothing in them is anybody's.
"""

from __future__ import annotations

import math
import random
from datetime import date, timedelta

from fleet.domain.plan import (
    Candidate,
    Place,
    PlanProblem,
    SearchSettings,
    TechnicianDay,
    Window,
)
from fleet.planning.distance import great_circle_travel

MONDAY = date(2026, 11, 23)
DAYS = tuple(MONDAY + timedelta(days=number) for number in range(5))
DEPOT = Place("depot:B00", 41.0, -38.0)


def make_week(
    sites: int, *, seed: int, radius_km: float = 90.0, technicians: int = 2, **settings: object
) -> PlanProblem:
    """Make a week of two technicians; a site's worth is skewed as those of a ranking are."""
    candidates = make_candidates(sites, seed=seed, radius_km=radius_km)
    return PlanProblem(
        candidates=candidates,
        technician_days=make_technician_days(technicians),
        travel=great_circle_travel([DEPOT, *(candidate.place for candidate in candidates)]),
        settings=SearchSettings(**settings),  # type: ignore[arg-type]  # named in the call
    )


def make_candidates(sites: int, *, seed: int, radius_km: float = 90.0) -> tuple[Candidate, ...]:
    """Make the sites alone."""
    dice = random.Random(f"{sites} {seed}")
    centres = [_somewhere(dice, radius_km) for _ in range(max(3, sites // 15))]
    return tuple(_candidate(f"P{n:04d}", centres, radius_km, dice) for n in range(sites))


def make_technician_days(technicians: int) -> tuple[TechnicianDay, ...]:
    """Give so many technicians five days at the depot."""
    return tuple(
        TechnicianDay(f"T{n:02d}", day, 450, 990, 300, DEPOT, DEPOT, break_min=30)
        for day in DAYS
        for n in range(1, technicians + 1)
    )


def _candidate(
    code: str, centres: list[tuple[float, float]], radius_km: float, dice: random.Random
) -> Candidate:
    if dice.random() < 0.6:
        east, north = dice.choice(centres)
        east, north = east + dice.gauss(0.0, 7.0), north + dice.gauss(0.0, 7.0)
    else:
        east, north = _somewhere(dice, radius_km)
    return Candidate(
        place=_place(code, east, north),
        worth=round(dice.lognormvariate(1.0, 0.9), 3),
        service_min=dice.choice((40, 50, 60, 70, 90)),
        windows=_windows(dice),
    )


def _windows(dice: random.Random) -> dict[date, tuple[Window, ...]]:
    kind = dice.random()
    days = tuple(sorted(dice.sample(DAYS, 2))) if kind < 0.1 else DAYS
    spans = (Window(540, 720),) if 0.1 <= kind < 0.2 else (Window(420, 1080),)
    return dict.fromkeys(days, spans)


def _somewhere(dice: random.Random, radius_km: float) -> tuple[float, float]:
    away, bearing = radius_km * math.sqrt(dice.random()), dice.uniform(0.0, 2.0 * math.pi)
    return away * math.cos(bearing), away * math.sin(bearing)


def _place(code: str, east_km: float, north_km: float) -> Place:
    latitude = DEPOT.latitude_deg + north_km / 111.2
    return Place(
        code, latitude, DEPOT.longitude_deg + east_km / (111.2 * math.cos(math.radians(latitude)))
    )

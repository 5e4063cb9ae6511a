"""Two invented networks that are flung far: sites beyond a day trip, with places to sleep."""

from __future__ import annotations

from dataclasses import replace

from fleet.domain.plan import NightBase, Place, PlanProblem
from fleet.planning.distance import great_circle_travel
from tests.benchmarks.week import DEPOT, MONDAY, make_week

NIGHT_DAYS = 1.0
"""Price of a night in record-days."""


def one_far_coast(sites: int = 40) -> PlanProblem:
    """Three sites in five lie round a base about 190 km east of the depot."""
    return _flung(sites, seed=1, shifts=(0.0, 2.3, 2.3, 0.0, 2.3), bases=(2.3,))


def two_far_valleys(sites: int = 60) -> PlanProblem:
    """A third of the sites lies about 150 km east, a third as far west, a base in each."""
    return _flung(sites, seed=2, shifts=(0.0, 1.8, -1.8), bases=(1.8, -1.8))


def _flung(
    sites: int, *, seed: int, shifts: tuple[float, ...], bases: tuple[float, ...]
) -> PlanProblem:
    week = make_week(sites, seed=seed, radius_km=60.0)
    candidates = tuple(
        replace(site, place=_moved(site.place, shifts[n % len(shifts)]))
        for n, site in enumerate(week.candidates)
    )
    inns = tuple(
        NightBase(_moved(Place(f"base:B{n}", 41.0, -38.0), east), NIGHT_DAYS, 2, MONDAY)
        for n, east in enumerate(bases)
    )
    places = [DEPOT, *(inn.place for inn in inns), *(site.place for site in candidates)]
    return replace(
        week,
        candidates=candidates,
        technician_days=tuple(replace(day, most_nights=3) for day in week.technician_days),
        travel=great_circle_travel(places),
        bases=inns,
    )


def _moved(place: Place, east_deg: float) -> Place:
    return replace(place, longitude_deg=place.longitude_deg + east_deg)

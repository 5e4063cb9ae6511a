"""Which sites are worth looking at, where there are far more than a week can take.

Twice the same measure cuts a long list: prize for the time that a site is likely to take. Before
any drive is known, along straight lines, so that no table of drives grows with the square of
thousands of sites; and before the search, along the drives.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from fleet.domain.plan import Candidate, LeftOut, LeftOutReason, Place, PlanProblem, TechnicianDay
from fleet.planning.crew import possible_crews
from fleet.planning.distance import DEFAULT_PACE
from fleet.planning.night import day_variants
from fleet.planning.price import Prices
from fleet.planning.reach import ruled_out
from fleet.units import EARTH_RADIUS_KM

Floats = NDArray[np.float64]

LONGEST_LIST = 400
"""Up to so many sites are all given to the solver."""

FILL = 4.0
"""Sites kept of a longer list would fill the shifts so many times, by the time they likely take."""

FEWEST_KEPT = 150
"""Sites kept of a longer list, however few the technician-days."""

POSED_FILL = 8.0
"""As `FILL`, for the list whose drives are asked for: what the search passes over may fill gaps."""

FEWEST_POSED = 1000
"""Sites whose drives are asked for at least; up to so many no site is passed over."""

NEAR = 5
"""Neighbours whose distance tells how dense the surroundings of a site are."""

DEPOT_SHARE = 0.1
"""Part of the drive from the start of the day that is charged to each site."""


@dataclass(frozen=True, slots=True)
class Preselected:
    """The sites whose drives are worth asking for, and the others with the reason why not."""

    candidates: tuple[Candidate, ...]
    passed_over: tuple[LeftOut, ...] = ()


def preselect(
    candidates: Sequence[Candidate],
    technician_days: Sequence[TechnicianDay],
    *,
    always: Collection[str] = (),
) -> Preselected:
    """Keep of thousands of sites those with the most worth for the time they likely take.

    Parameters
    ----------
    candidates : sequence of Candidate
        All sites of the week.
    technician_days : sequence of TechnicianDay
        Who works when.
    always : collection of str
        Site codes that are kept in any case, as must-visit sites are.

    Returns
    -------
    Preselected
        In the order given: all of them up to 1,000, else those that fill the shifts 8 times, at
        least 1,000. Of the others those are told apart that nobody could serve anyway.

    Notes
    -----
    Time as in `shorten`, but along the great circle at the default pace, since no drives are
    known yet.
    """
    if len(candidates) <= FEWEST_POSED:
        return Preselected(tuple(candidates))
    crews = possible_crews(technician_days, candidates)
    if not crews:
        nobody = (ruled_out(candidate, crews) for candidate in candidates)
        return Preselected((), tuple(left for left in nobody if left is not None))
    named = {c.place.key for c in candidates if c.must_visit or c.place.key in always}
    ruled = {
        candidate.place.key: left
        for candidate in candidates
        if candidate.place.key not in named and (left := ruled_out(candidate, crews)) is not None
    }
    able = [candidate for candidate in candidates if candidate.place.key not in ruled]
    minutes = _straight_minutes(able, [day.start for day in technician_days])
    rates = {c.place.key: c.worth / (1.0 + m) for c, m in zip(able, minutes, strict=True)}
    wanted = [c.place.key in named for c in able]
    most = POSED_FILL * _shifts(technician_days)
    best = _best([*rates.values()], minutes, wanted, most=most, fewest=FEWEST_POSED)
    kept = {able[position].place.key for position in best}
    least = min((rates[key] for key in kept - named), default=0.0)
    return Preselected(
        tuple(candidate for candidate in candidates if candidate.place.key in kept),
        tuple(
            ruled.get(key) or _passed_over(key, rates[key], least)
            for key in (candidate.place.key for candidate in candidates)
            if key not in kept
        ),
    )


def shorten(problem: PlanProblem, prices: Prices) -> tuple[Candidate, ...]:
    """Keep the sites with the greatest prize for the time they are likely to take.

    Parameters
    ----------
    problem : PlanProblem
        The week, its candidates all within reach.
    prices : Prices
        Prizes of the sites.

    Returns
    -------
    tuple of Candidate
        In the order given: all of them up to 400, else the best and every must-visit site.

    Notes
    -----
    Time = service + mean of the 5 shortest legs + 0.1 x the shortest drive from where a day may
    begin, in minutes. Weights measured on networks of 1,000 sites: a plan from the short list was
    5 to 15 % better than one from all sites in the same time.
    """
    candidates = problem.candidates
    if len(candidates) <= LONGEST_LIST:
        return candidates
    minutes = _likely_minutes(candidates, problem)
    rates = [
        prices.prizes[candidate.place.key] / (1.0 + spent)
        for candidate, spent in zip(candidates, minutes, strict=True)
    ]
    must = [candidate.must_visit for candidate in candidates]
    most = FILL * _shifts(problem.technician_days)
    chosen = set(_best(rates, minutes, must, most=most, fewest=FEWEST_KEPT))
    return tuple(c for position, c in enumerate(candidates) if position in chosen)


def _best(
    rates: Sequence[float],
    minutes: Sequence[float],
    wanted: Sequence[bool],
    *,
    most: float,
    fewest: int,
) -> list[int]:
    """Give the positions of the wanted ones and of the best rates until the time is filled."""
    order = sorted(range(len(rates)), key=lambda n: (not wanted[n], -rates[n]))
    filled = accumulate(minutes[n] for n in order)
    kept = sum(spent <= most for spent in filled)
    return order[: max(kept, sum(wanted), fewest)]


def _shifts(technician_days: Sequence[TechnicianDay]) -> int:
    return sum(day.ends_min - day.starts_min - day.break_min for day in technician_days)


def _passed_over(key: str, rate: float, least: float) -> LeftOut:
    return LeftOut(
        site_code=key,
        reason=LeftOutReason.NO_ROOM,
        detail=(
            f"passed over before the search: about {60.0 * rate:.2f} record-days an hour of work "
            f"and driving, and the sites looked at have at least {60.0 * least:.2f}"
        ),
    )


def _likely_minutes(candidates: Sequence[Candidate], problem: PlanProblem) -> list[float]:
    travel = problem.travel
    sites = [travel.index[candidate.place.key] for candidate in candidates]
    starts = sorted({travel.index[member.start.key] for member in day_variants(problem)})
    minutes = np.asarray(travel.minutes, dtype=np.float64)
    nearest = np.sort(minutes[np.ix_(sites, sites)], axis=1)[:, 1 : NEAR + 1].mean(axis=1)
    return _likely(candidates, nearest, minutes[np.ix_(starts, sites)].min(axis=0))


def _straight_minutes(candidates: Sequence[Candidate], starts: Sequence[Place]) -> list[float]:
    """Give likely minutes from positions alone, by the nearest points on the sphere."""
    sites = _on_sphere([candidate.place for candidate in candidates])
    near = np.asarray(KDTree(sites).query(sites, k=NEAR + 1)[0])[:, 1:]
    out = np.asarray(KDTree(_on_sphere(starts)).query(sites)[0])
    return _likely(candidates, _drive_min(near).mean(axis=1), _drive_min(out))


def _likely(candidates: Sequence[Candidate], nearest: Floats, from_start: Floats) -> list[float]:
    service = np.array([candidate.service_min for candidate in candidates])
    likely: list[float] = (service + nearest + DEPOT_SHARE * from_start).tolist()
    return likely


def _on_sphere(places: Sequence[Place]) -> Floats:
    """Give points of the unit sphere, shape (n, 3)."""
    latitude = np.radians([place.latitude_deg for place in places])
    longitude = np.radians([place.longitude_deg for place in places])
    level = np.cos(latitude)
    return np.column_stack([level * np.cos(longitude), level * np.sin(longitude), np.sin(latitude)])


def _drive_min(chords: Floats) -> Floats:
    """Give minutes at the default pace for chords of the unit sphere."""
    km = 2.0 * EARTH_RADIUS_KM * np.arcsin(np.clip(chords / 2.0, 0.0, 1.0))
    return np.asarray(km * DEFAULT_PACE.circuity * 60.0 / DEFAULT_PACE.speed_kmh)

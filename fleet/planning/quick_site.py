"""The arrays that the quick planner works on: sites with their drives, crews with their limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Candidate, TechnicianDay, Travel
from fleet.planning.crew import Crew, possible_crews
from fleet.planning.insertion import usable_windows

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class QuickSites:
    """The n sites of a depot, and minutes and km between them and the ends of days.

    ``minutes`` and ``km`` are square, sites first, then ``ends`` by their keys; ``service_min``
    and ``persons`` have shape (n,).
    """

    minutes: Floats
    km: Floats
    ends: tuple[str, ...]
    service_min: Floats
    persons: Ints

    def place(self, end_key: str) -> int:
        """Give the row of a place that days start from or end at."""
        return self.service_min.size + self.ends.index(end_key)


@dataclass(frozen=True, slots=True, eq=False)
class QuickCrew:
    """One crew's day: who is in it, its limits, and when each of n sites is open to it.

    ``start`` and ``end`` are rows of the matrix. ``may`` also tells whether skill and persons
    suffice. Of several windows of a site on one day only the longest is seen.
    """

    day: date
    members: tuple[str, ...]
    start: int
    end: int
    starts_min: float
    ends_min: float
    usable_min: float
    max_driving_min: float
    may: Bools
    opens_min: Floats
    closes_min: Floats


def lay_out_sites(
    candidates: Sequence[Candidate], ends: Iterable[str], travel: Travel
) -> QuickSites:
    """Lay sites and drives out as arrays.

    Parameters
    ----------
    candidates : sequence of Candidate
        n sites, in any order that is kept.
    ends : iterable of str
        Keys of all places that a day of any crew may start from or end at, each once.
    travel : Travel
        Driving times between all places named.

    Returns
    -------
    QuickSites
        In the order of the candidates.
    """
    places = tuple(ends)
    rows = [travel.index[key] for key in (*(c.place.key for c in candidates), *places)]
    square = np.ix_(rows, rows)
    return QuickSites(
        minutes=np.asarray(travel.minutes, dtype=np.float64)[square],
        km=np.asarray(travel.km, dtype=np.float64)[square],
        ends=places,
        service_min=np.array([c.service_min for c in candidates], dtype=np.float64),
        persons=np.array([c.persons for c in candidates], dtype=np.int64),
    )


def lay_out_crews(
    candidates: Sequence[Candidate], technician_days: Sequence[TechnicianDay], sites: QuickSites
) -> list[QuickCrew]:
    """Lay out every crew that a week's technicians could form.

    Parameters
    ----------
    candidates : sequence of Candidate
        The n sites with their windows of the week, in the order of ``sites``.
    technician_days : sequence of TechnicianDay
        Of the week.
    sites : QuickSites
        Places of starts and ends.

    Returns
    -------
    list of QuickCrew
        Crews of one first, as `possible_crews` gives them.
    """
    return [_crew(crew, candidates, sites) for crew in possible_crews(technician_days, candidates)]


def _crew(crew: Crew, candidates: Sequence[Candidate], sites: QuickSites) -> QuickCrew:
    windows = [
        max(usable_windows(c, crew), key=lambda w: w.closes_min - w.opens_min, default=None)
        if crew.serves(c)
        else None
        for c in candidates
    ]
    return QuickCrew(
        day=crew.day,
        members=crew.technician_codes,
        start=sites.place(crew.start_key),
        end=sites.place(crew.end_key),
        starts_min=float(crew.starts_min),
        ends_min=float(crew.ends_min),
        usable_min=float(crew.usable_min),
        max_driving_min=float(crew.max_driving_min),
        may=np.array([w is not None for w in windows], dtype=np.bool_),
        opens_min=np.array([w.opens_min if w else 0.0 for w in windows], dtype=np.float64),
        closes_min=np.array([w.closes_min if w else 0.0 for w in windows], dtype=np.float64),
    )

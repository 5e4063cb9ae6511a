"""The week as a routing problem: one node for each site and window, and which crew may go there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Candidate, Travel, Window
from fleet.planning.crew import Crew
from fleet.planning.insertion import usable_windows, windows_alone
from fleet.planning.price import Prices
from fleet.planning.timeline import Route, Visit, time_route

ModelDay = tuple[int, tuple[int, ...]]
"""A crew and its visits in driving order, as indices into a model."""


@dataclass(frozen=True, slots=True)
class Model:
    """What a route solver needs to know, free of any solver.

    All crews share the clock of one day, so that a site with the same window every day is one
    node. ``may`` tells for each visit (row) and crew (column) whether the pair is possible.
    """

    crews: tuple[Crew, ...]
    visits: tuple[Visit, ...]
    may: NDArray[np.bool_]
    travel: Travel
    prices: Prices

    @property
    def ends(self) -> list[str]:
        """Give the places that crews start from or end at, each once."""
        return list(
            dict.fromkeys(key for crew in self.crews for key in (crew.start_key, crew.end_key))
        )

    def drives(self, *, barred_min: int) -> tuple[list[NDArray[np.int64]], list[int]]:
        """Give driving times between `ends` and visits, a matrix for each kind of crew.

        Parameters
        ----------
        barred_min : int
            Stands for the drive to or from a site that the crew may not visit, in minutes.

        Returns
        -------
        list of ndarray, shape (ends + visits, ends + visits)
            Minutes.
        list of int
            For each crew, which of them is its own.
        """
        ends = self.ends
        places = [self.travel.index[key] for key in (*ends, *(v.key for v in self.visits))]
        minutes = np.asarray(self.travel.minutes, dtype=np.int64)[np.ix_(places, places)]
        kinds, kind_of_crew = np.unique(self.may, axis=1, return_inverse=True)
        matrices = []
        for kind in kinds.T:
            matrix = minutes.copy()
            barred = len(ends) + np.flatnonzero(~kind)
            matrix[barred, :] = barred_min
            matrix[:, barred] = barred_min
            np.fill_diagonal(matrix, 0)
            matrices.append(matrix)
        return matrices, [int(kind) for kind in kind_of_crew]

    def alternatives(self) -> dict[str, list[int]]:
        """Give the visits that stand for one site, by its code."""
        found: dict[str, list[int]] = {}
        for index, visit in enumerate(self.visits):
            found.setdefault(visit.key, []).append(index)
        return found

    def route(self, crew_index: int, visit_indices: Iterable[int]) -> Route:
        """Write what a solver found as a route, in the windows that the sites really have."""
        crew = self.crews[crew_index]
        visits = (self.visits[index] for index in visit_indices)
        return Route(crew, tuple(_whole_window(visit, crew) for visit in visits))

    def routes(self, days: Iterable[ModelDay]) -> list[Route]:
        """Write days as routes, as `route` does."""
        return [self.route(crew, visits) for crew, visits in days if visits]

    def days(self, routes: Iterable[Route]) -> tuple[ModelDay, ...]:
        """Find the days again that `routes` wrote, leaving out crews that the model lacks."""
        index = {crew: position for position, crew in enumerate(self.crews)}
        nodes = self.alternatives()
        return tuple(
            (
                index[route.crew],
                tuple(self._node(visit, route.crew, nodes) for visit in route.visits),
            )
            for route in routes
            if route.crew in index
        )

    def holds(self, day: ModelDay) -> bool:
        """Tell whether a day keeps all limits."""
        crew, visits = day
        may = all(self.may[visit, crew] for visit in visits)
        return may and time_route(self.route(crew, visits), self.travel).over_min == 0

    def value(self, day: ModelDay) -> int:
        """Give what a day collects, less the price of its driving, in cost units."""
        crew, visits = day
        sites = [self.visits[visit].key for visit in visits]
        keys = [self.crews[crew].start_key, *sites, self.crews[crew].end_key]
        driving = sum(self.travel.drive_min(a, b) for a, b in pairwise(keys)) if visits else 0
        return sum(self.prices.prizes[site] for site in sites) - self.prices.per_min * driving

    def _node(self, visit: Visit, crew: Crew, nodes: Mapping[str, Sequence[int]]) -> int:
        column = self.crews.index(crew)
        return next(
            index
            for index in nodes[visit.key]
            if self.may[index, column] and _whole_window(self.visits[index], crew) == visit
        )


def build_model(
    candidates: Sequence[Candidate], crews: Sequence[Crew], *, travel: Travel, prices: Prices
) -> Model:
    """Lay out sites and crews as nodes and vehicles.

    Parameters
    ----------
    candidates : sequence of Candidate
        Sites to choose from.
    crews : sequence of Crew
        Vehicles; no technician in two of them on one day.
    travel : Travel
        Driving times between all places named.
    prices : Prices
        Prizes of the sites and cost of driving.

    Returns
    -------
    Model
        Without the sites that no crew can do even alone.
    """
    possible: dict[tuple[str, Window], set[int]] = {}
    by_key = {candidate.place.key: candidate for candidate in candidates}
    for candidate in candidates:
        for column, crew in enumerate(crews):
            for window in windows_alone(candidate, crew, travel):
                within_shift = Window(
                    max(window.opens_min, crew.starts_min), min(window.closes_min, crew.ends_min)
                )
                possible.setdefault((candidate.place.key, within_shift), set()).add(column)
    may = np.zeros((len(possible), len(crews)), dtype=np.bool_)
    for row, columns in enumerate(possible.values()):
        may[row, sorted(columns)] = True
    visits = tuple(Visit(by_key[key], window) for key, window in possible)
    return Model(tuple(crews), visits, may, travel, prices)


def _whole_window(visit: Visit, crew: Crew) -> Visit:
    whole = next(
        window
        for window in usable_windows(visit.candidate, crew)
        if window.opens_min <= visit.window.opens_min
        and window.closes_min >= visit.window.closes_min
    )
    return Visit(visit.candidate, whole)

"""A good first plan in a moment, to search on from; the only file that knows VROOM."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import vroom

from fleet.planning.model import Model, ModelDay

MOST_PRIORITY = 100
"""The greatest priority that the library takes; the greatest prize gets it."""

EFFORT = 0
"""Effort of the library: 0.1 s for 200 sites. With more it tries several ways at once, and which
of two equally good plans it gives then changes from run to run (measured)."""


def seed_days(model: Model) -> tuple[ModelDay, ...]:
    """Plan the week roughly.

    Parameters
    ----------
    model : Model
        Sites and crews.

    Returns
    -------
    tuple of ModelDay
        Days that keep all limits, at most one a crew; always the same.
    """
    sites = [
        visits
        for key, visits in model.alternatives().items()
        if model.prices.prizes[key] > 0  # the library would take a worthless site along
    ]
    if not sites or not model.crews:
        return ()
    rough = vroom.Input()
    matrices, _ = model.drives(barred_min=0)
    rough.set_durations_matrix("car", np.max(matrices, axis=0).astype(np.uint32))
    rough.add_vehicle(_vehicles(model, sites))
    rough.add_job(_jobs(model, sites))
    routes = rough.solve(exploration_level=EFFORT, nb_threads=1).routes
    jobs = routes[routes["type"] == "job"]
    days = (
        _day(
            model,
            int(crew),
            (
                (sites[int(site)], int(start))
                for site, start in zip(day["id"], day["arrival"], strict=True)
            ),
        )
        for crew, day in jobs.groupby("vehicle_id", sort=True)
    )
    return tuple(day for day in days if model.holds(day))


def _vehicles(model: Model, sites: Sequence[Sequence[int]]) -> list[vroom.Vehicle]:
    places = {key: index for index, key in enumerate(model.ends)}
    may = np.array([model.may[list(visits)].any(axis=0) for visits in sites])
    return [
        vroom.Vehicle(
            index,
            start=places[crew.start_key],
            end=places[crew.end_key],
            skills={int(site) for site in np.flatnonzero(may[:, index])},
            time_window=(crew.starts_min, crew.ends_min),
            max_travel_time=crew.max_driving_min,
            breaks=[_rest(index, crew.starts_min, crew.ends_min, crew.break_min)]
            if crew.break_min
            else [],
        )
        for index, crew in enumerate(model.crews)
    ]


def _rest(index: int, opens_min: int, closes_min: int, rest_min: int) -> vroom.Break:
    return vroom.Break(index, time_windows=[(opens_min, closes_min)], service=rest_min)


def _jobs(model: Model, sites: Sequence[Sequence[int]]) -> list[vroom.Job]:
    """Write each site as a job that only those crews have the skill for who may go there."""
    prizes = [model.prices.prizes[model.visits[visits[0]].key] for visits in sites]
    greatest = max(1, *prizes)
    return [
        vroom.Job(
            site,
            location=len(model.ends) + visits[0],
            default_service=model.visits[visits[0]].candidate.service_min,
            priority=round(MOST_PRIORITY * prize / greatest),
            skills={site},
            time_windows=_spans(model, visits),
        )
        for site, (visits, prize) in enumerate(zip(sites, prizes, strict=True))
    ]


def _spans(model: Model, visits: Sequence[int]) -> list[tuple[int, int]]:
    """Give the starts of work of all windows of a site, those that overlap put together."""
    spans: list[tuple[int, int]] = []
    for opens, last in sorted(
        (model.visits[visit].window.opens_min, model.visits[visit].last_start_min)
        for visit in visits
    ):
        if spans and opens <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], last))
        else:
            spans.append((opens, last))
    return spans


def _day(model: Model, crew: int, stops: Iterable[tuple[Any, int]]) -> ModelDay:
    """Take for each site the window of this crew that the start of work lies in, or the first."""
    chosen = []
    for visits, start_min in stops:
        own = [visit for visit in visits if model.may[visit, crew]]
        fitting = [
            visit
            for visit in own
            if model.visits[visit].window.opens_min
            <= start_min
            <= model.visits[visit].last_start_min
        ]
        chosen += (fitting or own)[:1]
    return crew, tuple(chosen)

"""How rounds are often made by hand: the longest overdue first, then the nearest, until full."""

from __future__ import annotations

import random

from fleet.domain.plan import Candidate, PlanProblem
from fleet.planning.crew import solo_crews
from fleet.planning.insertion import usable_windows
from fleet.planning.timeline import Route, Visit, time_route


def overdue_days(week: PlanProblem, seed: int) -> dict[str, float]:
    """Say how long each site is overdue: longer where the worth is greater, with much scatter."""
    dice = random.Random(f"overdue {seed}")
    return {
        site.place.key: 40.0 * site.worth**0.5 * dice.lognormvariate(0.0, 0.6)
        for site in week.candidates
    }


def longest_overdue_first(week: PlanProblem, overdue: dict[str, float]) -> float:
    """Give the worth that this rule collects with the same technicians and days."""
    left = {site.place.key: site for site in week.candidates}
    worth = 0.0
    for crew in solo_crews(week.technician_days):
        day = Route(crew)
        while True:
            here = day.visits[-1].key if day.visits else None
            order = sorted(
                left.values(),
                key=lambda site: (
                    -overdue[site.place.key]
                    if here is None
                    else week.travel.drive_min(here, site.place.key)
                ),
            )
            longer = next((r for site in order if (r := _longer(day, site, week))), None)
            if longer is None:
                break
            day = longer
            worth += left.pop(day.visits[-1].key).worth
    return worth


def _longer(day: Route, site: Candidate, week: PlanProblem) -> Route | None:
    """Put a site at the end of a day, if the day still holds."""
    for window in usable_windows(site, day.crew):
        route = Route(day.crew, (*day.visits, Visit(site, window)))
        if time_route(route, week.travel).over_min == 0:
            return route
    return None

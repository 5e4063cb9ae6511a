"""What a site is worth and a minute of driving costs, in the solver's whole numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil

from fleet.domain.plan import PlanProblem, Travel
from fleet.planning.timeline import Route

UNITS_PER_MIN = 10
"""Cost units of one minute of driving, where driving has a price: worth is rounded to these."""


TIE_BREAK_RANGE = 1e6
"""Without a price of driving, worth below this part of the whole counts as nothing."""


@dataclass(frozen=True, slots=True)
class Prices:
    """The prize of each site by its code, and the cost of a minute of driving, in cost units.

    A must-visit site has a greater prize than the worth of all sites together.
    ``per_day`` is what a record-day counts.
    """

    prizes: Mapping[str, int]
    per_min: int
    per_day: float

    def score(self, routes: Iterable[Route], travel: Travel) -> int:
        """Give what routes collect, less the price of their driving, in cost units."""
        return sum(
            sum(self.prizes[visit.key] for visit in route.visits)
            - self.per_min * sum(route.drives(travel))
            for route in routes
        )


def set_prices(problem: PlanProblem) -> Prices:
    """Turn worth into prizes.

    Parameters
    ----------
    problem : PlanProblem
        Candidates with their worth in record-days; the setting ``drive_price_days_per_h``.

    Returns
    -------
    Prices
        With a price of driving p, a record-day is worth 60 / p minutes of driving. Without one,
        all driving that the week allows together costs less than the least worth.
    """
    price = problem.settings.drive_price_days_per_h
    per_min = UNITS_PER_MIN if price > 0.0 else 1
    per_day = 60.0 / price * UNITS_PER_MIN if price > 0.0 else _tie_break_scale(problem)
    own = {c.place.key: round(c.worth * per_day) for c in problem.candidates}
    driving = sum(member.max_driving_min for member in problem.technician_days)
    nights = _dearest_nights(problem)
    above_all = sum(own.values()) + per_min * driving + ceil(per_day * nights) + 1
    prizes = {
        c.place.key: own[c.place.key] + (above_all if c.must_visit else 0)
        for c in problem.candidates
    }
    return Prices(prizes=prizes, per_min=per_min, per_day=per_day)


def _dearest_nights(problem: PlanProblem) -> float:
    """Give the price in record-days of a week in which everybody sleeps out every night."""
    dearest = max((base.cost_days for base in problem.bases), default=0.0)
    return dearest * len(problem.technician_days)


def _tie_break_scale(problem: PlanProblem) -> float:
    driving = sum(member.max_driving_min for member in problem.technician_days)
    worths = [candidate.worth for candidate in problem.candidates if candidate.worth > 0.0]
    least = max(min(worths, default=1.0), sum(worths) / TIE_BREAK_RANGE)
    return 2.0 * (driving + 1) / least

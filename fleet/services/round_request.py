"""Which depot and week to plan, on which evidence, and how the search runs."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from fleet.domain.plan import SearchSettings
from fleet.errors import ConflictError

DAYS_IN_WEEK = 7


@dataclass(frozen=True, slots=True)
class RoundRequest:
    """A depot's week to plan.

    ``first_day`` is the Monday, or a later day where the week has begun. ``evidence_as_of`` is
    the last day whose records count; ``with_rain`` tells whether daily totals are among them.
    ``take_along`` weighs the trips that sites near the route would cost once they fall due. With
    ``share_sites`` a site that lies nearer to another depot may be served from there.
    """

    depot_code: str
    first_day: date
    evidence_as_of: date
    settings: SearchSettings = field(default_factory=SearchSettings)
    take_along: bool = False
    share_sites: bool = False
    processes: int = 1
    """Processes to spread the search over; they change nothing in the plan."""
    with_rain: bool = True

    @property
    def last_day(self) -> date:
        """Give the Sunday of the week."""
        return self.first_day + timedelta(days=DAYS_IN_WEEK - 1 - self.first_day.weekday())

    def timed(self, *, seconds: float | None = None, bound_s: float | None = None) -> RoundRequest:
        """Give the request with a clock on the search or the bound; None keeps either off."""
        settings = replace(self.settings, seconds=seconds, bound_s=bound_s)
        return replace(self, settings=settings)


def round_code(depot_code: str, first_day: date) -> str:
    """Name the round of a depot and week, after ISO 8601: 2026-W48-DEPOT."""
    year, week, _ = first_day.isocalendar()
    return f"{year}-W{week:02d}-{depot_code}"


def request_for(
    depot_code: str,
    as_of: date,
    week: date | None = None,
    *,
    seed: int = 1,
    iterations: int | None = None,
    drive_price: float | None = None,
) -> RoundRequest:
    """Make a request from what a person names; None takes the default.

    Parameters
    ----------
    depot_code : str
        The depot.
    as_of : date
        Last day whose records count; no day up to it is planned.
    week : date, optional
        Any day of the week to plan; None is the week after ``as_of``.
    seed, iterations, drive_price : optional
        Of the search; None keeps the default of `SearchSettings`.

    Raises
    ------
    ConflictError
        The week ends on ``as_of`` or before.
    """
    day = week or as_of + timedelta(days=DAYS_IN_WEEK)
    monday = day - timedelta(days=day.weekday())
    if monday + timedelta(days=DAYS_IN_WEEK - 1) <= as_of:
        raise ConflictError(
            f"The week of {monday} has no day after {as_of}, the last day of the evidence. "
            "Name a later week, or an earlier --as-of."
        )
    default = SearchSettings()
    return RoundRequest(
        depot_code=depot_code,
        first_day=max(monday, as_of + timedelta(days=1)),
        evidence_as_of=as_of,
        settings=SearchSettings(
            seed=seed,
            iterations=default.iterations if iterations is None else iterations,
            drive_price_days_per_h=(
                default.drive_price_days_per_h if drive_price is None else drive_price
            ),
        ),
    )

"""What the recorded arrivals and departures say of a depot's drives."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from statistics import median

from sqlalchemy.orm import Session

from fleet.domain.plan import Place, Travel
from fleet.planning.distance import Pace, great_circle_travel
from fleet.stats.pace import LEAST_LEGS, PaceFit, fit_pace
from fleet.store.queries.drive import RecordedDrive, recorded_drives
from fleet.store.queries.place import sites

LEAST_KM = 2.0
"""Nearer sites say little: the time between them is mostly walking and rounding."""

MOST_MINUTES = 240.0
"""What lies longer between two visits is not only a drive."""

MOST_STRAIGHT_KMH = 120.0
"""Nobody gets ahead faster as the crow flies; such times are miswritten."""


@dataclass(frozen=True, slots=True)
class DepotDrives:
    """A depot's recorded drives that can be learned from, oldest first, with the sites.

    ``set_aside`` counts those that are too short, too long, too fast or overlap.
    """

    drives: tuple[RecordedDrive, ...]
    straight_km: tuple[float, ...]
    set_aside: int
    places: tuple[Place, ...]

    @property
    def days(self) -> int:
        """Give the number of days on which somebody drove."""
        return len({drive.day for drive in self.drives})

    @property
    def enough(self) -> bool:
        """Tell whether a pace can be learned."""
        return len(self.drives) >= LEAST_LEGS

    def fit(self) -> PaceFit:
        """Fit the pace; raises TooFewPointsError."""
        return fit_pace(self.straight_km, [drive.minutes for drive in self.drives])

    def over(self, travel: Travel) -> float | None:
        """Give the median of recorded over planned driving time, None without drives."""
        planned = [travel.drive_min(drive.from_site, drive.to_site) for drive in self.drives]
        ratios = [d.minutes / p for d, p in zip(self.drives, planned, strict=True) if p]
        return median(ratios) if ratios else None

    def circuity(self, travel: Travel) -> float | None:
        """Give the median of a source's km by road over great-circle km, None without drives."""
        by_road = [travel.drive_km(drive.from_site, drive.to_site) for drive in self.drives]
        ratios = [km / straight for km, straight in zip(by_road, self.straight_km, strict=True)]
        return median(ratios) if ratios else None


def depot_drives(
    session: Session, depot_code: str, *, as_of: date, known_on: datetime | None = None
) -> DepotDrives:
    """Gather a depot's recorded drives.

    Parameters
    ----------
    session : Session
        Only read from.
    depot_code : str
        The depot of both ends.
    as_of : date
        Last day that is seen.
    known_on : datetime, optional
        As the records were known then; None is now.

    Returns
    -------
    DepotDrives
        Distances are between the positions known then.
    """
    kept = sites(session, depot_code=depot_code, known_on=known_on)
    places = {c: Place(c, site.latitude_deg, site.longitude_deg) for c, site in kept.items()}
    every = recorded_drives(session, depot_code, as_of=as_of, known_on=known_on)
    straight = great_circle_travel(tuple(places.values()), Pace(circuity=1.0))
    lengths = [straight.drive_km(drive.from_site, drive.to_site) for drive in every]
    good = [(d, km) for d, km in zip(every, lengths, strict=True) if _is_drive(d.minutes, km)]
    return DepotDrives(
        drives=tuple(drive for drive, _ in good),
        straight_km=tuple(km for _, km in good),
        set_aside=len(every) - len(good),
        places=tuple(places.values()),
    )


def learned_pace(found: DepotDrives, pace: Pace) -> Pace:
    """Give the pace that the records say, or the one set where they say too little.

    Parameters
    ----------
    found : DepotDrives
        The depot's recorded drives.
    pace : Pace
        As set. The records hold times and no kilometres, so that circuity and speed are not
        told apart: at the speed set, the circuity is learned.

    Returns
    -------
    Pace
        Its ``basis`` says from how many legs, and how sure.
    """
    if not found.enough:
        few = f"too few to learn from: {len(found.drives)} legs, {LEAST_LEGS} needed"
        return replace(pace, basis=f"{pace.basis}; {few}")
    fit = found.fit()
    legs = f"learned from {fit.legs} legs on {found.days} days to {found.drives[-1].day}"
    circuity, low, high = (
        value * pace.speed_kmh / 60.0 for value in (fit.min_per_km, fit.low, fit.high)
    )
    start = round(fit.start_min, 1)
    if circuity < 1.0:
        return _learned_speed(pace, fit, start, legs)
    basis = f"{legs}, {low:.2f} to {high:.2f} with 95 % confidence"
    return Pace(circuity, pace.speed_kmh, start, basis)


def _learned_speed(pace: Pace, fit: PaceFit, start_min: float, legs: str) -> Pace:
    """Learn the speed: at the one set, roads would be shorter than the straight line."""
    speed, low, high = (
        pace.circuity * 60.0 / value for value in (fit.min_per_km, fit.high, fit.low)
    )
    basis = f"{legs}, {low:.0f} to {high:.0f} km/h with 95 % confidence"
    return Pace(pace.circuity, round(speed, 1), start_min, basis)


def _is_drive(minutes: float, km: float) -> bool:
    return (
        km >= LEAST_KM
        and 0.0 < minutes <= MOST_MINUTES
        and km / minutes * 60.0 <= MOST_STRAIGHT_KMH
    )

"""Driving times and distances along the great circle, and how they follow from a pace."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place, Travel, Walk
from fleet.units import EARTH_RADIUS_KM

CIRCUITY = 1.3
"""Road distance over great-circle distance; 1.31-1.38 measured on road grids."""

SPEED_KMH = 60.0
"""Average speed on country roads, in km/h (common practice, no published source)."""

ROWS_AT_ONCE = 500
"""Rows of a table of distances that are computed together, to bound the memory."""

ROUNDING_SLACK_MIN = 1e-9
"""What a time may exceed a whole minute by without being rounded up, in min."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How a drive follows from a great-circle distance.

    ``circuity`` is road distance over great-circle distance, at least 1; ``speed_kmh`` the
    average speed; ``start_min`` what every drive takes on top (gate, belt, parking); ``basis``
    says in words where the figures come from.
    """

    circuity: float = CIRCUITY
    speed_kmh: float = SPEED_KMH
    start_min: float = 0.0
    basis: str = "a default, not learned"

    def __str__(self) -> str:
        start = f" and {self.start_min:.1f} min a drive" if self.start_min else ""
        return (
            f"great-circle distance x {self.circuity:.2f} at {self.speed_kmh:g} km/h{start} "
            f"({self.basis})"
        )

    def problems(self) -> Iterable[str]:
        """Say what is out of range."""
        if not (isfinite(self.circuity) and self.circuity >= 1.0):
            yield f"circuity {self.circuity}: a finite number of at least 1 is expected"
        if not (isfinite(self.speed_kmh) and self.speed_kmh > 0.0):
            yield f"speed {self.speed_kmh} km/h: a finite number above 0 is expected"
        if not (isfinite(self.start_min) and self.start_min >= 0.0):
            yield f"start of {self.start_min} min: a finite number of at least 0 is expected"


DEFAULT_PACE = Pace()


def great_circle_travel(places: Sequence[Place], pace: Pace = DEFAULT_PACE) -> Travel:
    """Estimate all drives from the positions alone.

    Parameters
    ----------
    places : sequence of Place
        Every place to drive from or to, each key once.
    pace : Pace
        How a drive follows from a distance.

    Returns
    -------
    Travel
        Minutes rounded up to whole ones; km to 0.001; both symmetric.

    Raises
    ------
    ValueError
        For a key that comes twice, a position off the globe, a circuity below 1 or a speed
        that is not positive.

    Examples
    --------
    >>> equator = [Place("A", 0.0, 0.0), Place("B", 0.0, 1.0)]
    >>> great_circle_travel(equator, Pace(circuity=1.0, speed_kmh=60.0)).minutes
    ((0, 112), (112, 0))
    """
    minutes, km = straight_drives(places, pace)
    words = str(pace)
    return whole_travel(places, minutes, km, source=words[0].upper() + words[1:])


def whole_travel(
    places: Sequence[Place],
    minutes: NDArray[np.float64],
    km: NDArray[np.float64],
    *,
    source: str,
    straight: tuple[str, ...] = (),
    walks: tuple[Walk, ...] = (),
) -> Travel:
    """Round minutes up to whole ones, a place to itself to 0, and km to 0.001."""
    return Travel(
        keys=tuple(place.key for place in places),
        minutes=tuple(_whole(row, number) for number, row in enumerate(minutes)),
        km=tuple(tuple(np.round(row, 3).tolist()) for row in km),
        source=source,
        straight=straight,
        walks=walks,
    )


def haversine_km(
    latitudes_deg: Sequence[float], longitudes_deg: Sequence[float]
) -> NDArray[np.float64]:
    """Give the great-circle distances between all pairs of positions.

    Parameters
    ----------
    latitudes_deg, longitudes_deg : sequence of float, length n
        Positions in degrees, WGS 84.

    Returns
    -------
    ndarray, shape (n, n)
        Distances in km on the sphere of mean radius; at most 0.6 % off the ellipsoid.
    """
    latitude = np.radians(np.asarray(latitudes_deg, dtype=np.float64))
    longitude = np.radians(np.asarray(longitudes_deg, dtype=np.float64))
    km = np.empty((latitude.size, latitude.size))
    for first in range(0, latitude.size, ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        rise = np.sin((latitude[rows, None] - latitude) / 2.0) ** 2
        turn = np.sin((longitude[rows, None] - longitude) / 2.0) ** 2
        chord = rise + np.cos(latitude[rows, None]) * np.cos(latitude) * turn
        km[rows] = 2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0)))
    return km


def straight_drives(
    places: Sequence[Place], pace: Pace
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give minutes, not rounded, and km of all drives; raises as `great_circle_travel`."""
    problems = [*_place_problems(places), *pace.problems()]
    if problems:
        raise ValueError("; ".join(problems))
    latitudes = [place.latitude_deg for place in places]
    km = haversine_km(latitudes, [place.longitude_deg for place in places])
    km *= pace.circuity
    minutes = km * (60.0 / pace.speed_kmh)
    minutes[km > 0.0] += pace.start_min
    return minutes, km


def _whole(minutes: NDArray[np.float64], self_at: int) -> tuple[int, ...]:
    """Round one row up to whole minutes; the place itself is no drive."""
    whole = np.maximum(np.ceil(minutes - ROUNDING_SLACK_MIN), 0.0).astype(np.int64)
    whole[self_at] = 0
    return tuple(whole.tolist())


def _place_problems(places: Sequence[Place]) -> Iterable[str]:
    seen: set[str] = set()
    for place in places:
        if place.key in seen:
            yield f"place {place.key!r} comes twice"
        seen.add(place.key)
        if not (abs(place.latitude_deg) <= 90.0 and abs(place.longitude_deg) <= 180.0):
            yield (
                f"place {place.key!r}: latitude {place.latitude_deg}, "
                f"longitude {place.longitude_deg} is not on the globe"
            )

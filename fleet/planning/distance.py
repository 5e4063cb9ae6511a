"""Driving times and distances between places: along the great circle, or from a user's matrix."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from fleet.domain.plan import Place, Travel
from fleet.units import EARTH_RADIUS_KM

CIRCUITY = 1.3
"""Road distance over great-circle distance; 1.31-1.38 measured on road grids."""

SPEED_KMH = 60.0
"""Average speed on country roads, in km/h (common practice, no published source)."""

ROUNDING_SLACK_MIN = 1e-9
"""What a time may exceed a whole minute by without being rounded up, in min."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One row of a user's matrix: the drive from one place to another, that way only."""

    from_key: str
    to_key: str
    minutes: float
    km: float


def great_circle_travel(
    places: Sequence[Place], *, circuity: float = CIRCUITY, speed_kmh: float = SPEED_KMH
) -> Travel:
    """Estimate all drives from the positions alone.

    Parameters
    ----------
    places : sequence of Place
        Every place to drive from or to, each key once.
    circuity : float
        Road distance over great-circle distance, at least 1.
    speed_kmh : float
        Average speed in km/h, above 0.

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
    >>> great_circle_travel(equator, circuity=1.0, speed_kmh=60.0).minutes
    ((0, 112), (112, 0))
    """
    km = _road_km(places, circuity, speed_kmh)
    source = f"{_how(circuity, speed_kmh)} (a default, not learned)"
    return _travel(places, minutes=km * (60.0 / speed_kmh), km=km, source=source)


def matrix_travel(
    places: Sequence[Place],
    legs: Iterable[Leg],
    *,
    circuity: float = CIRCUITY,
    speed_kmh: float = SPEED_KMH,
) -> Travel:
    """Take the drives from a user's matrix, and the great circle where it has a gap.

    Parameters
    ----------
    places : sequence of Place
        Every place to drive from or to, each key once.
    legs : iterable of Leg
        Rows of the matrix; rows of other places are passed over.
    circuity, speed_kmh : float
        For the legs that the matrix lacks, as in `great_circle_travel`.

    Returns
    -------
    Travel
        Minutes rounded up to whole ones; ``source`` counts the legs that were filled in.

    Raises
    ------
    ValueError
        As in `great_circle_travel`, and for a leg that is negative, not finite, or given twice
        with different values; all of them are named.
    """
    km = _road_km(places, circuity, speed_kmh)
    minutes = km * (60.0 / speed_kmh)
    given = _given_legs(legs, {place.key for place in places})
    index = {place.key: position for position, place in enumerate(places)}
    for (from_key, to_key), leg in given.items():
        minutes[index[from_key], index[to_key]] = leg.minutes
        km[index[from_key], index[to_key]] = leg.km
    expected = len(places) * (len(places) - 1)
    source = _matrix_source(expected, expected - len(given), _how(circuity, speed_kmh))
    return _travel(places, minutes=minutes, km=km, source=source)


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
    rise = np.sin((latitude[:, None] - latitude[None, :]) / 2.0) ** 2
    turn = np.sin((longitude[:, None] - longitude[None, :]) / 2.0) ** 2
    chord = rise + np.cos(latitude)[:, None] * np.cos(latitude)[None, :] * turn
    km: NDArray[np.float64] = 2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0)))
    return km


def _road_km(places: Sequence[Place], circuity: float, speed_kmh: float) -> NDArray[np.float64]:
    problems = [*_place_problems(places)]
    if not (isfinite(circuity) and circuity >= 1.0):
        problems.append(f"circuity {circuity}: a finite number of at least 1 is expected")
    if not (isfinite(speed_kmh) and speed_kmh > 0.0):
        problems.append(f"speed {speed_kmh} km/h: a finite number above 0 is expected")
    if problems:
        raise ValueError("; ".join(problems))
    latitudes = [place.latitude_deg for place in places]
    return circuity * haversine_km(latitudes, [place.longitude_deg for place in places])


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


def _given_legs(legs: Iterable[Leg], keys: set[str]) -> dict[tuple[str, str], Leg]:
    """Keep the legs between different known places, once each."""
    given: dict[tuple[str, str], Leg] = {}
    problems: list[str] = []
    for leg in legs:
        pair = (leg.from_key, leg.to_key)
        if leg.from_key == leg.to_key or not keys.issuperset(pair):
            continue
        if not all(isfinite(value) and value >= 0.0 for value in (leg.minutes, leg.km)):
            problems.append(f"{leg}: minutes and km must be finite and not negative")
        if given.setdefault(pair, leg) != leg:
            problems.append(f"{leg}: given before as {given[pair]}")
    if problems:
        raise ValueError("; ".join(problems))
    return given


def _how(circuity: float, speed_kmh: float) -> str:
    return f"Great-circle distance x {circuity:.2f} at {speed_kmh:g} km/h"


def _matrix_source(expected: int, missing: int, how: str) -> str:
    if missing == 0:
        return "Travel matrix given by the user"
    return f"Travel matrix given by the user; {missing} of {expected} legs missing: {how}"


def _travel(
    places: Sequence[Place],
    *,
    minutes: NDArray[np.float64],
    km: NDArray[np.float64],
    source: str,
) -> Travel:
    whole = np.ceil(minutes - ROUNDING_SLACK_MIN).astype(np.int64)
    return Travel(
        keys=tuple(place.key for place in places),
        minutes=tuple(tuple(row) for row in np.maximum(whole, 0).tolist()),
        km=tuple(tuple(row) for row in np.round(km, 3).tolist()),
        source=source,
    )

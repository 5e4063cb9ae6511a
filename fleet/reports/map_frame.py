"""From degrees to millimetres on paper: one small map's projection, graticule and scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, pi, radians

from fleet.units import EARTH_RADIUS_KM

KM_PER_DEGREE = EARTH_RADIUS_KM * pi / 180
"""Length of one degree of latitude on that sphere: 111.195 km [CALC]."""

LEAST_SPAN_KM = 2.0
"""A map of one spot still shows this much land across."""

_STEPS_DEG = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002)
_BARS_KM = (500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2)

LatLon = tuple[float, float]
"""Latitude and longitude in degrees."""


@dataclass(frozen=True, slots=True)
class MapFrame:
    """A rectangle of paper with north up and the scale true along its middle parallel.

    Lengths are in mm from the upper left corner; ``mm_per_km`` is the scale.
    """

    width_mm: float
    height_mm: float
    middle: LatLon
    mm_per_km: float

    def place(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        """Give the point on paper, in mm right of and below the upper left corner."""
        east_deg = _turned(longitude_deg, self.middle[1]) - self.middle[1]
        mm_per_degree = self.mm_per_km * KM_PER_DEGREE
        return (
            self.width_mm / 2 + east_deg * self._shrink * mm_per_degree,
            self.height_mm / 2 - (latitude_deg - self.middle[0]) * mm_per_degree,
        )

    @property
    def _shrink(self) -> float:
        return _parallel(self.middle[0])

    @property
    def span_deg(self) -> tuple[float, float]:
        """Give how many degrees of latitude and longitude the frame shows."""
        mm_per_degree = self.mm_per_km * KM_PER_DEGREE
        return self.height_mm / mm_per_degree, self.width_mm / mm_per_degree / self._shrink

    def graticule(self) -> tuple[tuple[float, ...], tuple[float, ...], int]:
        """Give the round parallels and meridians that cross the frame.

        Returns
        -------
        tuple
            Latitudes, longitudes (within -180 to 180) and the decimals that tell them apart.
        """
        tall, wide = self.span_deg
        step = next((s for s in _STEPS_DEG if min(tall, wide) / s >= 2), _STEPS_DEG[-1])
        digits = max(0, len(f"{step:.3f}".rstrip("0").partition(".")[2]))
        parallels = _multiples(self.middle[0], tall, step, digits)
        meridians = _multiples(self.middle[1], wide, step, digits)
        return (
            tuple(p for p in parallels if abs(p) <= 90),
            tuple(round((m + 180) % 360 - 180, digits) for m in meridians),
            digits,
        )

    def scale_bar_km(self) -> float:
        """Give the longest round length that fits a quarter of the width, in km."""
        room_km = self.width_mm / 4 / self.mm_per_km
        return next((bar for bar in _BARS_KM if bar <= room_km), _BARS_KM[-1])


def frame_around(
    points: Sequence[LatLon], *, width_mm: float, height_mm: float, margin_mm: float
) -> MapFrame:
    """Fit a frame around points, with a margin of blank paper on every side.

    Parameters
    ----------
    points : sequence of (latitude, longitude)
        Degrees; at least one. A group that straddles the 180th meridian stays together.
    width_mm, height_mm, margin_mm : float
        Size of the map and of the border that stays free of points, in mm.

    Returns
    -------
    MapFrame
        The largest scale at which every point fits and at least 2 km are shown.

    Notes
    -----
    Equirectangular with the middle parallel true to scale, x = R (lon - lon0) cos(lat0)
    [CALC]: over a day's drive (1 degree of latitude at 45 degrees) the scale across is off by
    at most about 1 %.
    """
    latitudes = [latitude for latitude, _ in points]
    longitudes = [_turned(longitude, points[0][1]) for _, longitude in points]
    middle = (_mid(latitudes), _mid(longitudes))
    tall_km = (max(latitudes) - min(latitudes)) * KM_PER_DEGREE
    wide_km = (max(longitudes) - min(longitudes)) * KM_PER_DEGREE * _parallel(middle[0])
    mm_per_km = min(
        (height_mm - 2 * margin_mm) / max(tall_km, LEAST_SPAN_KM),
        (width_mm - 2 * margin_mm) / max(wide_km, LEAST_SPAN_KM),
    )
    return MapFrame(width_mm, height_mm, middle, mm_per_km)


def _parallel(latitude_deg: float) -> float:
    """Give the length of a degree of longitude against one of latitude, never quite 0."""
    return max(cos(radians(latitude_deg)), 0.01)


def _turned(longitude_deg: float, reference_deg: float) -> float:
    """Give the same meridian within half a turn of a reference."""
    return reference_deg + (longitude_deg - reference_deg + 180) % 360 - 180


def _mid(values: Sequence[float]) -> float:
    return (min(values) + max(values)) / 2


def _multiples(middle: float, span: float, step: float, digits: int) -> tuple[float, ...]:
    first = ceil((middle - span / 2) / step)
    last = ceil((middle + span / 2) / step)
    return tuple(round(index * step, digits) for index in range(first, last))

"""An invented world of daily rain for the comparison of neighbours: storms over a square of land.

The mechanism is not the model's own: patches of rain of random place, reach and depth, lifted by a
factor a site, blurred by log-normal noise, and recorded in whole tips.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fleet.stats.array import Bools, Floats
from fleet.stats.neighbour_record import RainRecord

KM_PER_DEGREE = 111.195
MIDDLE_DEG = 44.7
TIP_MM = 0.2


def make_places(gauges: int, *, side_km: float, seed: int) -> tuple[Floats, Floats]:
    """Give positions in km, evenly at random over a square."""
    dice = np.random.default_rng([seed, 1])
    return dice.uniform(0, side_km, gauges), dice.uniform(0, side_km, gauges)


def make_rain(
    east_km: Floats,
    north_km: Floats,
    *,
    days: int,
    seed: int,
    noise: float = 0.15,
    reach_km: tuple[float, float] = (15.0, 45.0),
) -> Floats:
    """Give the true rain of each gauge and day, shape (gauges, days), in mm."""
    dice = np.random.default_rng([seed, 2])
    lift = np.exp(dice.normal(0.0, 0.15, east_km.size))
    rain, mood = np.zeros((days, east_km.size), dtype=np.float32), 0.0
    for day in range(days):
        mood = 0.5 * mood + dice.normal(0.0, 0.87)
        if mood < 0.3 - 0.4 * np.cos(2 * np.pi * day / 365.25):
            continue
        depth = np.zeros(east_km.size)
        cells = (
            dice.poisson(3.0 * max(east_km.max() / 100.0, 1.0) * max(north_km.max() / 100.0, 1.0))
            + 1
        )
        for _ in range(cells):
            depth += _cell(dice, east_km, north_km, reach_km) * np.exp(0.6 * mood)
        blur = np.exp(dice.normal(-(noise**2) / 2, noise, east_km.size))
        rain[day] = np.where(depth >= 0.1, depth * blur * lift, 0.0)
    return np.ascontiguousarray(rain.T)


def _cell(
    dice: np.random.Generator, east_km: Floats, north_km: Floats, reach_km: tuple[float, float]
) -> Floats:
    reach = dice.uniform(*reach_km)
    east = east_km - dice.uniform(-20, east_km.max() + 20)
    north = north_km - dice.uniform(-20, north_km.max() + 20)
    shape = np.exp(-(east**2 + north**2) / (2 * reach**2))
    return np.asarray(dice.gamma(1.5, 3.5) * shape)


def count_tips(rain_mm: Floats, *, tip_mm: float = TIP_MM) -> Floats:
    """Turn rain into whole tips, the rest being carried to the next rain."""
    whole = np.floor(np.cumsum(rain_mm, axis=1, dtype=np.float64) / tip_mm + 1e-6)
    return np.asarray(np.diff(whole, axis=1, prepend=0.0) * tip_mm, dtype=np.float32)


def make_services(gauges: int, days: int, *, every: int, seed: int) -> Bools:
    """Give each gauge a service about every so many days."""
    dice = np.random.default_rng([seed, 3])
    serviced = np.zeros((gauges, days), dtype=bool)
    for gauge in range(gauges):
        day = int(dice.integers(20, every))
        while day < days:
            serviced[gauge, day] = True
            day += int(every * dice.uniform(0.7, 1.3))
    return serviced


def make_record(
    total_mm: Floats, serviced: Bools, places: tuple[Floats, Floats], **more: Any
) -> RainRecord:
    """Give the record of 0.2 mm gauges with a tolerance of 5 %."""
    east_km, north_km = places
    gauges = len(total_mm)
    shrink = np.cos(np.radians(MIDDLE_DEG))
    return RainRecord(
        total_mm=total_mm,
        serviced=serviced,
        latitude_deg=MIDDLE_DEG + north_km / KM_PER_DEGREE,
        longitude_deg=-34.8 + east_km / (KM_PER_DEGREE * shrink),
        tip_mm=np.full(gauges, TIP_MM),
        low_percent=np.full(gauges, -5.0),
        high_percent=np.full(gauges, 5.0),
        **more,
    )

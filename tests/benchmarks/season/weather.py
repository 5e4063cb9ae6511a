"""The rain that falls on the gauges of the world, and what they count of it, day by day."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.season.nature import KINDS, Floats, SwitchFault
from tests.benchmarks.season.road import Patch
from tests.benchmarks.season.technician import DEAD_COUNT
from tests.benchmarks.season.truth import Truth
from tests.stats.neighbour_world import KM_PER_DEGREE, make_rain

REACH_KM = (12.0, 40.0)
NOISE = 0.2
"""Storms reach 12 to 40 km, and each gauge and day differs by 20 %: daily totals correlate by 0.93
at 10 km and 0.7 at 40 km (own estimate; patchier and smoother rain are in NEIGHBOURS.md)."""


def positions(patches: list[Patch], gauges: int) -> tuple[Floats, Floats]:
    """Give latitudes and longitudes of all gauges in degrees."""
    places = np.zeros((gauges, 2))
    for patch in patches:
        places[patch.members] = patch.positions
    return places[:, 0], places[:, 1]


def draw_rain(latitude: Floats, longitude: Floats, *, days: int, seed: int) -> Floats:
    """Give the true rain, shape (gauges, days), in mm; its dice are its own."""
    east, north = longitude * KM_PER_DEGREE, latitude * KM_PER_DEGREE
    return make_rain(
        east - east.min(), north - north.min(), days=days, seed=seed, noise=NOISE, reach_km=REACH_KM
    )


class Counters:
    """Counts whole tips of each gauge; what is in the bucket waits for the next rain."""

    def __init__(self, truth: Truth) -> None:
        self._truth = truth
        self.tip_mm = np.array([KINDS[k].bucket_mm for k in truth.nature.character.kind])
        self._waiting_mm = np.zeros(truth.nature.gauges)

    def count(self, rain_mm: Floats) -> Floats:
        """Give the total of one day of rain as each gauge records it, in mm."""
        truth = self._truth
        counted = {SwitchFault.NONE: 1.0, SwitchFault.OPEN: 0.0, SwitchFault.MISSES: DEAD_COUNT}
        share = np.array([counted[SwitchFault(fault)] for fault in truth.fault.tolist()])
        share = np.where(truth.blocked, 0.0, share * (1.0 + truth.error_percent / 100.0))
        water = self._waiting_mm + rain_mm * share
        tips = np.floor(water / self.tip_mm + 1e-9)
        self._waiting_mm = water - tips * self.tip_mm
        return np.asarray(tips * self.tip_mm)

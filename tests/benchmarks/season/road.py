"""Where the gauges are, how long the drives take, and how a day is filled; one clock for all."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.domain.plan import Place
from fleet.planning.distance import great_circle_travel
from tests.benchmarks.season.nature import Bools, Floats, Ints

SHIFT_MIN = 480.0
MAX_DRIVING_MIN = 300.0
SERVICE_MIN = 60.0
"""At one gauge, with walking in and out (common practice, no published source)."""

DEPOTS = ((0.0, -0.6), (0.0, 0.6))
"""Latitude and longitude in degrees on an empty stretch of the equator, 133 km apart."""

STARTS_TRIED = 12
"""Gauges from which the day builder starts a day, the best day counts."""


@dataclass(frozen=True)
class Patch:
    """The gauges of one depot: their indices, and minutes between depot (0) and gauges (1 ..).

    ``positions`` are latitude and longitude of the gauges in degrees.
    """

    members: Ints
    minutes: Floats
    positions: Floats

    def feasible(self, order: Sequence[int]) -> bool:
        """Tell whether a round through local numbers (from 1 on) fits into a day."""
        driving = self.driving_min(order)
        return driving <= MAX_DRIVING_MIN and driving + SERVICE_MIN * len(order) <= SHIFT_MIN

    def driving_min(self, order: Sequence[int]) -> float:
        stops = [0, *order, 0]
        return float(self.minutes[stops[:-1], stops[1:]].sum())


def lay_out_patches(gauges: int, dice: np.random.Generator) -> list[Patch]:
    """Strew gauges about two depots: half of them evenly, half in loose groups."""
    latitude = dice.uniform(-0.55, 0.55, gauges)
    longitude = dice.uniform(-1.15, 1.15, gauges)
    centres = dice.integers(0, max(gauges // 10, 1), gauges)
    grouped = dice.random(gauges) < 0.5
    latitude = np.where(grouped, latitude[centres] + dice.normal(0, 0.05, gauges), latitude)
    longitude = np.where(grouped, longitude[centres] + dice.normal(0, 0.05, gauges), longitude)
    to_depot = np.stack([np.hypot(latitude - y, longitude - x) for y, x in DEPOTS])
    nearest = to_depot.argmin(axis=0)
    return [
        _patch(np.flatnonzero(nearest == d), latitude, longitude, depot=DEPOTS[d])
        for d in range(len(DEPOTS))
    ]


def _patch(
    members: Ints, latitude: Floats, longitude: Floats, *, depot: tuple[float, float]
) -> Patch:
    places = [Place("depot:D", *depot)]
    places += [Place(f"S{i:03d}", float(latitude[i]), float(longitude[i])) for i in members]
    minutes = np.array(great_circle_travel(places).minutes, dtype=np.float64)
    return Patch(members, minutes, np.column_stack([latitude[members], longitude[members]]))


Choose = Callable[[Floats, Bools], int]


def cheapest_places(patch: Patch, order: Sequence[int]) -> tuple[Floats, Ints]:
    """Give for every gauge the least extra driving in min, and before which stop that is."""
    stops = [0, *order, 0]
    t = patch.minutes
    extra = np.stack([t[a] + t[b] - t[a, b] for a, b in itertools.pairwise(stops)])
    place = extra.argmin(axis=0)
    return extra[place, np.arange(t.shape[0])], place


def fill_day(patch: Patch, order: list[int], *, allowed: Bools, choose: Choose) -> list[int]:
    """Add gauges to a day until none fits, each where it costs least.

    ``choose`` gets the extra driving of each gauge and which of them fit, and names one; ``-1``
    ends the day. Arrays are by local number, 0 being the depot.
    """
    open_ = allowed.copy()
    open_[[0, *order]] = False
    driving = patch.driving_min(order)
    while True:
        extra, place = cheapest_places(patch, order)
        after = driving + extra
        fits = open_ & (after <= MAX_DRIVING_MIN)
        fits &= after + SERVICE_MIN * (len(order) + 1) <= SHIFT_MIN
        if not fits.any():
            return order
        chosen = choose(extra, fits)
        if chosen < 0:
            return order
        order = [*order[: place[chosen]], chosen, *order[place[chosen] :]]
        driving, open_[chosen] = after[chosen], False


def best_day(patch: Patch, worth: Floats) -> list[int]:
    """Build the day of most worth: by worth per extra minute, from several starts.

    A stand-in for the solver of the project, which does somewhat better. ``worth`` is by local
    number; gauges without any are not visited.
    """
    allowed = worth > 0.0
    alone = worth / (2.0 * patch.minutes[0] + SERVICE_MIN)
    starts = [s for s in np.argsort(-alone, kind="stable")[:STARTS_TRIED] if allowed[s]]
    days = [
        fill_day(patch, [int(s)], allowed=allowed, choose=_by_rate(worth))
        for s in starts
        if patch.feasible([int(s)])
    ]
    return max(days, key=lambda day: float(worth[day].sum()), default=[])


def _by_rate(worth: Floats) -> Choose:
    def choose(extra: Floats, fits: Bools) -> int:
        return int(np.argmax(np.where(fits, worth / (extra + SERVICE_MIN), -1.0)))

    return choose

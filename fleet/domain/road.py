"""A road network as arrays: nodes, and pieces of road that are straight from node to node."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Circle:
    """A piece of the earth: what lies within ``radius_km`` of a position in degrees."""

    latitude_deg: float
    longitude_deg: float
    radius_km: float


@dataclass(frozen=True, slots=True, eq=False)
class Roads:
    """Roads that a vehicle may use.

    ``latitude_deg`` and ``longitude_deg`` have the shape (nodes,); the others (pieces,).
    ``start`` and ``end`` number the nodes of a piece; ``forward_min`` and ``backward_min`` are
    the driving times from start to end and back, infinite where that way is closed;
    ``stoppable`` tells where one may park: not on motorways and ferries. ``dated`` is the day
    of the data, None where they do not say.
    """

    latitude_deg: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    km: NDArray[np.float64]
    forward_min: NDArray[np.float64]
    backward_min: NDArray[np.float64]
    stoppable: NDArray[np.bool_]
    dated: date | None = None

"""Days that are alike for the proof of a bound: the same limits, places and open windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.planning.crew import Crew
from fleet.planning.model import Model

Minutes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class DayKind:
    """One kind of day, its visits numbered as in the model; all times in minutes.

    ``out_min`` and ``home_min`` are the drives from the start and to the end of the day.
    ``opens_min`` and ``last_min`` bound the start of work; a visit that is not possible has a
    ``last_min`` of -1. ``site`` numbers the site of each visit.
    """

    drive_min: Minutes
    out_min: Minutes
    home_min: Minutes
    service_min: Minutes
    opens_min: Minutes
    last_min: Minutes
    site: Minutes
    starts_min: int
    ends_min: int
    usable_min: int
    max_driving_min: int

    def driving_min(self, visits: Sequence[int]) -> int:
        """Give the driving of a day with these visits."""
        between = self.drive_min[visits[:-1], visits[1:]].sum()
        return int(self.out_min[visits[0]] + between + self.home_min[visits[-1]])

    def holds(self, visits: Sequence[int]) -> bool:
        """Tell whether a day with these visits keeps the limits, waiting not counted as time."""
        now, here = self.starts_min, -1
        for visit in visits:
            drive = self.out_min[visit] if here < 0 else self.drive_min[here, visit]
            now = max(now + drive, self.opens_min[visit])
            if now > self.last_min[visit]:
                return False
            now, here = now + self.service_min[visit], visit
        driving = self.driving_min(visits)
        return bool(
            now + self.home_min[here] <= self.ends_min
            and driving + self.service_min[list(visits)].sum() <= self.usable_min
            and driving <= self.max_driving_min
        )


def day_kinds(model: Model) -> tuple[list[DayKind], list[int]]:
    """Sort the crews of a model into kinds.

    Parameters
    ----------
    model : Model
        Sites and crews.

    Returns
    -------
    list of DayKind
        Each kind once.
    list of int
        For each crew, which of them it is.

    Notes
    -----
    Time between leaving and coming back is driving and work only: waiting is let off, which
    allows a few days that a plan may not have, so that a bound from them holds.
    """
    found: dict[tuple[object, ...], int] = {}
    kinds: list[DayKind] = []
    of_crew = []
    for column, crew in enumerate(model.crews):
        kind = _kind(model, column, crew)
        key = _likeness(kind)
        if key not in found:
            found[key] = len(kinds)
            kinds.append(kind)
        of_crew.append(found[key])
    return kinds, of_crew


def _kind(model: Model, column: int, crew: Crew) -> DayKind:
    travel = model.travel
    minutes = np.asarray(travel.minutes, dtype=np.int64)
    places = [travel.index[visit.key] for visit in model.visits]
    out = minutes[travel.index[crew.start_key], places]
    home = minutes[places, travel.index[crew.end_key]]
    service = np.array([v.candidate.service_min for v in model.visits], dtype=np.int64)
    opens = np.array([v.window.opens_min for v in model.visits], dtype=np.int64)
    last = np.array([v.last_start_min for v in model.visits], dtype=np.int64)
    may = model.may[:, column]
    site_of = {key: number for number, key in enumerate(model.alternatives())}
    return DayKind(
        drive_min=minutes[np.ix_(places, places)],
        out_min=out,
        home_min=home,
        service_min=service,
        opens_min=np.where(may, np.maximum(opens, crew.starts_min + out), 0),
        last_min=np.where(may, np.minimum(last, crew.ends_min - home - service), -1),
        site=np.array([site_of[visit.key] for visit in model.visits], dtype=np.int64),
        starts_min=crew.starts_min,
        ends_min=crew.ends_min,
        usable_min=crew.usable_min,
        max_driving_min=crew.max_driving_min,
    )


def _likeness(kind: DayKind) -> tuple[object, ...]:
    arrays = (kind.out_min, kind.home_min, kind.opens_min, kind.last_min)
    limits = (kind.starts_min, kind.ends_min, kind.usable_min, kind.max_driving_min)
    return (*limits, *(array.tobytes() for array in arrays))

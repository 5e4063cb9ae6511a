"""The ways of choosing a day's gauges that are held against each other."""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np

from fleet.domain.state import GaugeState
from tests.benchmarks.season.desk import INTERVAL_DAYS, Desk
from tests.benchmarks.season.nature import FIELD_LIMIT_OHM, KINDS, Bools, Floats
from tests.benchmarks.season.road import Choose, Patch, best_day, fill_day
from tests.benchmarks.season.truth import Truth
from tests.benchmarks.season.watch import Watch

SWEEP_OLDER_DAYS = 60
TOLERANCE = {kind.code: kind.tolerance_percent for kind in KINDS}


class Method(ABC):
    """Chooses gauges from what is on the desk; ``compliance_record_days`` is for a day overdue."""

    compliance_record_days = 0.0

    @abstractmethod
    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        """Give the day's round in local numbers of the patch."""


class Watching(Method):
    """A method that sees more than the desk: the daily totals, or even the truth."""

    def settle(self, truth: Truth, watch: Watch) -> None:
        """Take what is to be seen of one network, before the first day."""
        self._truth = truth
        self._watch = watch


class OldestFirst(Method):
    """Strictly oldest first: as many of the oldest as a nearest-neighbour round can hold."""

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        ages = desk.ages_days(day)[patch.members]
        order: list[int] = []
        for local in np.argsort(-ages, kind="stable") + 1:
            longer = _nearest_first(patch, [*order, int(local)])
            if not patch.feasible(longer):
                break
            order = longer
        return order


class AreaSweep(Method):
    """The oldest as anchor, then the nearest neighbours older than 60 days till the day is full."""

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        ages = np.concatenate([[-1], desk.ages_days(day)[patch.members]])
        anchor = int(np.argmax(ages))
        order = [anchor] if patch.feasible([anchor]) else []
        old = ages > SWEEP_OLDER_DAYS
        return fill_day(patch, order, allowed=old, choose=_nearest_to(patch, anchor))


class ScoreSum(Method):
    """Age over interval plus drift over tolerance plus resistance over limit, per extra minute."""

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        ages = desk.ages_days(day)
        scores = np.array([_score(desk.states[i], int(ages[i])) for i in patch.members])
        return best_day(patch, np.concatenate([[0.0], scores]))


class Ours(Method):
    """The ranking's worth, per extra minute; ranked anew in each week, as rounds are planned."""

    def __init__(self, compliance_record_days: float = 0.0) -> None:
        self.compliance_record_days = compliance_record_days
        self._week = -1
        self._ranked_on = -1
        self._worth = np.zeros(0)

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        if day // 7 != self._week:
            self._week, self._ranked_on = day // 7, day
            self._worth = self.worth(day, desk)
        ages = desk.ages_days(day)
        served = (ages <= day - self._ranked_on) & (day > self._ranked_on)
        worth = np.where(served, 0.0, self._worth)
        return best_day(patch, np.concatenate([[0.0], worth[patch.members]]))

    def worth(self, day: int, desk: Desk) -> Floats:
        return desk.worth(day)


class OursRemote(Watching, Ours):
    """The same with what daily totals say."""

    def worth(self, day: int, desk: Desk) -> Floats:
        return desk.worth(day, self._watch)


class SweepRemote(Watching):
    """The area sweep that goes to alarms first: what alarms alone are worth."""

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        ages = np.concatenate([[-1], desk.ages_days(day)[patch.members]])
        self._watch.view(day)
        alarmed = self._watch.alarmed()[patch.members]
        alarmed = np.concatenate([[False], alarmed])
        anchor = int(np.argmax(np.where(alarmed, 1e6 + ages, ages)))
        order = [anchor] if patch.feasible([anchor]) else []
        order = fill_day(patch, order, allowed=alarmed, choose=_nearest_to(patch, anchor))
        old = ages > SWEEP_OLDER_DAYS
        return fill_day(patch, order, allowed=old, choose=_nearest_to(patch, anchor))


class Oracle(Watching):
    """Sees the truth: unfit gauges first, then those nearest to their limits."""

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        truth = self._truth
        used = np.maximum(np.abs(truth.error_percent) / truth.tolerance, truth.screen)
        used = np.clip(used, 0.01, 1.0)
        worth = np.where(truth.unfit(), 1.0, 1e-4 * used**4)[patch.members]
        return best_day(patch, np.concatenate([[0.0], worth]))


def _nearest_to(patch: Patch, anchor: int) -> Choose:
    def choose(extra: Floats, fits: Bools) -> int:
        return int(np.argmin(np.where(fits, patch.minutes[anchor], np.inf)))

    return choose


def _nearest_first(patch: Patch, chosen: list[int]) -> list[int]:
    order, here, left = [], 0, set(chosen)
    while left:
        here = min(left, key=lambda other: (patch.minutes[here, other], other))
        order.append(here)
        left.remove(here)
    return order


def _score(state: GaugeState, age_days: int) -> float:
    found = state.last_as_found
    drift = 0.0 if found is None else abs(found.error.error_percent)
    drift = min(drift / TOLERANCE[state.gauge.type_code], 3.0)
    return age_days / INTERVAL_DAYS + drift + (state.switch_ohm or 0.0) / FIELD_LIMIT_OHM

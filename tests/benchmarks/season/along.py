"""The ranking's worth held against a trip in its turn, as `round plan --take-along` does."""

from __future__ import annotations

import numpy as np

from fleet.planning.ahead import FEWEST_NEIGHBOURS
from fleet.stats.ahead import due_at_cost, price_of_time, worth_ahead
from fleet.stats.forecast import Gauges, after_service, as_it_stands
from fleet.stats.gauge_array import lay_out, stand_states
from fleet.stats.neighbour_judge import SpanEvidence
from fleet.stats.rain_ahead import again_days, unfit_ahead
from fleet.stats.rain_weigh import weigh_rain
from tests.benchmarks.season.desk import Desk, date_of
from tests.benchmarks.season.method import Ours, Watching
from tests.benchmarks.season.nature import Floats
from tests.benchmarks.season.road import SERVICE_MIN, SHIFT_MIN, Patch

GRID = np.arange(0.0, 1096.0, 8.0)


class OursAlong(Ours):
    """Method c, each worth held against a trip in the gauge's turn.

    ``days_a_week`` are the crew's field days a depot, which price its time.
    """

    def __init__(self, days_a_week: float, compliance_record_days: float = 0.0) -> None:
        super().__init__(compliance_record_days)
        self._minutes_a_week = days_a_week * SHIFT_MIN
        self._drive: dict[int, Floats] = {}
        self._patches: list[Patch] = []

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        key = int(patch.members[0])
        if key not in self._drive:
            self._drive[key] = self._drives(patch)
            self._patches.append(patch)
            self._week = -1  # rank anew: this depot's drives were not known
        return super().plan(day, patch, desk)

    def _drives(self, patch: Patch) -> Floats:
        """Estimate the drive to each gauge in another week, as the project does."""
        legs = np.sort(patch.minutes[1:, 1:], axis=1)[:, 1:]
        near = legs[:, :FEWEST_NEIGHBOURS].mean()
        gauges_a_week = self._minutes_a_week / float(SERVICE_MIN + near)
        share = max(FEWEST_NEIGHBOURS, int(np.ceil(len(legs) / gauges_a_week)))
        return np.asarray(legs[:, :share].mean(axis=1))

    def worth(self, day: int, desk: Desk) -> Floats:
        """Give the worth of going now against going in turn, with what being overdue costs."""
        model = desk._fit(day)
        standings = stand_states(desk.states, desk.policies, model=model, as_of=date_of(day))
        fresh, ahead, spans = self.forecast(day, lay_out(standings))
        worth = standings.policies.numbers("compliance_record_days") * standings.days_overdue
        for patch in self._patches:
            own = patch.members
            minutes = SERVICE_MIN + self._drive[int(own[0])]
            price = price_of_time(
                fresh[own], GRID, minutes=minutes, minutes_a_day=self._minutes_a_week / 7.0
            )
            due = due_at_cost(fresh[own], GRID, price * minutes)
            again = again_days(due.cycle_days, [spans[i] for i in own])
            worth[own] += worth_ahead(ahead[own], GRID, due, again_days=again)[0]
        return worth

    def forecast(
        self, day: int, gauges: Gauges
    ) -> tuple[Floats, Floats, list[SpanEvidence | None]]:
        """Give the probabilities of being unfit after a service now, and without one."""
        fresh = np.maximum.accumulate(after_service(gauges, GRID).unfit(), axis=1)
        return fresh, as_it_stands(gauges, GRID).unfit(), [None] * len(fresh)


class OursRemoteAlong(Watching, OursAlong):
    """Method d, each worth held against a trip in the same way."""

    def forecast(
        self, day: int, gauges: Gauges
    ) -> tuple[Floats, Floats, list[SpanEvidence | None]]:
        view = self._watch.view(day)
        weighed = weigh_rain(gauges, view, days=GRID)
        fresh = np.maximum.accumulate(weighed.fresh.unfit(), axis=1)
        now = weighed.now.unfit()[:, 0]
        ahead = unfit_ahead(weighed.gauges, now, view.spans, days=GRID)
        return fresh, ahead, list(view.spans)

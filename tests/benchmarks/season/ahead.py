"""The ranking with what a service ahead of its time saves: method c, looking past the week.

    python -m tests.benchmarks.season.ahead --seeds 3

SEASON.md keeps its rows.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser

import numpy as np

from fleet.planning.ahead import FEWEST_NEIGHBOURS
from fleet.stats.ahead import due_at_cost, price_of_time, worth_ahead
from fleet.stats.forecast import Gauges, after_service, as_it_stands
from fleet.stats.gauge_array import lay_out, stand_states
from fleet.stats.rain_ahead import unfit_ahead
from fleet.stats.rain_weigh import weigh_rain
from tests.benchmarks.season.contest import CREWS
from tests.benchmarks.season.desk import Desk, _date
from tests.benchmarks.season.method import Ours, Watching
from tests.benchmarks.season.nature import Floats
from tests.benchmarks.season.road import SERVICE_MIN, SHIFT_MIN, Patch
from tests.benchmarks.season.season import Setting, found_network, run_season

GRID = np.arange(0.0, 1096.0, 8.0)


class OursAhead(Ours):
    """Method c, each worth raised where a trip later costs more than passing by now.

    ``days_a_week`` are the crew's field days a depot, which price its time; ``sites_a_week`` how
    many gauges a week serves.
    """

    def __init__(self, days_a_week: float, sites_a_week: float) -> None:
        super().__init__()
        self._minutes_a_day = days_a_week * SHIFT_MIN / 7.0
        self._sites_a_week = sites_a_week
        self._drive: dict[int, Floats] = {}
        self._patches: list[Patch] = []

    def plan(self, day: int, patch: Patch, desk: Desk) -> list[int]:
        key = int(patch.members[0])
        if key not in self._drive:
            legs = np.sort(patch.minutes[1:, 1:], axis=1)[:, 1:]
            near = max(FEWEST_NEIGHBOURS, int(np.ceil(len(legs) / self._sites_a_week)))
            self._drive[key] = legs[:, :near].mean(axis=1)
            self._patches.append(patch)
            self._week = -1  # rank anew: this depot's drives were not known
        return super().plan(day, patch, desk)

    def worth(self, day: int, desk: Desk) -> Floats:
        """Give the index as far as the grid reaches, raised for gauges that are not due yet."""
        model = desk._fit(day)
        standings = stand_states(desk.states, desk.policies, model=model, as_of=_date(day))
        fresh, ahead = self.forecast(day, lay_out(standings))
        worth = standings.policies.numbers("compliance_record_days") * standings.days_overdue
        for patch in self._patches:
            own = patch.members
            minutes = SERVICE_MIN + self._drive[int(own[0])]
            price = price_of_time(
                fresh[own], GRID, minutes=minutes, minutes_a_day=self._minutes_a_day
            )
            due = due_at_cost(fresh[own], GRID, price * minutes)
            worth[own] += worth_ahead(ahead[own], fresh[own], GRID, due)[0]
        return worth

    def forecast(self, day: int, gauges: Gauges) -> tuple[Floats, Floats]:
        """Give the probabilities of being unfit after a service now, and without one."""
        fresh = np.maximum.accumulate(after_service(gauges, GRID).unfit(), axis=1)
        return fresh, as_it_stands(gauges, GRID).unfit()


class OursRemoteAhead(Watching, OursAhead):
    """Method d, each worth raised in the same way."""

    def forecast(self, day: int, gauges: Gauges) -> tuple[Floats, Floats]:
        view = self._watch.view(day)
        weighed = weigh_rain(gauges, view, days=GRID)
        fresh = np.maximum.accumulate(weighed.fresh.unfit(), axis=1)
        now = weighed.now.unfit()[:, 0]
        return fresh, unfit_ahead(weighed.gauges, now, view.spans, days=GRID)


SITES_A_WEEK = {"short": 3.3, "tight": 5.5, "comfortable": 11.2}
"""Gauges that method c serves a week and depot at each crew: 1,366, 2,285 and 4,657 in 4 years."""


def main() -> None:
    """Hold method c with and without it against each other; prints a row a crew, seed, method."""
    parser = ArgumentParser(prog="python -m tests.benchmarks.season.ahead")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--crew", choices=CREWS, action="append")
    chosen = parser.parse_args()
    for crew in chosen.crew or CREWS:
        setting = Setting(400, 4, CREWS[crew])
        for seed in range(1, chosen.seeds + 1):
            founded = found_network(setting, seed)
            for name, method in (
                ("c", Ours()),
                ("c ahead", OursAhead(CREWS[crew], SITES_A_WEEK[crew])),
            ):
                seen = run_season(founded, setting, method)
                shares = f"{100 * seen.lost:.2f} | {100 * seen.in_date:.1f}"
                late = f"{seen.mean_days_overdue:.1f} | {seen.visits:,}"
                sys.stdout.write(f"| {crew} | {seed} | {name} | {shares} | {late} |\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()

"""Runs one network through its years under one way of choosing, and counts what is lost."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.season.desk import INTERVAL_DAYS, Desk
from tests.benchmarks.season.method import AreaSweep, Method, Watching
from tests.benchmarks.season.nature import Floats, draw_nature
from tests.benchmarks.season.road import Patch, lay_out_patches
from tests.benchmarks.season.technician import Technician, describe_gauges
from tests.benchmarks.season.truth import CAUSES, Truth, start_truth
from tests.benchmarks.season.watch import Watch
from tests.benchmarks.season.weather import draw_rain, positions

WARM_UP_DAYS = 364
"""A year of area sweeps before the counting starts, so that every method has the same records."""


@dataclass(frozen=True)
class Setting:
    """How large a network is, how long it is watched, and its crew's field days a week a depot."""

    gauges: int = 400
    years: int = 4
    days_a_week: float = 1.0

    @property
    def counted_days(self) -> int:
        return round(self.years * 365.25)

    def works_on(self, day: int) -> bool:
        """Tell whether the crews are out: field days spread evenly over the working days."""
        week, weekday = divmod(day, 7)
        if weekday > 4:
            return False
        number = 5 * week + weekday
        share = self.days_a_week / 5.0
        return int((number + 1) * share) > int(number * share)


@dataclass(frozen=True)
class Outcome:
    """What became of the counted days: shares of all gauge-days, and visits.

    ``lost_by_cause`` splits ``lost`` evenly between causes that hold on the same day.
    """

    lost_days: float
    lost: float
    in_date: float
    mean_days_overdue: float
    visits: int
    lost_by_cause: Floats


@dataclass
class Network:
    """A network on one day, with its truth and its desk."""

    truth: Truth
    patches: list[Patch]
    desk: Desk
    technician: Technician
    watch: Watch


def found_network(setting: Setting, seed: int) -> Network:
    """Give a network after its first year, which is the same for all methods."""
    dice = np.random.default_rng((2026, seed))
    patches = lay_out_patches(setting.gauges, dice)
    nature = draw_nature(setting.gauges, WARM_UP_DAYS + setting.counted_days, dice)
    truth = start_truth(nature, dice)
    depot = [""] * setting.gauges
    for number, patch in enumerate(patches):
        for index in patch.members:
            depot[index] = f"D{number + 1}"
    gauges = describe_gauges(nature, depot)
    technician = Technician(truth, gauges, seed=seed)
    places = positions(patches, setting.gauges)
    rain = draw_rain(*places, days=nature.screen.shape[1], seed=seed)
    network = Network(truth, patches, Desk(gauges), technician, Watch(truth, places, rain))
    for index in range(setting.gauges):
        network.desk.file(index, technician.installation(index))
    sweep = AreaSweep()
    for day in range(WARM_UP_DAYS):
        _pass_day(network, day)
        if setting.works_on(day):
            _work(network, day, sweep)
    return network


def run_season(founded: Network, setting: Setting, method: Method) -> Outcome:
    """Run the counted years under one method, from a copy of the network."""
    network = deepcopy(founded)
    network.desk = network.desk.copy(compliance_record_days=method.compliance_record_days)
    if isinstance(method, Watching):
        method.settle(network.truth, network.watch)
    lost, overdue, late, visits = np.zeros(len(CAUSES)), 0, 0, 0
    for day in range(WARM_UP_DAYS, WARM_UP_DAYS + setting.counted_days):
        _pass_day(network, day)
        if setting.works_on(day):
            visits += _work(network, day, method)
        causes = network.truth.causes()
        lost += (causes / np.maximum(causes.sum(axis=0), 1)).sum(axis=1)
        days_over = np.maximum(network.desk.ages_days(day) - INTERVAL_DAYS, 0)
        late += int(days_over.sum())
        overdue += int((days_over > 0).sum())
    total = setting.gauges * setting.counted_days
    return Outcome(
        lost_days=float(lost.sum()),
        lost=float(lost.sum()) / total,
        in_date=1.0 - overdue / total,
        mean_days_overdue=late / total,
        visits=visits,
        lost_by_cause=lost / total,
    )


def _pass_day(network: Network, day: int) -> None:
    network.truth.pass_day(day)
    network.watch.pass_day(day)


def _work(network: Network, day: int, method: Method) -> int:
    served = 0
    for patch in network.patches:
        for local in method.plan(day, patch, network.desk):
            index = int(patch.members[local - 1])
            record = network.technician.serve(index, day)
            network.desk.file(index, record)
            network.watch.serviced(index, day, record)
            served += 1
    return served

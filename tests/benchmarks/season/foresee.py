"""Where the outlook of a season starts: what the desk knows, and who works when."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from fleet.planning.quick_site import QuickCrew, QuickSites
from fleet.services.outlook_case import DepotCase, GaugeArrays, OutlookCase
from fleet.services.outlook_order import CrewVariant
from fleet.stats.fleet_model import fit_fleet
from fleet.stats.future import shared_doubt
from fleet.stats.gauge_array import lay_out, stand_states
from tests.benchmarks.season.road import MAX_DRIVING_MIN, SERVICE_MIN, SHIFT_MIN, Patch
from tests.benchmarks.season.season import WARM_UP_DAYS, Network, Setting
from tests.benchmarks.season.technician import FIRST_DAY

WEEKS = 52
START_MIN = 480.0


def season_case(founded: Network, setting: Setting) -> OutlookCase:
    """Give the network after its first year as the outlook would see it from its records."""
    monday = FIRST_DAY + timedelta(days=WARM_UP_DAYS)
    as_of = monday - timedelta(days=1)
    states = founded.desk.states
    standings = stand_states(states, founded.desk.policies, model=fit_fleet(states), as_of=as_of)
    lefts = [state.last_as_left.error.variance for state in states if state.last_as_left]
    count = len(states)
    gauges = GaugeArrays(
        forecast=lay_out(standings),
        doubt=shared_doubt(standings),
        level_known=standings.level_known,
        ohm_known=standings.ohm_known,
        level_variance=np.full(count, float(np.median(lefts))),
        importance=np.ones(count),
        age_days=standings.age_days,
        interval_days=standings.interval_days,
        compliance_record_days=np.zeros(count),
    )
    depots = tuple(
        _depot(number, patch, setting) for number, patch in enumerate(founded.patches, start=1)
    )
    return OutlookCase(monday, 1, gauges, depots, 0.0, "great circle of the season")


def _depot(number: int, patch: Patch, setting: Setting) -> DepotCase:
    count = patch.members.size
    order = [*range(1, count + 1), 0]
    minutes = patch.minutes[np.ix_(order, order)]
    sites = QuickSites(
        minutes=minutes,
        km=minutes,
        ends=("depot",),
        service_min=np.full(count, SERVICE_MIN),
        persons=np.ones(count, dtype=np.int64),
    )
    weeks = tuple(
        tuple(
            _crew(count, week, day)
            for day in range(7)
            if setting.works_on(WARM_UP_DAYS + 7 * week + day)
        )
        for week in range(WEEKS)
    )
    codes = tuple(f"S{i:03d}" for i in patch.members)
    return DepotCase(
        f"D{number}", codes, sites, patch.members, np.arange(count), {CrewVariant(): weeks}
    )


def _crew(count: int, week: int, day: int) -> QuickCrew:
    return QuickCrew(
        day=FIRST_DAY + timedelta(days=WARM_UP_DAYS + 7 * week + day),
        members=("T1",),
        start=count,
        end=count,
        starts_min=START_MIN,
        ends_min=START_MIN + SHIFT_MIN,
        usable_min=SHIFT_MIN,
        max_driving_min=MAX_DRIVING_MIN,
        may=np.ones(count, dtype=bool),
        opens_min=np.zeros(count),
        closes_min=np.full(count, 1440.0),
    )

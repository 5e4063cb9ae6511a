"""Networks for the outlook whose future can be worked by hand: one cause, alike gauges."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from fleet.planning.quick_site import QuickCrew, QuickSites
from fleet.services.outlook_case import DepotCase, GaugeArrays, OutlookCase
from fleet.services.outlook_order import CrewVariant
from fleet.stats.clock import PLAIN
from fleet.stats.forecast import Gauges, Sudden
from fleet.stats.future import SharedDoubt, SharedGrowth
from fleet.stats.growth import Growth
from fleet.stats.hazard import HazardPosterior
from fleet.stats.strike import SharedRate

MONDAY = date(2026, 11, 23)
SURE = 1e9
"""A Gamma law of this shape has one value."""

SERVICE_MIN, USABLE_MIN = 60.0, 240.0
"""Four gauges a crew-day: nobody drives."""


def one_cause_gauges(count: int, per_year: float, age_days: int = 0) -> Gauges:
    """Give gauges that block at one known rate and never fail otherwise."""

    def still(low: float, high: float) -> Growth:
        zeros = [np.zeros(count) for _ in range(2)]
        tiny = np.full(count, 1e-9)
        limits = (np.full(count, low), np.full(count, high))
        return Growth(zeros[0], tiny, zeros[1], tiny.copy(), tiny.copy(), *limits)

    def sudden(rate: float) -> Sudden:
        law = HazardPosterior(np.full(count, SURE), np.full(count, SURE / rate))
        days = [np.full(count, age_days) for _ in range(2)]
        today = np.full(count, MONDAY.toordinal())
        return Sudden(law, *days, ((PLAIN, np.arange(count)),), today)

    return Gauges(
        drift=still(-5.0, 5.0),
        drift_age_days=np.full(count, age_days),
        fresh_level=np.zeros(count),
        fresh_level_variance=np.full(count, 0.01),
        resistance=still(-np.inf, 5.0),
        resistance_age_days=np.full(count, age_days),
        new_switch=np.zeros(count),
        new_switch_variance=np.full(count, 0.01),
        knock=sudden(1e-9),
        knock_sd=np.full(count, 8.0),
        blockage=sudden(per_year),
        deaths=sudden(1e-9),
        blocked=np.zeros(count, dtype=bool),
        dead=np.zeros(count, dtype=bool),
        disconnected=np.zeros(count, dtype=bool),
    )


def hand_case(
    count: int,
    *,
    per_year: float = 0.5,
    interval_days: int = 70,
    days_a_week: int = 5,
    weeks: int = 60,
    failed_share: float = 0.0,
    drive_min: float = 0.0,
) -> OutlookCase:
    """Give one depot with gauges so far from it, each at its own site, serviced today."""
    crew = CrewVariant()
    drives = np.zeros((count + 1, count + 1))
    drives[-1, :-1] = drives[:-1, -1] = drive_min
    sites = QuickSites(
        minutes=drives,
        km=drives,
        ends=("depot:HUB",),
        service_min=np.full(count, SERVICE_MIN),
        persons=np.ones(count, dtype=np.int64),
    )
    depot = DepotCase(
        code="HUB",
        site_codes=tuple(f"S{n:03d}" for n in range(count)),
        sites=sites,
        gauges=np.arange(count),
        site_of=np.arange(count),
        weeks={crew: tuple(tuple(_crews(count, days_a_week, week)) for week in range(weeks))},
    )
    return OutlookCase(
        first_day=MONDAY,
        days_before=0,
        gauges=_arrays(one_cause_gauges(count, per_year), interval_days),
        depots=(depot,),
        failed_share=failed_share,
        travel_source="Nobody drives",
    )


def _crews(count: int, days_a_week: int, week: int) -> Sequence[QuickCrew]:
    return [
        QuickCrew(
            day=MONDAY + timedelta(7 * week + day),
            members=("T1",),
            start=count,
            end=count,
            starts_min=480.0,
            ends_min=480.0 + USABLE_MIN,
            usable_min=USABLE_MIN,
            max_driving_min=300.0,
            may=np.ones(count, dtype=bool),
            opens_min=np.zeros(count),
            closes_min=np.full(count, 1440.0),
        )
        for day in range(days_a_week)
    ]


def _arrays(gauges: Gauges, interval_days: int) -> GaugeArrays:
    count = gauges.blocked.size
    one = np.zeros(count, dtype=np.int64)
    growth = SharedGrowth(one, np.zeros(count), np.full(count, 1e-5))
    rates = {
        name: SharedRate(one, getattr(gauges, name).hazard.scale_years, np.zeros(count))
        for name in ("blockage", "deaths", "knock")
    }
    known = np.ones(count, dtype=bool)
    return GaugeArrays(
        forecast=gauges,
        doubt=SharedDoubt(growth, growth, rates),
        level_known=known,
        ohm_known=known,
        level_variance=np.full(count, 0.01),
        importance=np.ones(count),
        age_days=np.zeros(count, dtype=np.int64),
        interval_days=np.full(count, interval_days),
        compliance_record_days=np.zeros(count),
    )

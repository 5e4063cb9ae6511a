"""What the simulated weeks start from: light to send to another process, free of the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.planning.quick_day import alone_possible
from fleet.planning.quick_site import QuickCrew, QuickSites
from fleet.services.outlook_order import CrewVariant
from fleet.stats.array import Bools, Floats, Ints
from fleet.stats.forecast import Gauges
from fleet.stats.future import SharedDoubt

Weeks = tuple[tuple[QuickCrew, ...], ...]


@dataclass(frozen=True, slots=True, eq=False)
class GaugeArrays:
    """The n gauges of the outlook on the day of the evidence; arrays of shape (n,)."""

    forecast: Gauges
    doubt: SharedDoubt
    level_known: Bools
    ohm_known: Bools
    level_variance: Floats
    importance: Floats
    age_days: Ints
    interval_days: Ints
    compliance_record_days: Floats


@dataclass(frozen=True, slots=True, eq=False)
class DepotCase:
    """One depot: its sites, which gauges stand there, and the crews of each week by variant.

    ``gauges`` are numbers of gauges in the network, ``site_of`` the site of each in ``sites``,
    ``site_codes`` the codes of these.
    """

    code: str
    site_codes: tuple[str, ...]
    sites: QuickSites
    gauges: Ints
    site_of: Ints
    weeks: Mapping[CrewVariant, Weeks]

    def rostered_days(self, crew: CrewVariant) -> int:
        """Give the most technician-days of any week."""
        alone = (sum(len(one.members) == 1 for one in week) for week in self.weeks[crew])
        return max(alone, default=0)

    def never_served(self, crew: CrewVariant) -> list[str]:
        """Name the sites that no crew could visit in any week, even alone."""
        served = np.zeros(len(self.site_codes), dtype=np.bool_)
        for one in (one for week in self.weeks[crew] for one in week):
            served |= alone_possible(self.sites, one)
        return [code for code, some in zip(self.site_codes, served, strict=True) if not some]


@dataclass(frozen=True, slots=True, eq=False)
class OutlookCase:
    """Everything that the simulated weeks start from; ``first_day`` is a Monday."""

    first_day: date
    days_before: int
    gauges: GaugeArrays
    depots: tuple[DepotCase, ...]
    failed_share: float
    travel_source: str

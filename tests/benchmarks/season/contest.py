"""Which methods are held against each other, and with which crews."""

from __future__ import annotations

from collections.abc import Callable

from tests.benchmarks.season.along import OursAlong, OursRemoteAlong
from tests.benchmarks.season.known import RatesKnown
from tests.benchmarks.season.method import (
    AreaSweep,
    Method,
    OldestFirst,
    Oracle,
    Ours,
    OursRemote,
    ScoreSum,
    SweepRemote,
)

COMPLIANCE_RECORD_DAYS = 0.3
"""Record-days that a day overdue adds to the worth of a visit, in the runs with compliance on."""

METHODS: dict[str, Callable[[float], Method]] = {
    "a1": lambda _: OldestFirst(),
    "a2": lambda _: AreaSweep(),
    "a2 alarms": lambda _: SweepRemote(),
    "b": lambda _: ScoreSum(),
    "c": lambda _: Ours(),
    "c compliance": lambda _: Ours(COMPLIANCE_RECORD_DAYS),
    "c along": OursAlong,
    "c along compliance": lambda days: OursAlong(days, COMPLIANCE_RECORD_DAYS),
    "c rates known": lambda _: RatesKnown(),
    "d": lambda _: OursRemote(),
    "d compliance": lambda _: OursRemote(COMPLIANCE_RECORD_DAYS),
    "d along": OursRemoteAlong,
    "d along compliance": lambda days: OursRemoteAlong(days, COMPLIANCE_RECORD_DAYS),
    "e": lambda _: Oracle(),
}
"""By the name of the method; made for a crew of so many field days a week."""

CREWS = {"short": 0.7, "tight": 1.2, "comfortable": 2.4}
"""Field days a week a depot. Short: strictly oldest first loses about a quarter of the record;
comfortable: every gauge can be kept within its interval."""

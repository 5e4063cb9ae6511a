"""Which methods are held against each other, and with which crews."""

from __future__ import annotations

from collections.abc import Callable

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

METHODS: dict[str, Callable[[], Method]] = {
    "a1": OldestFirst,
    "a2": AreaSweep,
    "a2 alarms": SweepRemote,
    "b": ScoreSum,
    "c": Ours,
    "c compliance": lambda: Ours(COMPLIANCE_RECORD_DAYS),
    "c rates known": RatesKnown,
    "d": OursRemote,
    "d compliance": lambda: OursRemote(COMPLIANCE_RECORD_DAYS),
    "e": Oracle,
}

CREWS = {"short": 0.7, "tight": 1.2, "comfortable": 2.4}
"""Field days a week a depot. Short: strictly oldest first loses about a quarter of the record;
comfortable: every gauge can be kept within its interval."""

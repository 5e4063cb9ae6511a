"""Troubles that show in the daily totals are in the sample network, where its README says.

Each trouble is worked out afresh from the CSV files by code that shares nothing with the script
that made them or with the package.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any

import pytest

LAST_DAY = "2026-11-20"


def tips_of_tests_in_the_record(data: Any) -> set[str]:
    open_to_logger = {
        (data.visits[row["visit_ref"]]["site_code"], data.day(row["visit_ref"])): row["visit_ref"]
        for row in data.checks
        if not row["isolated_at"]
    }
    return {
        open_to_logger[row["site_code"], row["day"]]
        for row in data.read("daily_totals")
        if row["flag"] == "suspect" and float(row["total_mm"]) > 20
    }


def _totals(data: Any) -> dict[str, dict[str, float]]:
    totals: dict[str, dict[str, float]] = defaultdict(dict)
    for row in data.read("daily_totals"):
        if row["total_mm"] and row["flag"] not in ("snow", "frost", "suspect"):
            totals[f"{row['site_code']}/{row['position']}"][row["day"]] = float(row["total_mm"])
    return totals


def _neighbours(data: Any, gauge: str) -> list[str]:
    """Give the seven nearest other gauges, equal-rectangle distance."""
    here = data.sites[gauge[:4]]

    def squared(other: str) -> float:
        there = data.sites[other[:4]]
        north = float(there["latitude_deg"]) - float(here["latitude_deg"])
        east = 0.71 * (float(there["longitude_deg"]) - float(here["longitude_deg"]))
        return north**2 + east**2

    return sorted((other for other in data.gauges.values() if other != gauge), key=squared)[:7]


def silent(data: Any) -> set[str]:
    """Not a tip on the last 14 days while the neighbours' median passes 30 mm."""
    totals = _totals(data)
    last = [(date(2026, 11, 20) - timedelta(days=back)).isoformat() for back in range(14)]
    found = set()
    for gauge in totals:
        around = [totals[other] for other in _neighbours(data, gauge)]
        wet = sum(median(other.get(day, 0.0) for other in around) for day in last)
        if wet > 30 and sum(totals[gauge].get(day, 0.0) for day in last) == 0:
            found.add(gauge)
    return found


def sinking(data: Any) -> set[str]:
    """The ratio to the neighbours falls by a tenth in summer and by a third until late autumn."""
    totals, found = _totals(data), set()
    spans = (("2026-03-16", "2026-06-30"), ("2026-08-20", "2026-10-05"), ("2026-10-06", LAST_DAY))
    for gauge in totals:
        around, ratios = [totals[other] for other in _neighbours(data, gauge)], []
        for first, last in spans:
            days = [day for day in totals[gauge] if first <= day <= last]
            wet = sum(median(other.get(day, 0.0) for other in around) for day in days)
            ratios.append(sum(totals[gauge][day] for day in days) / max(wet, 1e-9))
        spring, summer, autumn = ratios
        if spring and summer < 0.9 * spring and 0.45 < autumn / spring < 0.67:
            found.add(gauge)
    return found


TROUBLES: dict[str, tuple[Callable[[Any], set[str]], int]] = {
    "test tips in the record": (tips_of_tests_in_the_record, 2),
    "silent": (silent, 1),
    "sinking": (sinking, 1),
}


@pytest.mark.parametrize("name", sorted(TROUBLES))
def test_trouble_is_there_where_the_readme_says(
    name: str, data: Any, promised: dict[str, set[str]]
) -> None:
    find, least = TROUBLES[name]

    found = find(data)

    assert len(found) >= least
    assert promised[name]
    assert promised[name] <= found


def test_silent_gauge_was_in_order_before(data: Any) -> None:
    totals = _totals(data)["RA06/A"]

    assert sum(mm for day, mm in totals.items() if day < "2026-09-14") > 300
    assert datetime.fromisoformat(data.latest("5-0189")["restored_at"]).date() < date(2026, 9, 14)

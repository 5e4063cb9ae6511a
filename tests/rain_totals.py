"""Invented daily totals for the small network, with four faults that the tests know of."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from tests.factories import InputFolder

FIRST_DAY = date(2024, 4, 1)
LAST_DAY = date(2025, 6, 1)
POSITIONS = (
    ("S01", "main", 0.5),
    ("S02", "main", 0.5),
    ("S02", "second", 0.2),
    ("S03", "main", 0.5),
    ("S04", "main", 0.2),
    ("S05", "main", 0.2),
    ("S06", "main", 0.5),
)
FAULTS = {
    ("S04", "main"): (date(2025, 5, 9), date.max, 0.0),
    ("S03", "main"): (date(2025, 3, 29), date.max, 0.5),
    ("S02", "second"): (date(2024, 9, 3), date(2024, 11, 12), 0.0),
}
"""Share of the rain that is caught, from a day until (not with) another."""


def add_totals(network: InputFolder) -> InputFolder:
    """Put fourteen months of totals in whole tips, rain on two days of five, for its few own."""
    network.tables["daily_totals"] = []
    dice = np.random.default_rng(20)
    days = [FIRST_DAY + timedelta(days=n) for n in range((LAST_DAY - FIRST_DAY).days + 1)]
    storm = np.where(dice.random(len(days)) < 0.4, dice.gamma(1.2, 7.0, len(days)), 0.0)
    for site, position, tip_mm in POSITIONS:
        rain = storm * np.exp(dice.normal(0, 0.08, len(days)))
        for place, day in enumerate(days):
            start, end, share = FAULTS.get((site, position), (date.max, date.max, 1.0))
            caught = rain[place] * (share if start <= day < end else 1.0)
            total = round(int(caught / tip_mm) * tip_mm, 1)
            network.add("daily_totals", site_code=site, position=position, day=day, total_mm=total)
    return network

"""Troubles of buckets and switches are in the sample network, where its README says.

Each trouble is worked out afresh from the CSV files by code that shares nothing with the script
that made them or with the package. Limits are those of the sample's own policies.csv
(common practice, no published source).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from statistics import mean
from typing import Any

import pytest

Row = dict[str, str]


def days_between(first: str, last: str) -> int:
    return (date.fromisoformat(last) - date.fromisoformat(first)).days


def drifting(data: Any) -> set[str]:
    """In tolerance when last found, mean drift over untouched spells leads out within a year."""
    found = set()
    for serial, gauge in data.gauges.items():
        refs = sorted({key[0] for key in data.runs if key[1] == serial}, key=data.day)
        rates, left = [], None
        for ref in refs:
            as_found, as_left = (ref, serial, "as_found"), (ref, serial, "as_left")
            if as_found in data.runs and left and not data.blocked(ref, serial):
                years = days_between(left[0], data.day(ref)) / 365.25
                if years > 0.2:
                    rates.append((data.error(as_found) - left[1]) / years)
            if as_left in data.runs:
                left = (data.day(ref), data.error(as_left))
        key = (refs[-1], serial, "as_found") if refs else ("", "", "")
        fine = key in data.runs and not data.out(key)
        if fine and left and len(rates) >= 3 and mean(rates) <= -4 and left[1] + mean(rates) < -5:
            found.add(gauge)
    return found


def mended(data: Any) -> set[str]:
    return {
        data.gauge_on(key[1], key[0])
        for key in list(data.runs)
        if key[2] == "as_found"
        and data.out(key)
        and not data.blocked(key[0], key[1])
        and (left := (key[0], key[1], "as_left")) in data.runs
        and not data.out(left)
    }


def left_out_of_tolerance(data: Any) -> set[str]:
    keys = [key for key in data.runs if key[2] == "as_left" and data.out(key)]
    return {data.gauge_on(key[1], key[0]) for key in keys}


def rejected(data: Any) -> set[str]:
    return {
        data.gauge_on(key[1], key[0])
        for key in list(data.runs)
        if key[2] == "as_found" and abs(data.error(key)) > 10 and not data.blocked(key[0], key[1])
    }


def dead_switch(data: Any) -> set[str]:
    return {
        data.gauge_on(row["serial"], row["visit_ref"])
        for row in data.readings
        if (row["kind"] == "closed_ohm" and row["over_range"] == "yes")
        or (row["kind"] == "manual_tips" and row["value"] == "0")
    }


def weak_switch(data: Any) -> set[str]:
    """Last closed reading at the terminals over half the field limit of 5 ohm, but within it."""
    found = set()
    for serial, gauge in data.gauges.items():
        readings = [
            (data.visits[row["visit_ref"]]["arrived_at"], row["phase"], float(row["value"]))
            for row in data.readings
            if row["serial"] == serial
            and row["kind"] == "closed_ohm"
            and row["value"]
            and row["measured_at"] == "gauge_terminals"
        ]
        if readings and 2.5 < max(readings)[2] <= 5:
            found.add(gauge)
    return found


def double_count(data: Any) -> set[str]:
    return {
        data.gauge_on(row["serial"], row["visit_ref"])
        for row in data.readings
        if row["kind"] == "manual_tips" and int(row["value"]) > 10
    }


def blocked(data: Any) -> set[str]:
    return {
        data.gauge_on(row["serial"], row["visit_ref"])
        for row in data.findings
        if row["condition_found"] == "blocked"
    }


def always_adjusted(data: Any) -> set[str]:
    found = set()
    for serial, gauge in data.gauges.items():
        rows = [r for r in data.checks if r["serial"] == serial and r["cleaned"] == "yes"]
        if len(rows) >= 4 and all(row["adjusted"] == "yes" for row in rows):
            found.add(gauge)
    return found


def too_perfect(data: Any) -> set[str]:
    """At least 16 runs of at least 60 tips, each exactly the expected whole number."""
    found = set()
    for serial, gauge in data.gauges.items():
        kind = data.types[data.instruments[serial]["type_code"]]
        nominal = float(kind["bucket_mm"]) * float(kind["orifice_area_cm2"]) / 10
        expected = round(float(kind["test_volume_ml"]) / nominal)
        tips = [int(r["tips"]) for key, rows in data.runs.items() if key[1] == serial for r in rows]
        if expected >= 60 and len(tips) >= 16 and set(tips) == {expected}:
            found.add(gauge)
    return found


TROUBLES: dict[str, tuple[Callable[[Any], set[str]], int]] = {
    "drifting": (drifting, 2),
    "out as found and mended": (mended, 8),
    "left out of tolerance": (left_out_of_tolerance, 2),
    "rejected": (rejected, 2),
    "dead switch": (dead_switch, 2),
    "weak switch": (weak_switch, 2),
    "double count": (double_count, 2),
    "blocked": (blocked, 10),
    "always adjusted": (always_adjusted, 2),
    "too perfect": (too_perfect, 2),
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


def test_gauges_that_are_well_are_most_of_them(data: Any) -> None:
    keys = [key for key in data.runs if key[2] == "as_found"]
    out = [key for key in keys if data.out(key) and not data.blocked(key[0], key[1])]

    assert 0.02 < len(out) / len(keys) < 0.15

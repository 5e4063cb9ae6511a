"""The files of the sample network, read by code of our own."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "sample_network"
Row = dict[str, str]


def read(name: str, folder: Path = FOLDER) -> list[Row]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


class Sample:
    """The files, with what most questions need at hand."""

    def __init__(self) -> None:
        self.visits = {row["visit_ref"]: row for row in read("visits")}
        self.checks = read("gauge_checks")
        self.readings = read("switch_readings")
        self.findings = read("findings")
        self.installations = read("installations")
        self.sites = {row["site_code"]: row for row in read("sites")}
        self.types = {row["type_code"]: row for row in read("gauge_types")}
        self.instruments = {row["serial"]: row for row in read("instruments")}
        self.gauges = {
            row["serial"]: f"{row['site_code']}/{row['position']}"
            for row in self.installations
            if not row["removed_on"]
        }
        self.runs: dict[tuple[str, str, str], list[Row]] = defaultdict(list)
        for run in read("tip_runs"):
            self.runs[run["visit_ref"], run["serial"], run["phase"]].append(run)

    def day(self, visit_ref: str) -> str:
        return self.visits[visit_ref]["arrived_at"][:10]

    def gauge_on(self, serial: str, visit_ref: str) -> str:
        """Give the gauge at which a serial was tested."""
        site, day = self.visits[visit_ref]["site_code"], self.day(visit_ref)
        for row in self.installations:
            here = row["serial"] == serial and row["site_code"] == site
            if here and row["installed_on"] <= day <= (row["removed_on"] or day):
                return f"{site}/{row['position']}"
        raise AssertionError(f"{serial} was not at {site} on {day}")

    def tip_ml(self, serial: str) -> float:
        made = self.instruments[serial]
        kind = self.types[made["type_code"]]
        area = float(made["orifice_area_cm2"] or kind["orifice_area_cm2"])
        return float(kind["bucket_mm"]) * area / 10

    def error(self, key: tuple[str, str, str]) -> float:
        """Give the pooled error of a phase in percent of expected tips."""
        expected = sum(float(run["volume_ml"]) for run in self.runs[key]) / self.tip_ml(key[1])
        return 100 * (sum(int(run["tips"]) for run in self.runs[key]) - expected) / expected

    def out(self, key: tuple[str, str, str]) -> bool:
        """Tell whether a phase lies outside what the policy of its day allows."""
        found, count = key[2] == "as_found", len(self.runs[key])
        if self.instruments[key[1]]["type_code"] == "TB05-400":
            low, high = (37, 43) if found else (39, 41)
            return not low * count <= sum(int(r["tips"]) for r in self.runs[key]) <= high * count
        old = self.day(key[0]) < "2025-03-01"
        return abs(self.error(key)) > ((7.5 if found else 5) if old else (5 if found else 3))

    def blocked(self, visit_ref: str, serial: str) -> bool:
        return any(
            row["visit_ref"] == visit_ref
            and row["serial"] == serial
            and row["condition_found"] == "blocked"
            for row in self.findings
        )

    def latest(self, serial: str) -> Row:
        return max(
            (row for row in self.checks if row["serial"] == serial),
            key=lambda row: self.visits[row["visit_ref"]]["arrived_at"],
        )

    def read(self, name: str, *, below: str = "") -> list[Row]:
        return read(name, FOLDER / below)


@pytest.fixture(scope="session")
def data() -> Sample:
    return Sample()


@pytest.fixture(scope="session")
def promised() -> dict[str, set[str]]:
    """Give the names in the README's table of troubles: gauges, visits, serials or devices."""
    lines = (FOLDER / "README.md").read_text(encoding="utf-8").splitlines()
    cells = [[cell.strip() for cell in line.split("|")[1:-1]] for line in lines if "`" in line]
    return {row[0]: set(re.findall(r"`([^`]+)`", row[1])) for row in cells if len(row) == 3}

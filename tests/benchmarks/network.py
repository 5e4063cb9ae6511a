"""An invented network of any size as input tables: the same for the same size and seed.

Gauges drift by rates of their own, block now and then, and their switches age, so that every
part of the ranking has something to do. Nothing in it is anybody's.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from tests.factories import ZONE, InputFolder

LAST_DAY = date(2026, 11, 20)
"""A Friday; no visit is later."""

INTERVAL_DAYS = 150
TYPES = {"W02": (0.2, 200.0, 400.0), "W05": (0.5, 400.0, 800.0), "W10": (1.0, 300.0, 1200.0)}
"""Type to bucket in mm, receiving area in cm2 and test volume in mL."""


@dataclass(frozen=True)
class Size:
    """How large a network is; every site has one gauge."""

    depots: int
    sites_per_depot: int
    visits_per_gauge: int

    @property
    def gauges(self) -> int:
        return self.depots * self.sites_per_depot

    @property
    def visits(self) -> int:
        return self.gauges * self.visits_per_gauge

    def __str__(self) -> str:
        return f"{self.gauges:,} gauges, {self.visits:,} visits"


def write_network(size: Size, folder: Path, *, seed: int = 1) -> Path:
    """Write the tables as CSV files, depot by depot, so that memory does not grow with the size.

    Two technicians a depot, visits about every 150 days up to `LAST_DAY`. A depot of a number is
    the same in every network of that seed and size a depot.
    """
    folder.mkdir(parents=True)
    first_day = LAST_DAY - timedelta(days=INTERVAL_DAYS * (size.visits_per_gauge + 1))
    standards = InputFolder()
    _standards(standards, first_day)
    standards.append(folder)
    for depot in range(size.depots):
        _depot_with_gauges(size, depot, first_day, random.Random(f"{seed} {depot}")).append(folder)
    return folder


def _depot_with_gauges(size: Size, depot: int, first_day: date, dice: random.Random) -> InputFolder:
    network = InputFolder()
    _depot(network, depot, first_day)
    for place in range(size.sites_per_depot):
        gauge = _Gauge(depot, place, size, first_day, dice)
        gauge.register(network)
        gauge.serve(network)
    return network


def _standards(network: InputFolder, first_day: date) -> None:
    for code, (bucket_mm, area_cm2, volume_ml) in TYPES.items():
        shape = {"bucket_mm": bucket_mm, "orifice_area_cm2": area_cm2, "siphon": False}
        names = {"description": f"{bucket_mm} mm bucket", "area_basis": "nominal"}
        network.add("gauge_types", type_code=code, test_volume_ml=volume_ml, **shape, **names)
    network.add(
        "policies",
        scope="network",
        valid_from=first_day,
        service_interval_days=INTERVAL_DAYS,
        as_found_tolerance_percent=5,
        as_left_tolerance_percent=3,
        reject_limit_percent=10,
        minimum_as_found_runs=2,
        minimum_as_left_runs=2,
        closed_field_limit_ohm=5,
        closed_workshop_limit_ohm=1,
        open_limit_ohm=1_000_000,
        decision_rule="simple",
        target_reliability=0.9,
        compliance_record_days=0,
        basis="invented for a measurement of speed",
    )
    for code, kind in (("D01", "volumetric"), ("D02", "meter")):
        network.add("devices", device_code=code, kind=kind, description=kind, serial=f"K-{code}")
        span = {"valid_from": first_day, "valid_until": date(2027, 12, 31)}
        network.add("certificates", device_code=code, certificate_number=f"{code}/1", **span)


def _depot(network: InputFolder, depot: int, first_day: date) -> None:
    latitude, longitude = _depot_position(depot)
    place = {"latitude_deg": latitude, "longitude_deg": longitude, "time_zone": ZONE}
    network.add("depots", depot_code=f"B{depot:03d}", name=f"Base {depot}", **place)
    for number in (1, 2):
        network.add(
            "technicians",
            technician_code=f"B{depot:03d}-T{number}",
            name=f"Technician {number} of base {depot}",
            depot_code=f"B{depot:03d}",
            active_from=first_day,
            shift_start="07:30",
            shift_end="16:30",
            weekdays="mon tue wed thu fri",
            max_driving_minutes=300,
            break_minutes=30,
        )


def _depot_position(depot: int) -> tuple[float, float]:
    """Give a place in the open Atlantic, depots about 100 km apart, room for some 500."""
    return 30.0 + 0.9 * (depot % 25), -50.0 + 1.2 * (depot // 25)


class _Gauge:
    """One gauge at its site, with what becomes of it from visit to visit."""

    def __init__(
        self, depot: int, place: int, size: Size, first_day: date, dice: random.Random
    ) -> None:
        self.number = depot * size.sites_per_depot + place
        self.depot = depot
        self.place = place
        self.size = size
        self.first_day = first_day
        self.dice = dice
        self.type_code = sorted(TYPES)[self.number % len(TYPES)]
        self.drift_percent_per_year = dice.gauss(-0.8, 2.0)
        self.error_percent = dice.gauss(0.0, 0.7)
        self.switch_ohm = dice.uniform(0.1, 0.3)

    @property
    def site_code(self) -> str:
        return f"P{self.number:05d}"

    @property
    def serial(self) -> str:
        return f"{700_000 + self.number:07d}"

    def register(self, network: InputFolder) -> None:
        """Put the gauge up somewhere within about 60 km of its depot."""
        latitude, longitude = _depot_position(self.depot)
        away, bearing = 0.54 * math.sqrt(self.dice.random()), self.dice.uniform(0, 2 * math.pi)
        east = away / math.cos(math.radians(latitude))
        network.add(
            "sites",
            site_code=self.site_code,
            name=f"Place {self.number}",
            latitude_deg=round(latitude + away * math.sin(bearing), 5),
            longitude_deg=round(longitude + east * math.cos(bearing), 5),
            time_zone=ZONE,
            depot_code=f"B{self.depot:03d}",
            importance=1,
            access_minutes=10,
            persons_required=1,
            ring_first=False,
        )
        network.add(
            "instruments", serial=self.serial, type_code=self.type_code, status="in_service"
        )
        span = {"site_code": self.site_code, "position": "main", "installed_on": self.first_day}
        network.add("installations", serial=self.serial, **span)

    def serve(self, network: InputFolder) -> None:
        """Visit the gauge again and again; the visits of a depot are spread over its days."""
        offset = INTERVAL_DAYS * self.place // self.size.sites_per_depot
        own = InputFolder()  # short tables: a check looks its visit up
        for visit in range(self.size.visits_per_gauge):
            days = INTERVAL_DAYS * visit + offset + self.dice.randint(0, 20)
            self._visit(own, visit, self.first_day + timedelta(days=days + 60))
        for table, rows in own.tables.items():
            network.tables.setdefault(table, []).extend(rows)

    def _visit(self, network: InputFolder, visit: int, day: date) -> None:
        ref = f"{self.site_code}-{visit:02d}"
        crew = {"technicians": f"B{self.depot:03d}-T{1 + self.place % 2}"}
        if self.dice.random() < 0.03:
            cells = {"outcome": "not_done", "not_done_reason": "no_access"}
            network.visit(ref, self.site_code, day.isoformat(), **crew, **cells)
            return
        drift_percent = self.drift_percent_per_year * INTERVAL_DAYS / 365
        self.error_percent += drift_percent + self.dice.gauss(0.0, 0.5)
        self.switch_ohm *= math.exp(self.dice.gauss(0.05, 0.08))
        blocked = self.dice.random() < 0.03
        found = () if blocked else self._pour(residue=True)
        adjusted = self._reads_off()
        if adjusted:
            self.error_percent = self.dice.gauss(0.0, 0.7)
        network.visit(ref, self.site_code, day.isoformat(), **crew)
        network.check(
            ref,
            self.serial,
            found=found,
            left=self._pour(residue=False),
            volume_ml=TYPES[self.type_code][2],
            adjusted=adjusted,
            closed_ohm=round(self.switch_ohm, 2),
        )
        if blocked:
            network.finding(ref, 1, "funnel", "blocked", "cleared", "good", serial=self.serial)

    def _reads_off(self) -> bool:
        """Tell whether a test after cleaning reads more than 3 % off: nobody knows the truth."""
        bucket_mm, area_cm2, volume_ml = TYPES[self.type_code]
        expected = volume_ml / (bucket_mm * area_cm2 / 10)
        return abs(sum(self._pour(residue=False)) / (2 * expected) - 1) > 0.03

    def _pour(self, *, residue: bool) -> tuple[int, int]:
        """Give the whole tips of two runs; up to one tip may stand in the bucket at first."""
        bucket_mm, area_cm2, volume_ml = TYPES[self.type_code]
        tips = volume_ml / (bucket_mm * area_cm2 / 10) * (1 + self.error_percent / 100)
        stands = self.dice.random() if residue else 0.0
        return (int(tips + stands), int(tips))

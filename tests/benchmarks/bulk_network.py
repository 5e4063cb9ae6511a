"""A big invented network written straight into the tables of an SQLite database.

For measurements alone: no reader has checked the rows, guards and references look on only when all
is written, and the one ledger entry holds no digest, so that `ledger verify` has much to say.

    python -m tests.benchmarks.bulk_network big.sqlite --gauges 100000 --visits 10

The same for the same size and seed; nothing in it is anybody's.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from fleet.store.migrate import upgrade
from fleet.store.session import WRITES, engine_on
from tests.benchmarks.network import INTERVAL_DAYS, LAST_DAY, TYPES

GAUGES_A_DEPOT = 100
_BEGUN = "2016-01-01 00:00:00.000000"
_SHARE = 5000


@dataclass(frozen=True)
class BulkSize:
    """How large a network is: a gauge a site, two phases a check."""

    gauges: int
    visits_per_gauge: int = 10
    runs_per_phase: int = 5

    @property
    def visits(self) -> int:
        return self.gauges * self.visits_per_gauge

    @property
    def runs(self) -> int:
        return 2 * self.visits * self.runs_per_phase

    def __str__(self) -> str:
        return f"{self.gauges:,} gauges, {self.visits:,} visits, about {self.runs:,} runs"


def write_bulk_network(size: BulkSize, path: Path, *, seed: int = 1) -> Path:
    """Make a database at head and fill it; visits lie in the tables in order of their rounds."""
    with engine_on(f"sqlite:///{path}") as engine:
        upgrade(engine)
        with (
            engine.connect().execution_options(**{WRITES: True}) as connection,
            _unguarded(connection),
        ):
            _World(connection, size, seed).write()
    return path


@contextmanager
def _unguarded(connection: Connection) -> Iterator[None]:
    """Open a transaction without triggers and references, and put both back at its end."""
    connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")  # type: ignore[union-attr]
    with connection.begin():
        guards = connection.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).all()
        for name, _ in guards:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        yield
        for _, body in guards:
            connection.exec_driver_sql(body)
        assert not connection.exec_driver_sql("PRAGMA foreign_key_check").first()


class _World:
    """Drifting gauges with ageing switches, blocked now and then."""

    def __init__(self, connection: Connection, size: BulkSize, seed: int) -> None:
        self.connection = connection
        self.size = size
        self.first_day = LAST_DAY - timedelta(days=INTERVAL_DAYS * (size.visits_per_gauge + 1))
        self.next_check = self.next_run = self.next_reading = self.next_finding = 1
        self.dice = np.random.default_rng(seed)
        gauges = size.gauges
        shapes = [TYPES[code] for code in sorted(TYPES)]
        self.kind = np.arange(gauges) % len(shapes)
        volume_ml = np.array([volume for _, _, volume in shapes])
        tip_ml = np.array([bucket * area / 10 for bucket, area, _ in shapes])
        self.volume_ml = volume_ml[self.kind]
        self.nominal = (volume_ml / tip_ml)[self.kind]
        self.rate = self.dice.normal(-0.8, 2.0, gauges)
        self.error = self.dice.normal(0.0, 0.7, gauges)
        self.ohm = self.dice.uniform(0.1, 0.3, gauges)

    def write(self) -> None:
        """Write the register, then round after round of visits."""
        self._standards()
        self._register()
        for number in range(self.size.visits_per_gauge):
            for start in range(0, self.size.gauges, _SHARE):
                self._visits(number, np.arange(start, min(start + _SHARE, self.size.gauges)))

    def _put(self, table: str, **columns: object) -> None:
        """Insert rows given as columns; a single value holds for all of them."""
        listed = {name: _column(value) for name, value in columns.items()}
        names = ", ".join(listed)
        marks = ", ".join("?" * len(listed))
        statement = f"INSERT INTO {table} ({names}) VALUES ({marks})"
        rows = list(zip(*listed.values(), strict=False))
        if rows:
            self.connection.exec_driver_sql(statement, rows)

    def _things(self, anchor: str, codes: list[str], **known: object) -> None:
        ids = np.arange(1, len(codes) + 1)
        self._put(anchor, id=ids, code=codes, entry_id=1)
        own: Mapping[str, Any] = {f"{anchor}_id": ids}
        self._put(f"{anchor}_version", id=ids, **own, **known, known_from=_BEGUN, entry_id=1)

    def _standards(self) -> None:
        entry = {"actor": "tester", "action": "bulk", "reason": "measuring", "at": _BEGUN}
        self._put("ledger_entry", id=[1], **entry, previous_hash="0" * 64, hash="0" * 64)
        shapes = [TYPES[code] for code in sorted(TYPES)]
        self._things(
            "gauge_type",
            sorted(TYPES),
            description="bucket",
            bucket_mm=[bucket for bucket, _, _ in shapes],
            orifice_area_cm2=[area for _, area, _ in shapes],
            test_volume_ml=[volume for _, _, volume in shapes],
            area_basis="nominal",
            siphon=0,
        )
        stamp = {"known_from": _BEGUN, "entry_id": 1}
        self._put(
            "policy",
            id=[1],
            scope="network",
            scope_code="",
            valid_from=self.first_day.isoformat(),
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
            **stamp,
        )
        kinds = ["volumetric", "meter"]
        self._things("device", ["D01", "D02"], kind=kinds, description=kinds, serial=["K1", "K2"])
        self._put(
            "certificate",
            id=[1],
            device_id=1,
            certificate_number="D01/1",
            valid_from=self.first_day.isoformat(),
            valid_until="2027-12-31",
            volume_ml=800,
            expanded_uncertainty_ml=2,
            **stamp,
        )

    def _register(self) -> None:
        gauges = self.size.gauges
        depots = -(-gauges // GAUGES_A_DEPOT)
        zone = {"time_zone": "Etc/GMT-1"}
        number = np.arange(depots)
        base_lat, base_lon = 20.0 + 0.9 * (number % 25), -50.0 + 0.9 * (number // 25)
        codes = [f"B{n:03d}" for n in range(depots)]
        place = {"latitude_deg": base_lat, "longitude_deg": base_lon}
        self._things("depot", codes, name=codes, **place, **zone)
        depot = np.arange(gauges) // GAUGES_A_DEPOT
        self._things(
            "site",
            [f"P{n:06d}" for n in range(gauges)],
            name=[f"Place {n}" for n in range(gauges)],
            latitude_deg=base_lat[depot] + self.dice.uniform(-0.4, 0.4, gauges),
            longitude_deg=base_lon[depot] + self.dice.uniform(-0.4, 0.4, gauges),
            depot_id=depot + 1,
            importance=1.0,
            access_minutes=10,
            persons_required=1,
            ring_first=0,
            **zone,
        )
        self._things(
            "instrument",
            [f"{700_000 + n:07d}" for n in range(gauges)],
            gauge_type_id=self.kind + 1,
            status="in_service",
        )
        ids = np.arange(1, gauges + 1)
        self._put(
            "installation",
            id=ids,
            site_id=ids,
            position="main",
            installed_on=self.first_day.isoformat(),
            instrument_id=ids,
            known_from=_BEGUN,
            entry_id=1,
        )
        self._put("technician", id=number + 1, code=[f"T{n:03d}" for n in number], entry_id=1)

    def _visits(self, number: int, gauges: NDArray[np.int64]) -> None:
        """Visit gauges once; ids follow from round and gauge."""
        count = gauges.size
        ids = number * self.size.gauges + gauges + 1
        ahead = INTERVAL_DAYS * gauges // self.size.gauges + self.dice.integers(0, 21, count)
        days = [
            (self.first_day + timedelta(days=int(INTERVAL_DAYS * number + 60 + more))).isoformat()
            for more in ahead
        ]
        missed = self.dice.random(count) < 0.03
        self._put("visit", id=ids, code=[f"V{n:08d}" for n in ids], entry_id=1)
        self._put(
            "visit_version",
            id=ids,
            visit_id=ids,
            site_id=gauges + 1,
            visited_on=days,
            arrived_at=[f"{day} 08:00:00.000000" for day in days],
            departed_at=[f"{day} 09:30:00.000000" for day in days],
            utc_offset_minutes=60,
            purpose="routine",
            outcome=["not_done" if miss else "done" for miss in missed],
            not_done_reason=["no_access" if miss else None for miss in missed],
            known_from=_BEGUN,
            entry_id=1,
        )
        crew = gauges // GAUGES_A_DEPOT + 1
        self._put("visit_technician", id=ids, visit_version_id=ids, technician_id=crew, entry_id=1)
        self._checks(gauges[~missed], ids[~missed])

    def _checks(self, gauges: NDArray[np.int64], visits: NDArray[np.int64]) -> None:
        count = gauges.size
        self.error[gauges] += self.rate[gauges] * INTERVAL_DAYS / 365
        self.error[gauges] += self.dice.normal(0.0, 0.5, count)
        self.ohm[gauges] *= np.exp(self.dice.normal(0.05, 0.08, count))
        blocked = self.dice.random(count) < 0.03
        checks = self.next_check + np.arange(count)
        self.next_check += count
        adjusted = np.abs(self.error[gauges]) > 3.0
        found = self._pour(gauges, residue=True)
        self.error[gauges] = np.where(
            adjusted, self.dice.normal(0.0, 0.7, count), self.error[gauges]
        )
        left = self._pour(gauges, residue=False)
        self._put(
            "gauge_check",
            id=checks,
            visit_version_id=visits,
            instrument_id=gauges + 1,
            restoration_proven=1,
            cleaned=1,
            adjusted=adjusted.astype(int),
            entry_id=1,
        )
        self._runs("as_found", checks[~blocked], gauges[~blocked], found[~blocked])
        self._runs("as_left", checks, gauges, left)
        self._put(
            "switch_reading",
            id=self.next_reading + np.arange(count),
            gauge_check_id=checks,
            phase="as_left",
            kind="closed_ohm",
            value=np.round(self.ohm[gauges], 2),
            over_range=0,
            measured_at="gauge_terminals",
            device_id=2,
            entry_id=1,
        )
        self.next_reading += count
        self._put(
            "finding",
            id=self.next_finding + np.arange(int(blocked.sum())),
            visit_version_id=visits[blocked],
            finding_number=1,
            instrument_id=gauges[blocked] + 1,
            component="funnel",
            condition_found="blocked",
            action="cleared",
            condition_left="good",
            entry_id=1,
        )
        self.next_finding += int(blocked.sum())

    def _pour(self, gauges: NDArray[np.int64], *, residue: bool) -> NDArray[np.int64]:
        tips = self.nominal[gauges] * (1 + self.error[gauges] / 100)
        counts = np.repeat(tips[:, None], self.size.runs_per_phase, axis=1)
        counts += self.dice.normal(0.0, 0.3, counts.shape)
        if residue:
            counts[:, 0] += self.dice.uniform(-0.5, 0.5, gauges.size)
        return np.rint(np.maximum(counts, 0)).astype(np.int64)

    def _runs(
        self,
        phase: str,
        checks: NDArray[np.int64],
        gauges: NDArray[np.int64],
        tips: NDArray[np.int64],
    ) -> None:
        runs = self.size.runs_per_phase
        self._put(
            "tip_run",
            id=self.next_run + np.arange(tips.size),
            gauge_check_id=np.repeat(checks, runs),
            phase=phase,
            run_number=np.tile(np.arange(1, runs + 1), checks.size),
            volume_ml=np.repeat(self.volume_ml[gauges], runs),
            tips=tips.ravel(),
            start_state="unknown",
            device_id=1,
            entry_id=1,
        )
        self.next_run += tips.size


def _column(value: object) -> Iterable[object]:
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value if isinstance(value, list) else repeat(value)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("path", type=Path)
    parser.add_argument("--gauges", type=int, default=1000)
    parser.add_argument("--visits", type=int, default=10, help="of each gauge")
    parser.add_argument("--runs", type=int, default=5, help="of each phase")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    size = BulkSize(asked.gauges, asked.visits, asked.runs)
    begun = datetime.now()  # noqa: DTZ005  # only the difference is told
    write_bulk_network(size, asked.path, seed=asked.seed)
    print(f"{size} in {datetime.now() - begun}")  # noqa: T201, DTZ005


if __name__ == "__main__":
    main()

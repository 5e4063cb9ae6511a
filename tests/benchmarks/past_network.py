"""An invented network of any size as rows, straight into the tables: the same for the same size.

It has what a question about a past day stumbles over: gauges long overdue, attempts that failed,
visits amended later, two gauges at a site, instruments swapped. The journal is not asked, so the
ledger of such a database proves nothing; it is for measuring reads. Nothing in it is anybody's.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy import Engine, insert, text
from sqlalchemy.orm import Session

from fleet.domain.code import (
    DecisionRule,
    InstrumentStatus,
    NotDoneReason,
    Phase,
    PolicyScope,
    StartState,
    VisitOutcome,
    VisitPurpose,
)
from fleet.store.base import Base, Versioned, table_of
from fleet.store.bulk import insert_columns
from fleet.store.digest import GENESIS
from fleet.store.models.instrument import (
    GaugeType,
    GaugeTypeVersion,
    Installation,
    Instrument,
    InstrumentVersion,
    PolicyTerm,
)
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.people import Depot, DepotVersion, Technician, TechnicianVersion
from fleet.store.models.site import Site, SiteVersion
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitTechnician, VisitVersion

LAST_DAY = date(2026, 11, 20)
"""No visit is later."""

PAST_DAY = date(2025, 10, 1)
"""A day in the middle of the records, to ask about."""

LOADED_AT = datetime(2026, 11, 20, 18, 0, tzinfo=UTC)
AMENDED_AT = datetime(2026, 11, 21, 18, 0, tzinfo=UTC)

FIRST_DAY = date(2022, 6, 1)
INTERVAL_DAYS = 180
CYCLE_DAYS = 150
VISITS = 10
"""Visits of a gauge, the failed ones included."""

RUNS = 5
"""Test runs a phase; two phases a check."""

GAUGES_A_DEPOT = 500
_ROWS_A_BATCH = 20_000


@dataclass(frozen=True)
class PastSize:
    """How many gauges there are; each has `VISITS` visits with 2 x `RUNS` test runs."""

    gauges: int

    def __str__(self) -> str:
        visits = self.gauges * VISITS
        return f"{self.gauges:,} gauges, {visits:,} visits, {2 * RUNS * visits:,} runs"


def fill_past(engine: Engine, size: PastSize, *, seed: int = 1) -> None:
    """Fill an empty database at head; constraints hold, but for those that slow it."""
    with Session(engine) as session:
        guards = _unguard(session)
        rows = _Rows(session)
        _standards(rows)
        for depot in range(-(-size.gauges // GAUGES_A_DEPOT)):
            _Depot(rows, depot, random.Random(f"{seed} {depot}")).fill(
                min(GAUGES_A_DEPOT, size.gauges - depot * GAUGES_A_DEPOT)
            )
        rows.write()
        _pour(session)
        for guard in guards:
            session.execute(text(guard))
        session.commit()
        session.execute(text("ANALYZE"))
        session.commit()


def _unguard(session: Session) -> list[str]:
    """Lift foreign keys and triggers for the filling; give what makes the triggers again."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SET session_replication_role = replica"))
        return []
    for step in ("ROLLBACK", "PRAGMA foreign_keys = OFF", "BEGIN"):  # not within a transaction
        session.execute(text(step))
    triggers = session.execute(
        text(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%no_replace'"
        )
    ).all()
    for name, _ in triggers:
        session.execute(text(f"DROP TRIGGER {name}"))
    return [sql for _, sql in triggers]


class _Rows:
    """Rows of many tables, numbered as they come and written in batches."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._waiting: dict[type[Base], list[dict[str, Any]]] = {}
        self._last: dict[type[Base], int] = {}

    def add(self, model: type[Base], *, amending: bool = False, **cells: object) -> int:
        """Keep a row for writing and give its id; an amending one is known from later."""
        number = self._last[model] = self._last.get(model, 0) + 1
        row = dict.fromkeys(column.name for column in table_of(model).columns)
        row |= {"id": number, "entry_id": 2 if amending else 1}
        if issubclass(model, Versioned):
            row["known_from"] = AMENDED_AT if amending else LOADED_AT
        waiting = self._waiting.setdefault(model, [])
        waiting.append(row | cells)
        if len(waiting) >= _ROWS_A_BATCH:
            self.write()
        return number

    def write(self) -> None:
        """Write what waits."""
        for model, rows in self._waiting.items():
            columns = {name: [row[name] for row in rows] for name in rows[0]}
            insert_columns(self._session, table_of(model), columns)
        self._waiting.clear()


def _standards(rows: _Rows) -> None:
    for number, at in ((1, LOADED_AT), (2, AMENDED_AT)):
        entry = {"id": number, "at": at, "actor": "tester", "action": "network load"}
        proof = {"reason": "measuring", "previous_hash": GENESIS, "hash": f"{number:064d}"}
        rows._session.execute(insert(LedgerEntry), [entry | proof])
    for number, (bucket_mm, area_cm2) in enumerate(((0.2, 200.0), (0.5, 400.0), (1.0, 300.0))):
        type_id = rows.add(GaugeType, code=f"W{number}")
        rows.add(
            GaugeTypeVersion,
            gauge_type_id=type_id,
            description="invented",
            bucket_mm=bucket_mm,
            orifice_area_cm2=area_cm2,
            area_basis="nominal",
            siphon=False,
            test_volume_ml=400.0,
        )
    _policy(rows, PolicyScope.NETWORK, "", INTERVAL_DAYS)
    _policy(rows, PolicyScope.TYPE, "W2", INTERVAL_DAYS + 30)


def _policy(rows: _Rows, scope: PolicyScope, code: str, interval_days: int) -> None:
    rows.add(
        PolicyTerm,
        scope=scope,
        scope_code=code,
        valid_from=FIRST_DAY,
        service_interval_days=interval_days,
        as_found_tolerance_percent=5.0,
        as_left_tolerance_percent=3.0,
        reject_limit_percent=10.0,
        minimum_as_found_runs=2,
        minimum_as_left_runs=2,
        closed_field_limit_ohm=5.0,
        closed_workshop_limit_ohm=1.0,
        open_limit_ohm=1e6,
        decision_rule=DecisionRule.SIMPLE,
        target_reliability=0.9,
        compliance_record_days=0.0,
        basis="invented for a measurement of speed",
    )


class _Depot:
    """A depot with two technicians, its sites, gauges and visits."""

    def __init__(self, rows: _Rows, number: int, dice: random.Random) -> None:
        self.rows = rows
        self.number = number
        self.dice = dice
        self.depot_id = rows.add(Depot, code=f"B{number:03d}")
        place = {"latitude_deg": 30.0, "longitude_deg": -50.0, "time_zone": "Etc/GMT-1"}
        rows.add(DepotVersion, depot_id=self.depot_id, name=f"Base {number}", **place)
        self.crew = [self._technician(one) for one in (1, 2)]

    def _technician(self, number: int) -> int:
        technician_id = self.rows.add(Technician, code=f"B{self.number:03d}-T{number}")
        self.rows.add(
            TechnicianVersion,
            technician_id=technician_id,
            name=f"Technician {number} of base {self.number}",
            depot_id=self.depot_id,
            active_from=FIRST_DAY,
            shift_start=450,
            shift_end=990,
            weekdays="mon tue wed thu fri",
            max_driving_minutes=300,
            break_minutes=30,
        )
        return technician_id

    def fill(self, gauges: int) -> None:
        """Put up sites with one gauge, every tenth with two, until there are enough."""
        left, site = gauges, 0
        while left:
            positions = ("main", "second")[: min(left, 2 if site % 10 == 0 else 1)]
            _Site(self, site, positions).fill()
            left, site = left - len(positions), site + 1


class _Site:
    """A site, what stands there, and the visits to it."""

    def __init__(self, depot: _Depot, number: int, positions: tuple[str, ...]) -> None:
        self.rows, self.dice, self.depot = depot.rows, depot.dice, depot
        self.code = f"P{depot.number:03d}{number:03d}"
        self.positions = positions
        self.site_id = self.rows.add(Site, code=self.code)
        self.rows.add(
            SiteVersion,
            site_id=self.site_id,
            name=f"Place {number} of base {depot.number}",
            latitude_deg=30.0 + self.dice.random(),
            longitude_deg=-50.0 + self.dice.random(),
            time_zone="Etc/GMT-1",
            depot_id=depot.depot_id,
            importance=1.0,
            access_minutes=10,
            persons_required=1,
            ring_first=False,
        )
        if number % 100 == 7:
            _policy(self.rows, PolicyScope.SITE, self.code, INTERVAL_DAYS // 2)

    def fill(self) -> None:
        """Visit the site about every `CYCLE_DAYS`; one in ten has been waiting for long."""
        spans = {position: list(self._install(position)) for position in self.positions}
        waits = 250 if self.dice.random() < 0.1 else 0
        last = LAST_DAY - timedelta(days=waits + self.dice.randint(0, CYCLE_DAYS))
        for back in range(VISITS - 1, -1, -1):
            day = last - timedelta(days=CYCLE_DAYS * back + self.dice.randint(0, 20))
            stand = [
                instrument for held in spans.values() for first, instrument in held if first <= day
            ]
            self._visit(VISITS - back, day, stand[-1:] if len(spans) == 1 else stand)

    def _install(self, position: str) -> Iterator[tuple[date, int]]:
        """Put an instrument up; one in thirty was changed for another since."""
        first = FIRST_DAY - timedelta(days=self.dice.randint(200, 400))
        swapped = None
        if self.dice.random() < 1 / 30 and len(self.positions) == 1:
            swapped = LAST_DAY - timedelta(days=self.dice.randint(100, 1000))
        for start, end in ((first, swapped), (swapped, None)):
            if start is None:
                continue
            number = self.rows._last.get(Instrument, 0)
            instrument = self.rows.add(Instrument, code=f"{700_000 + number:07d}")
            self.rows.add(
                InstrumentVersion,
                instrument_id=instrument,
                gauge_type_id=1 + number % 3,
                status=InstrumentStatus.IN_SERVICE,
            )
            self.rows.add(
                Installation,
                site_id=self.site_id,
                position=position,
                installed_on=start,
                instrument_id=instrument,
                removed_on=end,
            )
            yield start, instrument

    def _visit(self, number: int, day: date, instruments: list[int]) -> None:
        visit_id = self.rows.add(Visit, code=f"{self.code}-{number:02d}")
        amended = self.dice.random() < 0.02
        failed = self.dice.random() < 0.03
        for amending in (False, True) if amended else (False,):
            closed = {}
            if amended and not amending:
                closed = {"known_until": AMENDED_AT, "closing_entry_id": 2}
            arrived = datetime.combine(day, time(8 + number % 6), tzinfo=UTC)
            version = self.rows.add(
                VisitVersion,
                amending=amending,
                visit_id=visit_id,
                site_id=self.site_id,
                visited_on=day,
                arrived_at=arrived,
                departed_at=arrived + timedelta(minutes=90),
                utc_offset_minutes=60,
                purpose=VisitPurpose.ROUTINE,
                outcome=VisitOutcome.NOT_DONE if failed else VisitOutcome.DONE,
                not_done_reason=NotDoneReason.NO_ACCESS if failed else None,
                **closed,
            )
            who = self.depot.crew[number % 2]
            self.rows.add(
                VisitTechnician, amending=amending, visit_version_id=version, technician_id=who
            )
            for instrument in () if failed else instruments:
                self._check(version, instrument, arrived, amending=amending)

    def _check(self, version: int, instrument: int, at: datetime, *, amending: bool) -> None:
        self.rows.add(
            GaugeCheck,
            amending=amending,
            visit_version_id=version,
            instrument_id=instrument,
            isolated_at=at + timedelta(minutes=10),
            restored_at=at + timedelta(minutes=80),
            restoration_proven=self.dice.random() > 0.01,
            cleaned=self.dice.random() > 0.02,
            adjusted=self.dice.random() < 0.1,
        )


def _pour(session: Session) -> None:
    """Give every check its runs in one statement; counts lie around the expected 100 tips."""
    tens = ", ".join(
        f"('{phase.value}', {number}, {place * RUNS + number})"
        for place, phase in enumerate(Phase)
        for number in range(1, RUNS + 1)
    )
    session.execute(
        text(
            f"WITH run (phase, run_number, place) AS (VALUES {tens}) "
            f"INSERT INTO {TipRun.__tablename__} (id, entry_id, gauge_check_id, phase, run_number, "
            "volume_ml, duration_s, tips, start_state, device_id) "
            f"SELECT (c.id - 1) * {2 * RUNS} + run.place, c.entry_id, c.id, run.phase, "
            "run.run_number, 400.0, 600.0, 97 + (c.id * 7 + run.place * 3) % 7, "
            f"'{StartState.EMPTIED.value}', NULL FROM gauge_check c CROSS JOIN run ORDER BY c.id"
        )
    )

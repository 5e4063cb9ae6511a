"""Small random records written through the journal in three entries, the later ones amending.

Instruments move between positions and sites, visits are amended (also to another day or site) and
withdrawn, installations are corrected. Days are few, so that all of it meets on the same ones.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session, sessionmaker

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
from fleet.store.journal import Wish, Work, writing
from fleet.store.models.instrument import (
    GaugeType,
    GaugeTypeVersion,
    Installation,
    Instrument,
    InstrumentVersion,
    PolicyTerm,
)
from fleet.store.models.people import Depot, DepotVersion, Technician
from fleet.store.models.site import Site, SiteVersion
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitTechnician, VisitVersion
from tests.factories import NOW, FrozenClock

FIRST_DAY = date(2025, 1, 1)
DAYS = 6
ENTRIES = 3
KNOWN_ON = (None, *(NOW + timedelta(hours=n, minutes=m) for n in range(ENTRIES) for m in (0, 30)))
"""Now, the instant of each entry, and one between it and the next."""

Row = dict[str, Any]


def write_world(sessions: sessionmaker[Session], seed: int) -> None:
    """Write the records of a seed into an empty database."""
    world = _World(random.Random(seed))
    clock = FrozenClock()
    for number in range(ENTRIES):
        with writing(sessions, Wish("tester", "network load", "trying"), clock) as work:
            if number == 0:
                world.begin(work)
            world.go_on(work, again=number > 0)
        clock.move(hours=1)


class _World:
    """What is known by now: rows that are current, by id."""

    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.stays: dict[int, Row] = {}
        self.versions: dict[int, Row] = {}

    def begin(self, work: Work) -> None:
        """Add the register: two sites in two depots, four instruments, two technicians, policy."""
        depots = work.add(Depot, [{"code": code} for code in ("NORTH", "SOUTH")])
        place = {"latitude_deg": 44.0, "longitude_deg": -34.0, "time_zone": "Etc/GMT-1"}
        work.add(DepotVersion, [{"depot_id": one, "name": f"D{one}", **place} for one in depots])
        self.crew = work.add(Technician, [{"code": code} for code in ("T01", "T02")])
        self.sites = work.add(Site, [{"code": code} for code in ("S01", "S02")])
        access = {"access_minutes": 5, "persons_required": 1, "ring_first": False}
        for site, depot in zip(self.sites, depots, strict=True):
            named = {"site_id": site, "depot_id": depot, "name": f"Place {site}", "importance": 1.0}
            work.add(SiteVersion, [{**named, **place, **access}])
        [kind] = work.add(GaugeType, [{"code": "TB05"}])
        shape = {"bucket_mm": 0.5, "orifice_area_cm2": 400.0, "area_basis": "nominal"}
        named = {"gauge_type_id": kind, "description": "", "siphon": False, "test_volume_ml": 800.0}
        work.add(GaugeTypeVersion, [{**named, **shape}])
        self.instruments = work.add(Instrument, [{"code": f"I{n}"} for n in range(4)])
        status = {"gauge_type_id": kind, "status": InstrumentStatus.IN_SERVICE}
        work.add(InstrumentVersion, [{"instrument_id": n, **status} for n in self.instruments])
        work.add(
            PolicyTerm, [_policy(PolicyScope.NETWORK, "", 3), _policy(PolicyScope.SITE, "S02", 1)]
        )
        self.visits = work.add(Visit, [{"code": f"V{n}"} for n in range(16)])

    def go_on(self, work: Work, *, again: bool) -> None:
        """Install and visit, or amend about a third of what is known."""
        for kept in list(self.stays):
            if self.dice.random() < 0.3:
                work.supersede(Installation, kept, key="stay", fields={})
                del self.stays[kept]
        for stay in self._new_stays(3 if again else 12):
            self.stays |= zip(work.add(Installation, [stay]), [stay], strict=True)
        for kept, version in list(self.versions.items()):
            if self.dice.random() < 0.3:
                work.supersede(VisitVersion, kept, key="visit", fields={})
                del self.versions[kept]
                if self.dice.random() < 0.7:  # else it is withdrawn
                    self._visit(work, version["visit_id"])
        known = {version["visit_id"] for version in self.versions.values()}
        for visit in self.visits if not again else ():
            if visit not in known:
                self._visit(work, visit)

    def _new_stays(self, tries: int) -> Iterator[Row]:
        """Give stays that overlap no other of the instrument or the position; they may touch."""
        for _ in range(tries):
            start = self.dice.randrange(DAYS)
            end = self.dice.choice([None, start + self.dice.randint(1, 6)])
            stay = {
                "site_id": self.dice.choice(self.sites),
                "position": self.dice.choice(["main", "second"]),
                "instrument_id": self.dice.choice(self.instruments),
                "installed_on": _day(start),
                "removed_on": None if end is None else _day(end),
            }
            if not any(_in_the_way(stay, other) for other in self.stays.values()):
                yield stay

    def _visit(self, work: Work, visit: int) -> None:
        day = _day(self.dice.randrange(DAYS))
        arrived = datetime.combine(day, time(self.dice.choice([8, 8, 9])), tzinfo=UTC)
        outcome = self.dice.choice([*VisitOutcome, VisitOutcome.DONE])
        row = {
            "visit_id": visit,
            "site_id": self.dice.choice(self.sites),
            "visited_on": day,
            "arrived_at": arrived,
            "departed_at": arrived + timedelta(hours=1),
            "utc_offset_minutes": 0,
            "purpose": VisitPurpose.ROUTINE,
            "outcome": outcome,
            "not_done_reason": None if outcome is VisitOutcome.DONE else NotDoneReason.NO_ACCESS,
        }
        [version] = work.add(VisitVersion, [row])
        self.versions[version] = row
        crew = self.dice.sample(self.crew, self.dice.randint(1, 2))
        work.add(
            VisitTechnician, [{"visit_version_id": version, "technician_id": one} for one in crew]
        )
        for instrument in self.dice.sample(self.instruments, self.dice.choice([0, 1, 1, 2, 3])):
            self._check(work, version, instrument)

    def _check(self, work: Work, version: int, instrument: int) -> None:
        done = {name: self.dice.random() < 0.4 for name in ("cleaned", "adjusted")}
        isolated = self.dice.choice([None, NOW])
        proven = self.dice.choice([None, True, False])
        row = {"visit_version_id": version, "instrument_id": instrument, **done}
        [check] = work.add(
            GaugeCheck, [{**row, "isolated_at": isolated, "restoration_proven": proven}]
        )
        for phase in Phase:
            if self.dice.random() < 0.3:
                run = {"phase": phase, "run_number": 1, "volume_ml": 800.0, "tips": 40}
                start = {"gauge_check_id": check, "start_state": StartState.EMPTIED}
                work.add(TipRun, [{**run, **start}])


def _day(number: int) -> date:
    return FIRST_DAY + timedelta(days=number)


def _in_the_way(one: Row, other: Row) -> bool:
    same_place = all(one[name] == other[name] for name in ("site_id", "position"))
    if not same_place and one["instrument_id"] != other["instrument_id"]:
        return False
    return one["installed_on"] < (other["removed_on"] or date.max) and other["installed_on"] < (
        one["removed_on"] or date.max
    )


def _policy(scope: PolicyScope, code: str, interval_days: int) -> Row:
    limits = dict.fromkeys(
        ("as_found_tolerance_percent", "as_left_tolerance_percent", "reject_limit_percent"), 5.0
    )
    ohms = ("closed_field_limit_ohm", "closed_workshop_limit_ohm", "open_limit_ohm")
    return {
        "scope": scope,
        "scope_code": code,
        "valid_from": FIRST_DAY - timedelta(days=100),
        "service_interval_days": interval_days,
        "minimum_as_found_runs": 1,
        "minimum_as_left_runs": 1,
        "decision_rule": DecisionRule.SIMPLE,
        "target_reliability": 0.9,
        "compliance_record_days": 0.0,
        "basis": "invented",
        **limits,
        **dict.fromkeys(ohms, 5.0),
    }

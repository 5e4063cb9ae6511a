"""How ranking from kept states grows with the network; run by hand for the full sizes.

    python -m tests.benchmarks.scale --gauges 100000 --folder /some/where

Each step runs in a process of its own, so that its memory is its own: rank from state, and beside
it in the same process a bare SELECT of the same rows into a frame; the same after new visits, with
what these cost; a full rebuild. The table goes into SCALE.md.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import utc_now
from fleet.services.gauge_write import writing
from fleet.services.learn_rates import learn_rates
from fleet.services.ranking import rank_gauges
from fleet.services.state_check import rebuild
from fleet.store.journal import Wish, Work
from fleet.store.models.instrument import Installation
from fleet.store.models.visit import GaugeCheck, TipRun, Visit, VisitVersion
from fleet.store.session import make_engine, make_sessions
from tests.benchmarks.bulk_network import BulkSize, write_bulk_network
from tests.benchmarks.network import LAST_DAY

NEW_VISITS = 1000
TOP = 50
STEPS = ("learn", "rank", "visits", "rank", "rebuild")


@dataclass(frozen=True)
class Measured:
    """One thing that was done: clock and processor seconds (least of the runs), peak memory."""

    what: str
    gauges: int
    clock_s: float
    busy_s: float
    peak_mb: float


def measure(what: str, gauges: int, act: Callable[[], Any], *, runs: int = 1) -> Measured:
    """Do something so many times."""
    clock_s, busy_s = [], []
    for _ in range(runs):
        start, before = perf_counter(), process_time()
        act()
        clock_s.append(perf_counter() - start)
        busy_s.append(process_time() - before)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Measured(what, gauges, min(clock_s), min(busy_s), peak_mb)


def run_step(step: str, path: Path, gauges: int) -> list[Measured]:
    """Run one step on a database; gives what it measured."""
    sessions = make_sessions(make_engine(f"sqlite:///{path}"))
    steps = {"learn": _learn, "rank": _rank, "visits": _visits, "rebuild": _rebuild}
    return steps[step](sessions, gauges)


def _learn(sessions: sessionmaker[Session], gauges: int) -> list[Measured]:
    wish = Wish("tester", "gauge learn", "measuring")
    act = lambda: learn_rates(sessions, wish, as_of=LAST_DAY, clock=utc_now)  # noqa: E731
    return [measure("learn rates, keep all states", gauges, act)]


def _rank(sessions: sessionmaker[Session], gauges: int) -> list[Measured]:
    """Rank first, so that its peak of memory is not that of the frame."""

    def rank() -> None:
        with sessions() as session:
            ranking = rank_gauges(session, as_of=LAST_DAY + timedelta(days=30))
            assert len(ranking) == gauges
            assert len(ranking.rows(range(min(TOP, gauges)))) == min(TOP, gauges)

    def bare() -> None:
        with sessions() as session:
            frame = pd.read_sql("SELECT * FROM gauge_state", session.connection())
            assert len(frame) == gauges

    ranked = measure(f"rank from state, {TOP} rows shown", gauges, rank, runs=3)
    return [ranked, measure("bare SELECT of the states into a frame", gauges, bare, runs=3)]


def _visits(sessions: sessionmaker[Session], gauges: int) -> list[Measured]:
    """Record new visits: the rows alone in a transaction that is taken back, then with states."""
    number = min(NEW_VISITS, gauges)

    def alone() -> None:
        wish = Wish("tester", "visits", "measuring", dry_run=True)
        with writing(sessions, wish, utc_now) as work:
            _add_visits(work, number)

    def whole() -> None:
        with writing(sessions, Wish("tester", "visits", "measuring"), utc_now) as work:
            _add_visits(work, number)

    return [
        measure(f"{number} visits: their rows alone, taken back", gauges, alone),
        measure(f"{number} visits: with the states they touch", gauges, whole),
    ]


def _add_visits(work: Work, number: int) -> None:
    """Visit gauges spread evenly over the network, ten runs each."""
    stands = work.session.execute(
        select(Installation.site_id, Installation.instrument_id)
        .where(Installation.known_until.is_(None))
        .order_by(Installation.id)
    ).all()
    picked = stands[:: max(1, len(stands) // number)][:number]
    arrived = utc_now().replace(year=LAST_DAY.year, month=12, day=1, hour=8)
    ids = work.add(Visit, [{"code": f"N{work.entry_id}-{site_id}"} for site_id, _ in picked])
    span = {"arrived_at": arrived, "departed_at": arrived + timedelta(hours=1)}
    version = {"visited_on": arrived.date(), "utc_offset_minutes": 60, **span}
    done = {"purpose": "routine", "outcome": "done", "not_done_reason": None, "note": None}
    versions = work.add(
        VisitVersion,
        [
            {"visit_id": visit_id, "site_id": site_id, **version, **done}
            for visit_id, (site_id, _) in zip(ids, picked, strict=True)
        ],
    )
    state = {"restoration_proven": True, "cleaned": True, "adjusted": False}
    checks = work.add(
        GaugeCheck,
        [
            {"visit_version_id": version_id, "instrument_id": instrument_id, **state}
            for version_id, (_, instrument_id) in zip(versions, picked, strict=True)
        ],
    )
    pour = {"volume_ml": 800.0, "start_state": "unknown", "device_id": 1}
    runs = [
        {"gauge_check_id": check_id, "phase": phase, "run_number": run, "tips": 80, **pour}
        for check_id in checks
        for phase in ("as_found", "as_left")
        for run in range(1, 6)
    ]
    work.add(TipRun, runs)


def _rebuild(sessions: sessionmaker[Session], gauges: int) -> list[Measured]:
    return [measure("full rebuild of the states", gauges, lambda: rebuild(sessions))]


def run_all(size: BulkSize, folder: Path, *, path: Path | None = None) -> list[Measured]:
    """Run every step in a process of its own, on a network made here or given."""
    place = path or write_bulk_network(size, folder / f"scale_{size.gauges}.sqlite")
    measured = []
    for step in STEPS:
        command = [sys.executable, "-m", "tests.benchmarks.scale", "--step", step]
        done = subprocess.run(
            [*command, "--database", str(place), "--gauges", str(size.gauges)],
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        measured += [Measured(**each) for each in json.loads(done.stdout)]
    return measured


def table(measured: list[Measured]) -> list[str]:
    """Give the lines of a Markdown table."""
    head = ["| gauges | what | clock s | processor s | peak MB |", "|---|---|---|---|---|"]
    return head + [
        f"| {m.gauges:,} | {m.what} | {m.clock_s:.2f} | {m.busy_s:.2f} | {m.peak_mb:.0f} |"
        for m in measured
    ]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--gauges", type=int, default=1000)
    parser.add_argument("--folder", type=Path, default=Path())
    parser.add_argument("--database", type=Path, help="one made before by bulk_network")
    parser.add_argument("--step", choices=sorted(set(STEPS)), help="only this, told as JSON")
    asked = parser.parse_args()
    if asked.step:
        found = run_step(asked.step, asked.database, asked.gauges)
        print(json.dumps([asdict(one) for one in found]))  # noqa: T201
        return
    size = BulkSize(asked.gauges)
    for line in table(run_all(size, asked.folder, path=asked.database)):
        print(line)  # noqa: T201


if __name__ == "__main__":
    main()

"""How long questions about a past day take, by the newest visits and by whole histories.

    python -m tests.benchmarks.bench_past --gauges 1000 10000 --whole 10000 --folder /tmp/past
    python -m tests.benchmarks.bench_past --gauges 100000 --database postgresql://...

A database of a size is made where the folder has none, and kept. ``--whole`` is up to which size
whole histories are folded too, in the same run: the answers must be equal. PAST.md keeps the table.
"""

from __future__ import annotations

import argparse
import resource
import sys
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pandas as pd
from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.audit.evidence import Ask
from fleet.domain.state import derive_state
from fleet.services.audit import ask_records
from fleet.services.audit_evidence import RecordsAsked, gather_evidence
from fleet.services.audit_question import ATTEMPTS, LEFT_DISCONNECTED, NEVER_VERIFIED, OVERDUE
from fleet.services.question import Question
from fleet.store.migrate import upgrade
from fleet.store.session import make_engine, make_sessions
from tests.benchmarks.past_network import LAST_DAY, LOADED_AT, PAST_DAY, PastSize, fill_past
from tests.benchmarks.stopwatch import Stopwatch

ASKED: tuple[tuple[date, datetime | None], ...] = (
    (LAST_DAY, None),
    (PAST_DAY, None),
    (PAST_DAY, LOADED_AT + timedelta(hours=1)),
)
"""As of the last day and a past one, as known now and before the amendments."""

OTHERS = (NEVER_VERIFIED, LEFT_DISCONNECTED, ATTEMPTS)

_TOLD = ("last_service_ref", "last_service_by", "failed_attempts")

Sessions = sessionmaker[Session]


def measure(
    sessions: Sessions, size: PastSize, watch: Stopwatch, *, whole: bool, runs: int
) -> None:
    """Ask each question; with ``whole`` hold the answers against the fold of whole histories."""
    for as_of, known_on in ASKED:
        asked = f"overdue, as of {as_of}" + ("" if known_on is None else ", known then")

        def ask(as_of: date = as_of, known_on: datetime | None = known_on) -> pd.DataFrame:
            return ask_records(sessions, OVERDUE, Ask(as_of), known_on=known_on).frame

        told = watch.measure(asked, ask, size=str(size), runs=runs)
        if whole:
            folded = watch.measure(
                f"{asked}: whole histories folded",
                lambda as_of=as_of, known_on=known_on: fold_overdue(sessions, as_of, known_on),
                size=str(size),
            )
            assert told[["serial", "counted_from", *_TOLD]].to_numpy().tolist() == folded
    for question in OTHERS:
        frame = watch.measure(
            f"{question.name}, as of {PAST_DAY}",
            lambda question=question: ask_records(sessions, question, Ask(PAST_DAY)).frame,
            size=str(size),
            runs=runs,
        )
        if whole:
            _hold_against_every_site(sessions, question, frame, size, watch)


def fold_overdue(sessions: Sessions, as_of: date, known_on: datetime | None) -> list[list[object]]:
    """Answer who is overdue from whole histories, by the fold that the ranking uses."""
    evidence = gather_evidence(sessions, Ask(as_of), asked=RecordsAsked(known_on))
    rows = []
    for audited in evidence.standing():
        state = derive_state(audited.history)
        interval = evidence.policy(audited.gauge, as_of).service_interval_days
        late = (as_of - state.serviced_or_installed_on).days - interval
        if late > 0:
            service = [one for one in audited.checks() if one.visit_ref == state.last_service_ref]
            by = " ".join(service[-1].technicians) if service else ""
            place = (-late, audited.gauge.site_code, audited.gauge.position)
            since = state.serviced_or_installed_on
            cells = [since, state.last_service_ref, by, state.attempts_since_service]
            rows.append((place, [audited.gauge.serial, *cells]))
    return [cells for _, cells in sorted(rows, key=lambda row: row[0])]


def _hold_against_every_site(
    sessions: Sessions, question: Question, frame: pd.DataFrame, size: PastSize, watch: Stopwatch
) -> None:
    every = replace(question, about=None)
    whole = watch.measure(
        f"{question.name}, as of {PAST_DAY}: every site read",
        lambda: ask_records(sessions, every, Ask(PAST_DAY)).frame,
        size=str(size),
    )
    pd.testing.assert_frame_equal(frame, whole)


def databases(
    sizes: Iterable[PastSize], folder: Path, database: str | None
) -> Iterator[tuple[PastSize, Engine]]:
    """Give a filled database of each size, or the one that is named, filled unless it is."""
    for size in sizes:
        path = folder / f"past-{size.gauges}.sqlite"
        fresh = database is not None or not path.exists()
        engine = make_engine(database or f"sqlite:///{path}")
        upgrade(engine)
        if fresh and not _filled(engine):
            fill_past(engine, size)
        yield size, engine
        engine.dispose()


def _filled(engine: Engine) -> bool:
    with engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT 1 FROM installation LIMIT 1").first()
    return found is not None


def main(arguments: list[str]) -> None:
    """Measure as the command line says and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--gauges", type=int, nargs="+", default=[1000, 10_000])
    parser.add_argument("--whole", type=int, default=1000, help="largest size folded whole too")
    parser.add_argument("--folder", type=Path, default=Path("past"), help="of SQLite databases")
    parser.add_argument("--database", help="URL of an empty or filled database instead")
    parser.add_argument("--runs", type=int, default=3)
    told = parser.parse_args(arguments)
    told.folder.mkdir(parents=True, exist_ok=True)
    watch = Stopwatch()
    for size, engine in databases(map(PastSize, told.gauges), told.folder, told.database):
        whole = size.gauges <= told.whole
        measure(make_sessions(engine), size, watch, whole=whole, runs=told.runs)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    sys.stdout.write("\n".join([*watch.table(), f"Peak memory {peak_mb:.0f} MB.", ""]))


if __name__ == "__main__":
    main(sys.argv[1:])

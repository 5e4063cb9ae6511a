"""The ways in which the rounds of many depots are planned, each measured.

Each plans the same rounds on a copy of the same records, ways in turn, so that what else the
machine does meanwhile meets all of them.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import utc_now
from fleet.planning.distance import great_circle_travel
from fleet.services.network_week import read_network_week
from fleet.services.plan_round import PlannedRound, accepted_of, pose_week
from fleet.services.plan_rounds import RoundsOrder, chosen_depots, plan_rounds
from fleet.services.ranking import Ranking, rank_network
from fleet.services.round_request import request_for
from fleet.services.standing import Standing
from fleet.store.journal import Wish
from fleet.store.session import make_engine, make_sessions
from tests.benchmarks.conftest import load_network
from tests.benchmarks.network import LAST_DAY, Size
from tests.benchmarks.stopwatch import Stopwatch, busy_seconds

WISH = Wish("tester", "round plan", "measuring")


@dataclass(frozen=True)
class Way:
    """Who works: so many processes, of a cluster or not."""

    processes: int
    cluster: str | None = None

    def __str__(self) -> str:
        kind = "workers of a local cluster" if self.cluster else "processes"
        return f"{self.processes} {kind if self.processes > 1 or self.cluster else 'process'}"


WAYS = (Way(1), Way(2), Way(2, "local"))


@dataclass(frozen=True)
class Run:
    """One way of planning all depots: seconds by the clock and of processors, and the plans."""

    way: Way
    depots: int
    clock_s: float
    busy_s: float
    plans: str
    """A digest of all plans, byte for byte."""


def plan_all(records: Path, ranking: Ranking, iterations: int | None, way: Way) -> Run:
    """Plan every depot of a copy of the records and keep the rounds."""
    with tempfile.TemporaryDirectory(dir=records.parent) as folder:
        copy = Path(folder) / "fleet.sqlite"
        shutil.copyfile(records, copy)
        sessions = sessions_of(copy)
        requests = [
            request_for(code, LAST_DAY, iterations=iterations)
            for code in chosen_depots(sessions, ())
        ]
        order = RoundsOrder(requests, way.processes, way.cluster, ranking)
        start, before = perf_counter(), busy_seconds()
        made = list(
            plan_rounds(sessions, order, WISH, clock=utc_now, travel=lambda _: great_circle_travel)
        )
        clock_s, busy_s = perf_counter() - start, busy_seconds() - before
        return Run(way, len(requests), clock_s, busy_s, digest(made))


def digest(made: Iterable[object]) -> str:
    """Give a digest of plans, notes and costs; a failed round has no place here."""
    told = hashlib.sha256()
    for planned in made:
        if not isinstance(planned, PlannedRound):
            raise TypeError(f"not planned: {planned}")
        told.update(repr((planned.round_ref, planned.plan, planned.notes)).encode())
        told.update(repr(sorted(planned.costs.items())).encode())
    return told.hexdigest()[:16]


def pose_all(sessions: sessionmaker[Session], ranking: Ranking) -> float:
    """Give the seconds in which the weeks of all depots are posed, read as planning reads them."""
    order = RoundsOrder(
        [request_for(code, LAST_DAY) for code in chosen_depots(sessions, ())], ranking=ranking
    )
    start = perf_counter()
    line = posing(sessions, order)
    for _ in line:
        pass
    return perf_counter() - start


def posing(sessions: sessionmaker[Session], order: RoundsOrder) -> Iterable[object]:
    """Pose the weeks one after the other."""
    with sessions() as session:
        network = read_network_week(session, order.requests[0])
    for request in order.requests:
        with sessions() as session:
            standing = Standing(fixed=accepted_of(session, request), network=network)
            yield pose_week(
                session,
                request,
                travel=great_circle_travel,
                standing=standing,
                ranking=order.ranking,
            )


def sessions_of(records: Path) -> sessionmaker[Session]:
    return make_sessions(make_engine(f"sqlite:///{records}"))


def measure(
    size: Size, iterations: int | None, folder: Path, write: Callable[[str], object]
) -> list[Run]:
    """Load a network and plan it in every way; a line a way."""
    records = folder / f"{size.depots}_{size.sites_per_depot}.sqlite"
    load_network(size, records, Stopwatch())
    sessions = sessions_of(records)
    ranking = rank_network(sessions, as_of=LAST_DAY)
    posed_s = pose_all(sessions, ranking)
    runs = [plan_all(records, ranking, iterations, way) for way in WAYS]
    for run in runs:
        write(
            f"| {run.depots} | {size.sites_per_depot} | {run.way} | {run.clock_s:.1f} "
            f"| {run.busy_s:.1f} | {runs[0].clock_s / run.clock_s:.2f} "
            f"| {posed_s / run.depots:.3f} | {run.plans} |\n"
        )
    return runs

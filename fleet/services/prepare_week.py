"""The whole weekly job in one go: load, rank, plan every depot, write what the crews carry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.domain.sheet import MapLine
from fleet.planning.distance import great_circle_travel
from fleet.reports.table import write_table
from fleet.reports.typeset import Paper
from fleet.services.base_map import read_map_lines
from fleet.services.load_network import LoadResult, load_network
from fleet.services.load_report import load_sentences
from fleet.services.plan_round import PlannedRound
from fleet.services.plan_rounds import FailedRound, RoundsOrder, chosen_depots, plan_rounds
from fleet.services.ranking import Ranking, rank_network
from fleet.services.ranking_frame import rank_frame
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import RoundRequest, request_for
from fleet.services.route_sheet import Printing, write_sheets
from fleet.services.travel import TravelChoice, travel_sources
from fleet.services.travel_setting import read_travel_setting
from fleet.store.journal import Wish
from fleet.store.rehearsal import rehearsal
from fleet.workers.pool import Tell

BASE_MAP = "outline.geojson"
"""Name under which the input folder may hold the user's base map."""


@dataclass(frozen=True, slots=True)
class WeekOrder:
    """What to prepare: the input, the day of the evidence, and where the results go."""

    source: Path
    as_of: date
    folder: Path
    paper: Paper = "a4"
    font_dirs: tuple[Path, ...] = ()
    seed: int = 1
    iterations: int | None = None
    seconds: float | None = None
    bound_s: float | None = None
    processes: int = 1
    cluster: str | None = None
    """Address of a Dask scheduler, or ``local``."""
    with_rain: bool = True
    reason: str = ""
    """Why records are amended; without one, input that differs from the records is refused."""
    share_sites: bool = False
    dry_run: bool = False
    """Whether everything is tried out and taken back, and no file is written."""
    travel: TravelChoice | None = None
    """How drives are timed; None takes the great circle."""


@dataclass(frozen=True, slots=True)
class PreparedRound:
    """One depot's round with the files that were written for it."""

    planned: PlannedRound
    files: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class PreparedWeek:
    """All that was done; ``ranking`` is what was written to ``ranking_file`` as a table.

    ``ranking_file`` is None where nothing was written; ``failed`` are the depots without a round.
    """

    load: LoadResult
    ranking: Ranking
    ranking_file: Path | None
    rounds: tuple[PreparedRound, ...]
    failed: tuple[FailedRound, ...] = ()


def prepare_week(
    sessions: sessionmaker[Session],
    order: WeekOrder,
    actor: str,
    *,
    clock: Clock,
    say: Callable[[str], None] = lambda text: None,
    tell: Tell = lambda done, of: None,
) -> PreparedWeek:
    """Do the weekly job for every depot.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    order : WeekOrder
        What to prepare.
    actor : str
        Name for the ledger.
    clock : Clock
        Gives the instants of the ledger entries.
    say : callable
        Told what is going on, a line a step.
    tell : callable
        Told how many depots are done, of how many.

    Returns
    -------
    PreparedWeek
        Each step is its own ledger entry; a step that fails leaves the ones before it whole, and
        a depot that fails all others. A dry run takes all steps back.

    Raises
    ------
    InputError, ConflictError, ClusterError
        Before any round is planned.
    """
    if not order.dry_run:
        return _prepare_all(sessions, order, actor, clock=clock, say=say, tell=tell)
    with rehearsal(sessions) as tried:
        return _prepare_all(tried, order, actor, clock=clock, say=say, tell=tell)


def _prepare_all(
    sessions: sessionmaker[Session],
    order: WeekOrder,
    actor: str,
    *,
    clock: Clock,
    say: Callable[[str], None],
    tell: Tell,
) -> PreparedWeek:
    if order.travel is not None:
        read_travel_setting(order.travel.named, "")  # before anything is written
    say(f"Loading {order.source} ...")
    printing = Printing(order.paper, _map_lines(order.source), order.font_dirs)
    wish = Wish(actor, "network load", order.reason)
    load = load_network(sessions, order.source, wish, clock=clock, today=order.as_of)
    for sentence in load_sentences(load):
        say(sentence)
    say("Ranking ...")
    ranking = rank_network(sessions, as_of=order.as_of, with_rain=order.with_rain)
    ranking_file = None if order.dry_run else order.folder / "ranking.csv"
    if ranking_file is not None:
        write_table(rank_frame(ranking), "csv", ranking_file)
    rounds: list[PreparedRound] = []
    failed: list[FailedRound] = []
    asked = RoundsOrder(_requests(sessions, order), order.processes, order.cluster, ranking)
    wish = Wish(actor, "round plan", "weekly round")
    travel = _travel(sessions, order)
    made = plan_rounds(sessions, asked, wish, clock=clock, travel=travel, say=say)
    for done, planned in enumerate(made, start=1):
        if isinstance(planned, FailedRound):
            say(f"{planned.depot_code} has no round: {planned.why}")
            failed.append(planned)
        elif order.dry_run:
            rounds.append(PreparedRound(planned, ()))
        else:
            say(f"Writing the route sheets of {planned.round_ref} ...")
            files = write_sheets(sessions, planned.round_ref, order.folder, printing=printing)
            rounds.append(PreparedRound(planned, files))
        tell(done, len(asked.requests))
    return PreparedWeek(load, ranking, ranking_file, tuple(rounds), tuple(failed))


def _requests(sessions: sessionmaker[Session], order: WeekOrder) -> list[RoundRequest]:
    """Ask for a round of every depot, in order of code."""
    plain = [
        request_for(code, order.as_of, seed=order.seed, iterations=order.iterations)
        for code in chosen_depots(sessions, ())
    ]
    return [
        replace(
            request.timed(seconds=order.seconds, bound_s=order.bound_s),
            share_sites=order.share_sites,
            with_rain=order.with_rain,
        )
        for request in plain
    ]


def _travel(sessions: sessionmaker[Session], order: WeekOrder) -> Callable[[str], TravelSource]:
    if order.travel is None:
        return lambda depot_code: great_circle_travel
    return travel_sources(order.travel, sessions=sessions, as_of=order.as_of)


def _map_lines(source: Path) -> tuple[MapLine, ...]:
    path = source / BASE_MAP
    return read_map_lines(path) if source.is_dir() and path.is_file() else ()

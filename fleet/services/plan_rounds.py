"""Plan the rounds of many depots side by side; what comes out does not depend on who works."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.errors import FleetError
from fleet.planning.solver import solve
from fleet.services.network_week import NetworkWeek, read_network_week
from fleet.services.plan_round import (
    PlannedRound,
    PosedWeek,
    accepted_of,
    keep_plan,
    plan_round,
    pose_week,
)
from fleet.services.ranking import Ranking, rank_network
from fleet.services.round_problem import TravelSource
from fleet.services.round_request import RoundRequest
from fleet.services.standing import Standing
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot, depots
from fleet.workers.pool import Outcome, WorkerDiedError, open_workers, outcomes


@dataclass(frozen=True, slots=True)
class RoundsOrder:
    """Rounds of one week to plan, one request a depot, and who works on them.

    ``ranking`` is of the whole network on the evidence day, where it was worked out already.
    """

    requests: Sequence[RoundRequest]
    processes: int = 1
    cluster: str | None = None
    """Address of a Dask scheduler, or ``local``; None keeps to processes of this machine."""
    ranking: Ranking | None = None


@dataclass(frozen=True, slots=True)
class FailedRound:
    """A depot whose round could not be planned, and why; nothing of it was kept."""

    depot_code: str
    why: str


def plan_rounds(
    sessions: sessionmaker[Session],
    order: RoundsOrder,
    wish: Wish,
    *,
    clock: Clock,
    travel: Callable[[str], TravelSource],
    say: Callable[[str], None] = lambda text: None,
) -> Iterator[PlannedRound | FailedRound]:
    """Plan rounds and keep each as the next version, one ledger entry a round.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    order : RoundsOrder
        What to plan. Requests differ in the depot alone.
    wish : Wish
        Who plans and why; a dry run keeps nothing.
    clock : Clock
        Gives the instants of the ledger entries.
    travel : callable
        From the code of a depot to where its driving times come from.
    say : callable
        Told which depot is taken up.

    Yields
    ------
    PlannedRound or FailedRound
        In the order of the requests, each as soon as it is kept; the plans are those of
        `plan_round`, depot after depot, over however many processes. A depot that fails leaves
        the others whole; a single one raises as `plan_round` does. Of several, the problems come
        without their tables of drives.

    Raises
    ------
    ClusterError
        The cluster cannot be worked with; nothing was planned.

    Notes
    -----
    The ranking is made once, here; a worker is sent a posed problem and gives a plan. Depots
    that share sites hang together: those are posed and planned in their turn.
    """
    if not order.requests:
        return
    if len(order.requests) == 1 and order.cluster is None:
        request = replace(order.requests[0], processes=order.processes)
        drives, ranking = travel(request.depot_code), order.ranking
        yield plan_round(sessions, request, wish, clock=clock, travel=drives, ranking=ranking)
        return
    most = len(order.requests) if order.cluster is None else order.processes
    with open_workers(min(order.processes, most), cluster=order.cluster) as workers:
        with sessions() as session:
            network = read_network_week(session, order.requests[0])
        line = _Line(sessions, order, network, wish, clock, travel, say)
        for outcome in outcomes(workers, solve, line.tasks()):
            yield line.finish(outcome)


def chosen_depots(sessions: sessionmaker[Session], codes: Sequence[str]) -> list[str]:
    """Give the depots of these codes, each once; none named gives every depot.

    Raises
    ------
    NotFoundError
        No such depot, with the codes that exist.
    """
    with sessions() as session:
        return [
            *dict.fromkeys(depot(session, code).code for code in codes),
            *(kept.code for kept in (() if codes else depots(session))),
        ]


@dataclass(frozen=True, slots=True)
class _Taken:
    """A request on its way: posed ahead of its turn, to be posed in its turn, or failed."""

    request: RoundRequest
    posed: PosedWeek | None = None
    failed: FailedRound | None = None


class _Line:
    """The way of each request: posed, solved by a worker, checked and kept."""

    def __init__(  # noqa: PLR0913, PLR0917  # all that `plan_rounds` was given
        self,
        sessions: sessionmaker[Session],
        order: RoundsOrder,
        network: NetworkWeek,
        wish: Wish,
        clock: Clock,
        travel: Callable[[str], TravelSource],
        say: Callable[[str], None],
    ) -> None:
        self._sessions, self._order, self._network = sessions, order, network
        self._wish, self._clock, self._travel, self._say = wish, clock, travel, say
        first = order.requests[0]
        self._ranking = order.ranking
        if self._ranking is None:
            self._ranking = rank_network(
                sessions, as_of=first.evidence_as_of, with_rain=first.with_rain
            )

    def tasks(self) -> Iterator[tuple[_Taken, tuple[object, ...] | None]]:
        """Pose the weeks one after the other; what hangs on other depots waits for its turn."""
        for request in self._order.requests:
            self._say(f"Planning the round of {request.depot_code} ...")
            if request.share_sites:
                yield _Taken(request), None
                continue
            try:
                posed = self._pose(request, self._network)
            except SQLAlchemyError:
                raise
            except Exception as error:  # one depot's failure must not stop the others
                yield _Taken(request, failed=_failed(request, error)), None
                continue
            if posed.standing.boundary.elsewhere:
                yield _Taken(request), None
            else:
                yield _Taken(request, posed), (posed.week.problem,)

    def finish(self, outcome: Outcome[_Taken]) -> PlannedRound | FailedRound:
        """Keep what a worker planned, or tell why there is no plan."""
        taken = outcome.key
        if taken.failed is not None:
            return taken.failed
        try:
            if outcome.error is not None:
                raise outcome.error
            posed, plan = taken.posed, outcome.result
            if posed is None:
                posed = self._pose(taken.request, self._network_now(taken.request))
                plan = solve(posed.week.problem, processes=self._order.processes)
            return _lean(keep_plan(self._sessions, posed, plan, self._wish, clock=self._clock))
        except SQLAlchemyError:
            raise
        except Exception as error:  # likewise
            return _failed(taken.request, error)

    def _network_now(self, request: RoundRequest) -> NetworkWeek:
        with self._sessions() as session:
            return self._network.with_rounds_as_now(session, request.first_day)

    def _pose(self, request: RoundRequest, network: NetworkWeek) -> PosedWeek:
        travel, ranking = self._travel(request.depot_code), self._ranking
        with self._sessions() as session:
            standing = Standing(fixed=accepted_of(session, request), network=network)
            return pose_week(session, request, travel=travel, standing=standing, ranking=ranking)


def _lean(planned: PlannedRound) -> PlannedRound:
    """Let go of the tables of drives: of hundreds of depots they would fill the memory."""
    problem = planned.week.problem
    travel = replace(problem.travel, keys=(), minutes=(), km=())
    week = replace(planned.week, problem=replace(problem, travel=travel))
    return replace(planned, week=week)


def _failed(request: RoundRequest, error: Exception) -> FailedRound:
    """Say what went wrong: what a user can expect in its own words, else with its kind."""
    expected = isinstance(error, FleetError | WorkerDiedError)
    why = str(error) if expected else f"{type(error).__name__}: {error}"
    return FailedRound(request.depot_code, why)

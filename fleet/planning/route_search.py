"""Search for better days by shaking and mending; the only file that knows PyVRP."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from statistics import fmean
from typing import Any

from pyvrp import (
    Client,
    ClientGroup,
    CostEvaluator,
    Depot,
    IteratedLocalSearch,
    IteratedLocalSearchParams,
    Location,
    PenaltyManager,
    PenaltyParams,
    ProblemData,
    RandomNumberGenerator,
    Solution,
    VehicleType,
)
from pyvrp import Route as SolverRoute
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.IteratedLocalSearch import IteratedLocalSearchCallbacks
from pyvrp.search import (
    OPERATORS,
    LocalSearch,
    PerturbationManager,
    PerturbationParams,
    compute_neighbours,
)
from pyvrp.stop import MaxIterations

from fleet.planning.model import Model, ModelDay
from fleet.planning.problem import MOST_DRIVE_MIN

NAME = f"PyVRP {version('pyvrp')}"

FORBIDDEN_MIN = 10 * MOST_DRIVE_MIN
"""Driving time that keeps a crew away from a site it may not visit, in min."""

HISTORY = 50
"""Plans that the search looks back on when it takes a worse one; few suit a short search."""

FEASIBLE_SHARE = 0.1
"""Share of plans that keep all limits, which the penalties aim at: the search goes round limits."""

PENALTY_UPDATE = 50
"""Iterations between two corrections of the penalties."""

FIRST_PENALTY = 2.0
"""What a minute over a limit costs at first, in prizes collected in a mean minute of driving."""

LEAST_PENALTY_RANGE = 100_000.0
"""The greatest penalty of a minute over a limit is at least this, in cost units."""

NOTE_EVERY = 50
"""Iterations between two plans whose days are noted, to be put together anew afterwards."""


@dataclass(frozen=True, slots=True)
class Shaking:
    """How a search goes on: its seed, its iterations, and how many moves shake a plan."""

    seed: int
    iterations: int
    most_moves: int


@dataclass(frozen=True, slots=True)
class Found:
    """The best plan of a search, and days that it came across on the way, each once."""

    days: tuple[ModelDay, ...]
    noted: tuple[ModelDay, ...]


def search_days(model: Model, start: Sequence[ModelDay], shaking: Shaking) -> Found:
    """Search on from a plan, from a random one where it is empty.

    Parameters
    ----------
    model : Model
        Sites and crews; at least one visit.
    start : sequence of ModelDay
        A plan that keeps all limits.
    shaking : Shaking
        The same shaking of the same model gives the same plan.

    Returns
    -------
    Found
        A plan that may be worse than ``start``; days that keep all limits.
    """
    data = _solver_data(model)
    random = RandomNumberGenerator(seed=shaking.seed)
    penalties = _penalties(model, data)
    local = _local_search(data, random, shaking.most_moves)
    first = _solution(start, data) if start else Solution.make_random(data, random)
    first = local(first, penalties.max_cost_evaluator(), exhaustive=True)
    notes = _Notes()
    settings = IteratedLocalSearchParams(history_length=HISTORY, callbacks=notes)
    algorithm = IteratedLocalSearch(data, penalties, local, first, settings)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)  # the plan is checked afterwards
        stop = MaxIterations(shaking.iterations)
        best = algorithm.run(stop, collect_stats=False, display=False).best
    days = _days(best)
    return Found(days if best.is_feasible() else (), tuple({**dict.fromkeys(days), **notes.days}))


class _Notes(IteratedLocalSearchCallbacks):
    """Days of every best plan and of some of those tried, as far as they keep all limits."""

    def __init__(self) -> None:
        self.days: dict[ModelDay, None] = {}
        self._turn = 0

    def on_iteration(
        self,
        current: Solution,
        candidate: Solution,
        best: Solution,
        cost_evaluator: CostEvaluator,
    ) -> None:
        """Note the plan just tried, every so often."""
        del current, best, cost_evaluator
        self._turn += 1
        if self._turn % NOTE_EVERY == 0:
            self.days.update(dict.fromkeys(_days(candidate)))

    def on_best(self, best: Solution) -> None:
        """Note a plan that is better than all before."""
        self.days.update(dict.fromkeys(_days(best)))


def _local_search(data: ProblemData, random: RandomNumberGenerator, most_moves: int) -> LocalSearch:
    shaking = PerturbationManager(PerturbationParams(1, most_moves))
    local = LocalSearch(data, random, compute_neighbours(data), shaking)
    for operator in OPERATORS:
        if operator.supports(data):
            local.add_operator(operator(data))
    return local


def _penalties(model: Model, data: ProblemData) -> PenaltyManager:
    """Begin with penalties that fit the size of the prizes and the legs."""
    drives: Any = data.duration_matrix(profile=0)
    leg_min = max(1.0, float(drives[drives < FORBIDDEN_MIN].mean()))
    prizes = [
        model.prices.prizes[visit.key] for visit in model.visits if not visit.candidate.must_visit
    ]
    first = FIRST_PENALTY * fmean(prizes or [1]) / leg_min
    limits = PenaltyParams(
        solutions_between_updates=PENALTY_UPDATE,
        target_feasible=FEASIBLE_SHARE,
        max_penalty=max(LEAST_PENALTY_RANGE, 100.0 * first),
    )
    return PenaltyManager(([], first, first), limits)


def _solver_data(model: Model) -> ProblemData:
    depots = {key: index for index, key in enumerate(model.ends)}
    drives: tuple[list[Any], list[int]] = model.drives(barred_min=FORBIDDEN_MIN)
    matrices, profiles = drives
    vehicles = [
        VehicleType(
            start_depot=depots[crew.start_key],
            end_depot=depots[crew.end_key],
            tw_early=crew.starts_min,
            tw_late=crew.ends_min,
            shift_duration=crew.usable_min,
            max_distance=crew.max_driving_min,
            unit_distance_cost=model.prices.per_min,
            profile=profile,
        )
        for crew, profile in zip(model.crews, profiles, strict=True)
    ]
    clients, groups = _clients(model, first_location=len(depots))
    places = [Location(0, 0) for _ in range(len(depots) + len(clients))]
    stays = [Depot(location=index) for index in range(len(depots))]
    return ProblemData(places, clients, stays, vehicles, matrices, matrices, groups)


def _clients(model: Model, *, first_location: int) -> tuple[list[Client], list[ClientGroup]]:
    """Write each visit as an optional client; of those of one site, only one may be taken."""
    several = [members for members in model.alternatives().values() if len(members) > 1]
    group_of = {index: group for group, members in enumerate(several) for index in members}
    clients = [
        Client(
            location=first_location + index,
            service_duration=visit.candidate.service_min,
            tw_early=visit.window.opens_min,
            tw_late=visit.last_start_min,
            prize=model.prices.prizes[visit.key],
            required=False,
            group=group_of.get(index),
        )
        for index, visit in enumerate(model.visits)
    ]
    return clients, [ClientGroup(members, required=False) for members in several]


def _solution(start: Sequence[ModelDay], data: ProblemData) -> Solution:
    return Solution(data, [SolverRoute(data, list(visits), crew) for crew, visits in start])


def _days(found: Solution) -> tuple[ModelDay, ...]:
    return tuple(
        (route.vehicle_type(), tuple(step.idx for step in route.schedule() if step.is_client()))
        for route in found.routes()
        if route.is_feasible()
    )

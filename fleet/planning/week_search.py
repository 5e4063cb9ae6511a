"""The search for the days of a week, at home and with nights away, under one budget."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from time import monotonic

from fleet.domain.plan import Night, PlanProblem, Travel
from fleet.planning.chain import Effort, Spread, find_days
from fleet.planning.crew import Crew, solo_crews
from fleet.planning.joint import joint_options, plan_with_joint_days
from fleet.planning.model import build_model
from fleet.planning.night import move_days, open_evenings
from fleet.planning.overnight import choose_nights
from fleet.planning.price import Prices
from fleet.planning.shortlist import shorten
from fleet.planning.timeline import Route

JOINT_SHARE = 0.4
"""Part of the time that a full search takes where joint days are tried beside it."""

TRIAL_SHARE = 0.02
"""Part of the time that the trial of a joint day takes."""


@dataclass(frozen=True, slots=True)
class FoundWeek:
    """A week's days with stops, the nights between them, and the problem they belong to."""

    problem: PlanProblem
    """As posed, but each day starts and ends where the nights are spent."""
    routes: tuple[Route, ...]
    nights: tuple[Night, ...] = ()


class WeekSearch:
    """One search; it keeps the days that it has seen."""

    def __init__(self, problem: PlanProblem, prices: Prices, spread: Spread) -> None:
        self._short = _shortened(problem, prices)
        self._prices, self._spread = prices, spread
        self._began_s = monotonic()
        self.seen: list[Route] = []

    def run(self) -> FoundWeek:
        """Plan the week at home, then with the nights that pay; give what scores best."""
        nights_open = bool(open_evenings(self._short))
        home = FoundWeek(self._short, self._days(self._short, share=0.5 if nights_open else 1.0))
        if not nights_open:
            return home
        seen = [*home.routes, *self.seen]
        nights = choose_nights(self._short, self._prices, seen=seen)
        if not nights:
            return home
        members = move_days(self._short.technician_days, nights, self._short.bases)
        moved = replace(self._short, technician_days=members)
        away = FoundWeek(moved, self._days(moved, share=1.0), tuple(nights))
        return max((home, away), key=self.score)

    def score(self, week: FoundWeek) -> int:
        """Give what a week collects, less driving and nights, in cost units."""
        nights = sum(night.cost_days for night in week.nights)
        routes = [*week.routes, *transfers(week)]
        driven = self._prices.score(routes, week.problem.travel)
        return driven - round(self._prices.per_day * nights)

    def _days(self, problem: PlanProblem, *, share: float) -> tuple[Route, ...]:
        """Search for the days of a week, until this part of the time is over where it counts."""
        joint = bool(joint_options(problem, self._prices))

        def search(
            crews: Sequence[Crew], iterations: int, *, start: Sequence[Route] = ()
        ) -> list[Route]:
            model = build_model(
                problem.candidates, crews, travel=problem.travel, prices=self._prices
            )
            trial = iterations < problem.settings.iterations
            effort = Effort(
                iterations, problem.settings.seed, self._until_s(share, joint=joint, trial=trial)
            )
            found = find_days(model, model.days(start), effort, spread=self._spread)
            self.seen += model.routes(found.seen)
            return model.routes(found.days)

        return tuple(plan_with_joint_days(problem, self._prices, search))

    def _until_s(self, share: float, *, joint: bool, trial: bool) -> float | None:
        seconds = self._short.settings.seconds
        if seconds is None:
            return None
        part = TRIAL_SHARE if trial else JOINT_SHARE if joint else 1.0
        return min(self._began_s + share * seconds, monotonic() + part * share * seconds)


def transfers(week: FoundWeek) -> list[Route]:
    """Give the days without a stop that still lead from one night's place to another."""
    busy = [route.crew for route in week.routes]
    return [
        Route(crew)
        for crew in solo_crews(week.problem.technician_days)
        if crew.start_key != crew.end_key
        and any(_slept(night, crew) for night in week.nights)
        and not any(crew.overlaps(other) for other in busy)
    ]


def _slept(night: Night, crew: Crew) -> bool:
    return night.technician_code in crew.technician_codes and night.base_key in (
        crew.start_key,
        crew.end_key,
    )


def _shortened(problem: PlanProblem, prices: Prices) -> PlanProblem:
    """Keep the sites worth looking at, and the drives between what is kept."""
    candidates = shorten(problem, prices)
    if len(candidates) == len(problem.candidates):
        return problem
    ends = [(member.start.key, member.end.key) for member in problem.technician_days]
    keys = [
        *(key for pair in ends for key in pair),
        *(base.place.key for base in problem.bases),
        *(candidate.place.key for candidate in candidates),
    ]
    return replace(problem, candidates=candidates, travel=_between(problem.travel, keys))


def _between(travel: Travel, keys: Iterable[str]) -> Travel:
    kept = tuple(dict.fromkeys(keys))
    rows = [travel.index[key] for key in kept]
    return Travel(
        keys=kept,
        minutes=tuple(tuple(travel.minutes[a][b] for b in rows) for a in rows),
        km=tuple(tuple(travel.km[a][b] for b in rows) for a in rows),
        source=travel.source,
    )

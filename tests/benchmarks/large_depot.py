"""A week of one depot with thousands of sites: how long it takes, what passing over sites costs.

    python -m tests.benchmarks.large_depot --sites 1000 3000 10000
    python -m tests.benchmarks.large_depot --sites 1500 2000 --seeds 1 2 3 --full

With ``--full`` the drives between all sites are asked for and the same week is planned from them
too; ``--bound S`` holds the plan against a bound of the full problem, proven in about S seconds.
Figures are kept in DEPOTS.md.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from time import perf_counter, process_time

from fleet.domain.plan import Plan, PlanProblem, SearchSettings
from fleet.planning.checker import require_sound
from fleet.planning.distance import great_circle_travel
from fleet.planning.shortlist import preselect
from fleet.planning.solver import solve
from tests.benchmarks.week import DEPOT, make_candidates, make_technician_days


@dataclass(frozen=True)
class Timed:
    """A plan with its problem, and what posing, solving and checking took."""

    problem: PlanProblem
    plan: Plan
    clock_s: float
    busy_s: float

    @property
    def net(self) -> float:
        """Give worth less the price of driving, in record-days."""
        hours = sum(day.driving_min for day in self.plan.days) / 60.0
        return self.plan.worth - self.problem.settings.drive_price_days_per_h * hours


def plan_week(
    sites: int, seed: int, technicians: int, *, passing_over: bool, **settings: object
) -> Timed:
    """Pose an invented week, solve it and have it checked."""
    candidates = make_candidates(sites, seed=seed)
    days = make_technician_days(technicians)
    clock, busy = perf_counter(), process_time()
    looked = preselect(candidates, days).candidates if passing_over else candidates
    problem = PlanProblem(
        candidates=looked,
        technician_days=days,
        travel=great_circle_travel([DEPOT, *(candidate.place for candidate in looked)]),
        settings=SearchSettings(**settings),  # type: ignore[arg-type]  # named in the call
    )
    plan = solve(problem)
    require_sound(problem, plan)
    return Timed(problem, plan, perf_counter() - clock, process_time() - busy)


def line(sites: int, seed: int, technicians: int, asked: argparse.Namespace) -> str:
    """Give the row of one week."""
    wanted = {"iterations": asked.iterations} if asked.iterations else {}
    found = plan_week(sites, seed, technicians, passing_over=True, **wanted)
    cells = [
        f"{sites:,}",
        f"{technicians}",
        f"{seed}",
        f"{len(found.problem.candidates):,}",
        f"{found.clock_s:.1f}",
        f"{found.busy_s:.1f}",
        f"{found.plan.worth:.1f}",
        f"{found.net:.1f}",
    ]
    if asked.full or asked.bound:
        bound = {"bound_s": asked.bound} if asked.bound else {}
        full = plan_week(sites, seed, technicians, passing_over=False, **wanted, **bound)
        cells += [
            f"{full.busy_s:.1f}",
            f"{full.plan.worth:.1f}",
            f"{100.0 * found.plan.worth / full.plan.worth:.2f}",
            f"{100.0 * found.net / full.net:.2f}",
        ]
        if full.plan.bound is not None:
            cells.append(f"{100.0 * found.net / full.plan.bound.best_days:.2f}")
    return f"| {' | '.join(cells)} |\n"


def main() -> None:
    told = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    told.add_argument("--sites", type=int, nargs="+", default=[1000, 3000, 10_000])
    told.add_argument("--seeds", type=int, nargs="+", default=[1])
    told.add_argument("--technicians", type=int, nargs="+", default=[2])
    told.add_argument("--iterations", type=int, default=None)
    told.add_argument("--full", action="store_true")
    told.add_argument("--bound", type=float, default=None, metavar="S")
    asked = told.parse_args()
    head = "| sites | technicians | seed | looked at | s | processor s | worth | less driving"
    if asked.full or asked.bound:
        head += " | full: processor s | full: worth | % of full worth | % of full, less driving"
    if asked.bound:
        head += " | % of bound"
    sys.stdout.write(f"{head} |\n|{'---|' * (head.count(' | ') + 1)}\n")
    for sites in asked.sites:
        for technicians in asked.technicians:
            for seed in asked.seeds:
                sys.stdout.write(line(sites, seed, technicians, asked))
                sys.stdout.flush()


if __name__ == "__main__":
    main()

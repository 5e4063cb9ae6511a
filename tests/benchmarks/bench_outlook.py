"""How close the outlook's planner is to the solver, how long it takes, and whether a year comes so.

    python -m pytest tests/benchmarks/bench_outlook.py -m benchmark -s

Figures are printed and kept in OUTLOOK.md.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from math import fsum

import numpy as np
import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.plan import PlanProblem
from fleet.planning.distance import great_circle_travel
from fleet.planning.quick_site import lay_out_crews, lay_out_sites
from fleet.planning.quick_week import plan_quickly
from fleet.planning.solver import solve
from fleet.services.outlook import look_ahead
from fleet.services.outlook_order import Choices, OutlookOrder, Variant
from fleet.services.outlook_run import COUNTS, RunAsk, run_weeks
from fleet.services.ranking import RankFilter, rank_gauges
from fleet.services.round_problem import week_problem
from fleet.services.round_request import request_for
from fleet.store.queries.crew import depot
from tests.benchmarks.network import LAST_DAY, Size
from tests.benchmarks.season.contest import CREWS
from tests.benchmarks.season.foresee import season_case
from tests.benchmarks.season.method import Ours
from tests.benchmarks.season.season import Setting, found_network, run_season
from tests.planning.test_quick_week import PRICE, end_keys, made_week

pytestmark = pytest.mark.benchmark

Loaded = Callable[[Size], sessionmaker[Session]]


def worths(posed: PlanProblem) -> tuple[float, float, float, float]:
    """Give what the stand-in and the solver collect, less driving, and the processor seconds."""
    sites = lay_out_sites(posed.candidates, end_keys(posed.technician_days), posed.travel)
    crews = lay_out_crews(posed.candidates, posed.technician_days, sites)
    worth = np.array([candidate.worth for candidate in posed.candidates])
    start = time.process_time()
    quick = plan_quickly(sites, crews, worth, price_per_min=PRICE).value
    between = time.process_time()
    plan = solve(posed)
    end = time.process_time()
    solved = plan.worth - PRICE * fsum(day.driving_min for day in plan.days)
    return quick, solved, between - start, end - between


def posed_week(sessions: sessionmaker[Session], weeks_ago: int) -> PlanProblem:
    day = LAST_DAY - timedelta(weeks=weeks_ago)
    with sessions() as session:
        kept = depot(session, "B000")
        ranked = rank_gauges(session, as_of=day, keep=RankFilter(depot_code="B000"))
        request = request_for("B000", day)
        return week_problem(session, kept, ranked, request, travel=great_circle_travel).problem


def test_stand_in_against_the_solver(loaded_network: Loaded, capsys) -> None:
    kinds: dict[str, list[PlanProblem]] = {}
    for sites in (50, 100, 200):
        sessions = loaded_network(Size(1, sites, 4))
        weeks = [posed_week(sessions, weeks_ago) for weeks_ago in (0, 4, 8, 12)]
        kinds[f"{sites} sites, 10 technician-days"] = weeks
        kinds[f"{sites} sites, 2 technician-days"] = [
            replace(week, technician_days=week.technician_days[::4][:2]) for week in weeks
        ]
    for sites, days in ((40, 2), (70, 4)):
        kinds[f"{sites} sites with windows, skills, pairs, {2 * days} technician-days"] = [
            made_week(seed, sites=sites, days=days) for seed in range(1, 7)
        ]
    with capsys.disabled():
        for kind, weeks in kinds.items():
            seen = np.array([worths(week) for week in weeks])
            ratio = seen[:, 0] / seen[:, 1]
            print(  # noqa: T201
                f"| {kind} | {len(weeks)} | {ratio.mean():.3f} | {ratio.min():.3f} "
                f"| {ratio.max():.3f} | {1e3 * seen[:, 2].mean():.0f} | {seen[:, 3].mean():.1f} |"
            )
            assert ratio.mean() > 0.95


@pytest.mark.parametrize("processes", [1, 2])
def test_time_of_a_hundred_gauges(loaded_network: Loaded, processes: int, capsys) -> None:
    sessions = loaded_network(Size(1, 100, 4))
    choices = Choices(technicians=(-1, 0, 1))
    order = OutlookOrder(LAST_DAY, choices=choices, target_percent=None, processes=processes)
    wall, before = time.perf_counter(), os.times()

    seen = look_ahead(sessions, order)

    after = os.times()
    spent = sum(after[:4]) - sum(before[:4])
    with capsys.disabled():
        print(f"{processes} processes: {time.perf_counter() - wall:.1f} s, processor {spent:.1f} s")  # noqa: T201
    assert len(seen.outcomes) == 3


@pytest.mark.parametrize("crew", CREWS)
def test_a_season_comes_as_foreseen(crew: str, capsys) -> None:
    setting = Setting(400, 1, CREWS[crew])
    rows = []
    for seed in (1, 2):
        founded = found_network(setting, seed)
        case = season_case(founded, setting)
        counts = np.array(
            [run_weeks(case, RunAsk(Variant(), run, 52, 0.0)) for run in range(5)]
        ).sum(axis=2)
        lost = counts[:, :, COUNTS.index("lost")].sum(axis=1) / (400 * 364)
        dated = 1 - counts[:, :, COUNTS.index("overdue")].mean(axis=1) / 400
        visits = counts[:, :, COUNTS.index("visits")].sum(axis=1)
        came = run_season(founded, setting, Ours())
        rows.append(
            (lost.mean(), came.lost, dated.mean(), came.in_date, visits.mean(), came.visits)
        )
    means = np.mean(rows, axis=0)
    with capsys.disabled():
        print(  # noqa: T201
            f"| {crew} | {100 * means[0]:.1f} | {100 * means[1]:.1f} | {100 * means[2]:.1f} "
            f"| {100 * means[3]:.1f} | {means[4]:.0f} | {means[5]:.0f} |"
        )
    assert means[2] == pytest.approx(means[3], abs=0.1)

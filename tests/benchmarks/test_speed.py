"""How long the main steps take. The times are printed and judged by nobody; the work is.

Run the measurements with ``python -m pytest -m benchmark``; RESULTS.md keeps a table of them.
A small case of each runs with the longer checks, so that none of them can rot.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import utc_now
from fleet.domain.plan import SearchSettings
from fleet.planning.checker import require_sound
from fleet.planning.distance import great_circle_travel
from fleet.planning.solver import solve
from fleet.reports.route_pdf import route_pdf
from fleet.services.audit import audit_overdue
from fleet.services.plan_round import PlannedRound, plan_round
from fleet.services.ranking import RankFilter, rank_gauges
from fleet.services.round_problem import WeekProblem, week_problem
from fleet.services.round_request import RoundRequest, request_for
from fleet.services.route_sheet import route_sheets
from fleet.store.journal import Wish
from fleet.store.queries.crew import depot
from tests.benchmarks.network import INTERVAL_DAYS, LAST_DAY, Size
from tests.benchmarks.stopwatch import Stopwatch

ROOT = Path(__file__).resolve().parents[2]
Loaded = Callable[[Size], sessionmaker[Session]]


@dataclass(frozen=True)
class Case:
    """How often something is done, on how many gauges, with how long a search."""

    runs: int
    network: Size
    depot: Size
    iterations: int


FULL = Case(
    runs=5, network=Size(10, 100, 30), depot=Size(1, 60, 6), iterations=SearchSettings().iterations
)
SMALL = Case(runs=1, network=Size(2, 10, 4), depot=Size(1, 12, 4), iterations=50)

by_case = pytest.mark.parametrize(
    "case",
    [
        pytest.param(FULL, marks=pytest.mark.benchmark, id="full"),
        pytest.param(SMALL, marks=pytest.mark.long, id="small"),
    ],
)


def _fleet(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fleet", *(str(argument) for argument in arguments)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)


@by_case
def test_help_is_shown(case: Case, stopwatch: Stopwatch) -> None:
    shown = stopwatch.measure(
        "`fleet --help`, whole process", lambda: _fleet("--help"), runs=2 * case.runs
    )

    assert "week" in shown.stdout


@by_case
def test_main_job_writes_the_routes(case: Case, stopwatch: Stopwatch, tmp_path: Path) -> None:
    places = iter([tmp_path / str(number) for number in range(case.runs)])

    def prepare() -> Path:
        folder = next(places)
        job = ("week", "prepare", "sample_network", "--as-of", "2026-11-20", "--folder", folder)
        _fleet("--db", folder / "fleet.sqlite", *job, "--iterations", case.iterations)
        return folder

    folder = stopwatch.measure(
        "main job, whole process",
        prepare,
        size=f"sample_network, {case.iterations} iterations",
        runs=case.runs,
    )

    assert len(list(folder.glob("*.pdf"))) >= 2


@by_case
def test_ranking_places_every_gauge(
    case: Case, stopwatch: Stopwatch, loaded_network: Loaded
) -> None:
    with loaded_network(case.network)() as session:
        ranked = stopwatch.measure(
            "ranking",
            lambda: rank_gauges(session, as_of=LAST_DAY),
            size=str(case.network),
            runs=case.runs,
        )

    assert [gauge.rank for gauge in ranked] == list(range(1, case.network.gauges + 1))


@by_case
def test_audit_finds_the_overdue(case: Case, stopwatch: Stopwatch, loaded_network: Loaded) -> None:
    sessions = loaded_network(case.network)
    later = LAST_DAY + timedelta(days=2 * INTERVAL_DAYS)

    overdue = stopwatch.measure(
        "audit: overdue",
        lambda: audit_overdue(sessions, as_of=later),
        size=str(case.network),
        runs=case.runs,
    )

    assert len(overdue) == case.network.gauges


@by_case
def test_solver_plans_the_week(case: Case, stopwatch: Stopwatch, loaded_network: Loaded) -> None:
    with loaded_network(case.depot)() as session:
        problem = _week(session, _request(case)).problem
    assert len(problem.candidates) == case.depot.gauges
    assert len(problem.technician_days) == 10

    plan = stopwatch.measure(
        "plan of a week: solver alone",
        lambda: solve(problem),
        size=_week_size(case),
        runs=case.runs,
    )

    require_sound(problem, plan)
    assert plan.worth > 0


@by_case
def test_round_is_planned_and_set(case: Case, stopwatch: Stopwatch, loaded_network: Loaded) -> None:
    sessions = loaded_network(case.depot)
    wish = Wish("tester", "round plan", "measuring")

    planned = stopwatch.measure(
        "plan of a week: rank, pose, solve, check, keep",
        lambda: plan_round(sessions, _request(case), wish, clock=utc_now),
        size=_week_size(case),
        runs=case.runs,
    )
    pages = _set(sessions, planned, case, stopwatch)

    assert pages
    assert all(page.startswith(b"%PDF-") for page in pages)


def _set(
    sessions: sessionmaker[Session], planned: PlannedRound, case: Case, stopwatch: Stopwatch
) -> list[bytes]:
    gauges = sum(len(day.stops) for day in planned.plan.days)
    with sessions() as session:
        sheets = stopwatch.measure(
            "route sheets: gather what they tell",
            lambda: route_sheets(session, planned.round_ref),
            size=f"{gauges} stops",
            runs=case.runs,
        )
    return stopwatch.measure(
        "route sheets: set the PDF of each technician",
        lambda: [route_pdf(sheet, paper="a4") for sheet in sheets],
        size=f"{len(sheets)} sheets, {gauges} job cards",
        runs=case.runs,
    )


def _request(case: Case) -> RoundRequest:
    return request_for("B000", LAST_DAY, iterations=case.iterations)


def _week(session: Session, request: RoundRequest) -> WeekProblem:
    base = depot(session, request.depot_code)
    ranked = rank_gauges(session, as_of=LAST_DAY, keep=RankFilter(depot_code=base.code))
    return week_problem(session, base, ranked, request, travel=great_circle_travel)


def _week_size(case: Case) -> str:
    return f"{case.depot.gauges} sites, 10 technician-days, {case.iterations} iterations"

"""Where the time of the main job goes: each stage on the clock and in seconds of the processor.

    python -m tests.benchmarks.profile_week                        # this checkout
    python -m tests.benchmarks.profile_week --beside OTHER --runs 3  # and another one, turn by turn

Every run is a process of its own on the invented network. RESULTS.md keeps the table.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections.abc import Callable
from functools import wraps
from importlib import import_module
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter, process_time
from typing import Any

STAGES = (
    ("database made", "fleet.services.database", "open_or_create"),
    ("load: records written", "fleet.services.load_network", "_write_tables"),
    ("load: all", "fleet.services.prepare_week", "load_network"),
    ("rank: histories read", "fleet.services.known_gauge", "gauge_histories"),
    ("rank: daily totals compared", "fleet.services.ranking", "view_rain"),
    ("rank: all", "fleet.services.prepare_week", "rank_network"),
    ("plan: weeks posed", "fleet.services.plan_rounds", "pose_week"),
    ("plan: search", "fleet.services.plan_rounds", "solve"),
    ("plan: checked and kept", "fleet.services.plan_rounds", "keep_plan"),
    ("sheets: PDF", "fleet.reports.route_files", "route_pdf"),
    ("sheets: HTML", "fleet.reports.route_files", "route_html"),
    ("sheets: all", "fleet.services.prepare_week", "write_sheets"),
)
"""What is timed: the name under which its caller knows it. A stage holds those named before it."""

ROOT = Path(__file__).resolve().parents[2]
Seconds = dict[str, tuple[float, float]]


def run_here(folder: Path) -> Seconds:
    """Run the main job in this process and give the clock and processor seconds of its stages."""
    kept: Seconds = {}
    timed(kept, "imports", lambda: import_module("fleet.cli.week") and _import_all())()
    for name, module, function in STAGES:
        owner = import_module(module)
        if hasattr(owner, function):
            setattr(owner, function, timed(kept, name, getattr(owner, function)))
    from fleet.cli.main import cli

    job = ("week", "prepare", "sample_network", "--as-of", "2026-11-20", "--folder", str(folder))
    job = (*job, "--processes", "1")  # so that all of it is in this process
    database = ("--db", str(folder / "fleet.sqlite"))
    timed(kept, "whole job after the imports", cli.main)([*database, *job], standalone_mode=False)
    return kept


def _import_all() -> None:
    for module in dict.fromkeys(module for _, module, _ in STAGES):
        import_module(module)


def timed(kept: Seconds, name: str, act: Callable[..., Any]) -> Callable[..., Any]:
    """Give a function that adds up what each call takes."""

    @wraps(act)
    def measured(*arguments: Any, **named: Any) -> Any:
        clock, busy = perf_counter(), process_time()
        try:
            return act(*arguments, **named)
        finally:
            before = kept.get(name, (0.0, 0.0))
            kept[name] = (before[0] + perf_counter() - clock, before[1] + process_time() - busy)

    return measured


def run_apart(checkout: Path) -> Seconds:
    """Run the main job of a checkout in a process of its own."""
    with TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, __file__, "--here", folder],
            cwd=checkout,
            env={**os.environ, "PYTHONPATH": str(checkout)},
            capture_output=True,
            text=True,
            check=True,
        )
    kept: Seconds = json.loads(done.stdout.splitlines()[-1])
    return kept


def table(runs: dict[str, list[Seconds]]) -> list[str]:
    """Give medians of clock and processor seconds, a pair of columns a checkout."""
    names = list(next(iter(runs.values()))[0])
    heads = "".join(f" {label}: clock s | processor s |" for label in runs)
    lines = [f"| stage |{heads}", "|---|" + "---|---|" * len(runs)]
    for name in names:
        cells = "".join(
            f" {median(run.get(name, (0, 0))[part] for run in kept):.2f} |"
            for kept in runs.values()
            for part in (0, 1)
        )
        lines.append(f"| {name} |{cells}")
    return lines


def main(arguments: list[str]) -> None:
    """Measure as the command line says and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--beside", type=Path, help="another checkout, measured turn by turn")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--here", type=Path, help=argparse.SUPPRESS)
    told = parser.parse_args(arguments)
    if told.here is not None:
        sys.stdout.write("\n" + json.dumps(run_here(told.here)) + "\n")
        return
    checkouts = {"this": ROOT} if told.beside is None else {"before": told.beside, "now": ROOT}
    runs: dict[str, list[Seconds]] = {label: [] for label in checkouts}
    for _ in range(told.runs):
        for label, checkout in checkouts.items():
            runs[label].append(run_apart(checkout.resolve()))
    sys.stdout.write("\n".join([*table(runs), ""]))


if __name__ == "__main__":
    main(sys.argv[1:])

"""How near the index comes to the best that any order of visits could reach, roads left out.

    python -m tests.benchmarks.season.bound --seeds 5

Dirt, leaves, knocks and dead switches of the world at their true rates, without season; nobody
sees a state between visits and a service makes all new, so that a gauge's age tells its
probability of being unfit. The crew serves so many gauges a day, whichever. The bound is that of
Lagrange: with visits at a price each gauge on its own does its best, and no policy loses less.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from statistics import fmean

import numpy as np

from fleet.stats.worth import worth_record_days
from tests.benchmarks.season.known import _dirt_table
from tests.benchmarks.season.nature import DAYS_PER_YEAR, Floats, draw_nature
from tests.benchmarks.season.truth import start_truth

GAUGES, REACH_DAYS, SERVED_DAYS, SETTLED_DAYS = 400, 2190, 9000, 2000
VISITS = {"short": 1358 / 1461, "tight": 2293 / 1461, "comfortable": 4675 / 1461}
"""Visits a day of method c in the season."""

PRICES = np.exp(np.linspace(np.log(0.2), np.log(400.0), 80))
"""Record-days a visit, among which the best bound is sought."""

STEP_DAYS = 5


def unfit_by_age(seed: int) -> Floats:
    """Give the probability that gauges are unfit, a row a gauge, by days since the service."""
    dice = np.random.default_rng((2026, seed))
    truth = start_truth(draw_nature(GAUGES, 2, dice), dice)
    years = np.arange(REACH_DAYS + 1) / DAYS_PER_YEAR
    table = _dirt_table(truth)
    place = np.minimum((years * 50.0).astype(np.int64), table.shape[1] - 1)
    alive = np.exp(-truth.nature.character.death_rate[:, None] * years)
    return np.maximum.accumulate(1.0 - (1.0 - table[:, place]) * alive, axis=1)


def index_by_age(unfit: Floats, horizon_days: int) -> Floats:
    """Give the project's worth of a service at each age, every few days, straight between."""
    days = np.arange(0.0, horizon_days + 1.0, STEP_DAYS)
    after, ones = unfit[:, ::STEP_DAYS][:, : days.size], np.ones(GAUGES)
    ages = np.arange(0, REACH_DAYS + 1, STEP_DAYS)
    worth = np.stack(
        [worth_record_days(unfit[:, a], after, days=days, importance=ones) for a in ages], axis=1
    )
    every = np.arange(REACH_DAYS + 1)
    return np.stack([np.interp(every, ages, row) for row in worth])


def lost_share(unfit: Floats, worth: Floats, visits_a_day: float) -> float:
    """Serve the gauges of most worth day by day; give the share of gauge-days lost."""
    row = np.arange(GAUGES)
    age = np.random.default_rng(1).integers(0, 365, GAUGES)
    lost, due = 0.0, 0.0
    for day in range(SERVED_DAYS):
        age = np.minimum(age + 1, REACH_DAYS)
        due += visits_a_day
        served, due = int(due), due % 1.0
        lost += float(unfit[row, age].sum()) if day >= SETTLED_DAYS else 0.0
        age[np.argsort(-worth[row, age], kind="stable")[:served]] = 0
    return lost / GAUGES / (SERVED_DAYS - SETTLED_DAYS)


def least_share(unfit: Floats, visits_a_day: float) -> float:
    """Give the share that no policy can go below."""
    grown = np.cumsum((unfit[:, 1:] + unfit[:, :-1]) / 2.0, axis=1)
    cycles = np.arange(1, REACH_DAYS + 1)
    bounds = [
        float(((price + grown) / cycles).min(axis=1).sum()) - price * visits_a_day
        for price in PRICES
    ]
    return max(bounds) / GAUGES


def main() -> None:
    """Print a row a crew: lost % by age alone, by the index of a year, of three, and the bound."""
    parser = ArgumentParser(prog="python -m tests.benchmarks.season.bound")
    parser.add_argument("--seeds", type=int, default=5)
    seeds = range(1, parser.parse_args().seeds + 1)
    worlds = [unfit_by_age(seed) for seed in seeds]
    oldest = np.tile(np.arange(REACH_DAYS + 1.0), (GAUGES, 1))
    orders = [[oldest, index_by_age(w, 365), index_by_age(w, 1095)] for w in worlds]
    for crew, visits in VISITS.items():
        kinds = zip(*orders, strict=True)
        lost = [
            fmean(lost_share(w, worth, visits) for w, worth in zip(worlds, kind, strict=True))
            for kind in kinds
        ]
        lost.append(fmean(least_share(w, visits) for w in worlds))
        cells = " | ".join(f"{100 * share:.2f}" for share in lost)
        sys.stdout.write(f"| {crew} | {cells} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()

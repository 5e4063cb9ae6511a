"""Run the season benchmark: ``python -m tests.benchmarks.season --seeds 5``."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from collections.abc import Sequence

from tests.benchmarks.season.contest import CREWS, METHODS
from tests.benchmarks.season.season import Outcome, Setting, found_network, run_season
from tests.benchmarks.season.table import head_lines, table_lines


def run_crew(
    setting: Setting, names: Sequence[str], seeds: Sequence[int]
) -> dict[str, list[Outcome]]:
    """Give the outcomes of each method, a seed after the other."""
    outcomes: dict[str, list[Outcome]] = {name: [] for name in names}
    for seed in seeds:
        founded = found_network(setting, seed)
        for name in names:
            outcomes[name].append(run_season(founded, setting, METHODS[name](setting.days_a_week)))
            sys.stderr.write(f"{setting.days_a_week} days a week, seed {seed}, {name}\n")
    return outcomes


def main() -> None:
    parser = ArgumentParser(prog="python -m tests.benchmarks.season", description=__doc__)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--gauges", type=int, default=400)
    parser.add_argument("--years", type=int, default=4)
    parser.add_argument("--crew", choices=CREWS, action="append")
    parser.add_argument("--method", choices=METHODS, action="append")
    chosen = parser.parse_args()
    names = list(dict.fromkeys(["a1", "a2", *(chosen.method or METHODS)]))
    seeds = range(chosen.first_seed, chosen.first_seed + chosen.seeds)
    sys.stdout.write("\n".join(head_lines()) + "\n")
    for crew in chosen.crew or CREWS:
        setting = Setting(chosen.gauges, chosen.years, CREWS[crew])
        lines = table_lines(crew, run_crew(setting, names, seeds))
        sys.stdout.write("\n".join(lines) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()

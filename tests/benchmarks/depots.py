"""How planning grows with the depots, and what processes and a cluster make of it.

    python -m tests.benchmarks.depots --depots 8 16 32 --sites 200 --iterations 4000

Figures are kept in DEPOTS.md. This module imports next to nothing, as the program's own does:
every worker process imports it again when it starts.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path


def main() -> None:
    told = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    told.add_argument("--depots", type=int, nargs="+", default=[8, 16, 32])
    told.add_argument("--sites", type=int, default=200)
    told.add_argument("--visits", type=int, default=2)
    told.add_argument("--iterations", type=int, default=None)
    asked = told.parse_args()
    from tests.benchmarks.depot_ways import measure
    from tests.benchmarks.network import Size

    sys.stdout.write(
        "| depots | sites each | way | s | processor s | times one process | posing s a depot "
        "| digest of the plans |\n|---|---|---|---|---|---|---|---|\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        for depots in asked.depots:
            size = Size(depots, asked.sites, asked.visits)
            measure(size, asked.iterations, Path(folder), sys.stdout.write)
            sys.stdout.flush()


if __name__ == "__main__":
    main()

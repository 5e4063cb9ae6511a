"""How long a load takes and how much memory, from thousands of visits to a million.

    python -m tests.benchmarks.loading --visits 10000 100000 1000000 --database sqlite postgresql

Prints a Markdown table; LOADING.md keeps one. Each step is a process of its own: the load, then
`fleet ledger verify` and `fleet database check` on what was loaded. The PostgreSQL server is a
throw-away one of its own on the disk, synchronised as in earnest.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from fleet.clock import utc_now
from fleet.services.load_network import load_network
from fleet.store.journal import Wish
from fleet.store.migrate import upgrade
from fleet.store.session import engine_on, make_sessions
from tests.benchmarks.network import LAST_DAY, Size, write_network
from tests.benchmarks.watched import Cost, run_watched
from tests.postgresql import Server, server_tools

DATABASES = ("sqlite", "postgresql")
GAUGES_A_DEPOT = 40
HEAD = "| database | visits | input rows | step | clock s | processor s | peak MB |"
SETTINGS = ("autovacuum=on", "shared_buffers=128MB", "max_wal_size=4GB")


def size_of(visits: int) -> Size:
    """Give a network of a thousand gauges, or fewer, that has about so many visits."""
    depots = max(1, min(25, visits // (GAUGES_A_DEPOT * 10)))
    return Size(depots, GAUGES_A_DEPOT, max(1, visits // (depots * GAUGES_A_DEPOT)))


@contextmanager
def fresh_database(kind: str, folder: Path) -> Iterator[tuple[str, int | None]]:
    """Give the URL of an empty database at head, and the server's process where it has one."""
    if kind == "sqlite":
        url, server = f"sqlite:///{folder / 'fleet.sqlite'}", None
    else:
        tools = server_tools()
        if tools is None:
            raise SystemExit("no PostgreSQL server is installed on this machine")
        server = Server(tools, settings=SETTINGS, within=folder)
        server.start()
        url = server.url(server.make_database())
    try:
        with engine_on(url) as engine:
            upgrade(engine)
        yield url, None if server is None else server.process_id
    finally:
        if server is not None:
            server.stop()


def measure(kind: str, source: Path, folder: Path) -> Iterator[tuple[str, Cost]]:
    """Load input files into a fresh database and look through it; give what each step cost."""
    fleet = (sys.executable, "-m", "fleet", "--db")
    with fresh_database(kind, folder) as (url, server):
        load = (sys.executable, "-m", "tests.benchmarks.loading", "--load", str(source), url)
        yield "load", run_watched(load, server=server)
        yield "ledger verify", run_watched((*fleet, url, "ledger", "verify"), server=server)
        yield "database check", run_watched((*fleet, url, "database", "check"), server=server)


def load(source: Path, url: str) -> None:
    """Load as `fleet network load` does, on the day after the last visit."""
    with engine_on(url) as engine:
        wish = Wish("tester", "network load", "measuring")
        load_network(make_sessions(engine), source, wish, clock=utc_now, today=LAST_DAY)


def table_lines(kinds: Sequence[str], source: Path, folder: Path) -> Iterator[str]:
    """Give a line a step for each database, as soon as it is known."""
    counts = {path.stem: path.read_bytes().count(b"\n") - 1 for path in source.iterdir()}
    sizes = f"{counts['visits']:,} | {sum(counts.values()):,}"
    for kind in kinds:
        with TemporaryDirectory(dir=folder, prefix=kind) as place:
            Path(place).chmod(0o755)  # the server runs as somebody else
            for step, cost in measure(kind, source, Path(place)):
                yield (
                    f"| {kind} | {sizes} | {step} | {cost.clock_s:.1f} "
                    f"| {cost.busy_s:.1f} | {cost.peak_mb:.0f} |"
                )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("--visits", type=int, nargs="+", default=[10_000, 100_000])
    asked.add_argument("--database", nargs="+", choices=DATABASES, default=list(DATABASES))
    asked.add_argument("--source", type=Path, help="a folder of input files in place of --visits")
    asked.add_argument("--folder", type=Path, help="where databases and input lie meanwhile")
    asked.add_argument("--load", nargs=2, metavar=("SOURCE", "URL"), help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.load:
        load(Path(given.load[0]), given.load[1])
        return
    with TemporaryDirectory(prefix="loading", dir=given.folder) as name:
        folder = Path(name)
        folder.chmod(0o755)
        print(HEAD, "|---|---|---|---|---|---|---|", sep="\n", flush=True)  # noqa: T201
        sources = [given.source] if given.source else _sources(given.visits, folder)
        for source in sources:
            for line in table_lines(given.database, source, folder):
                print(line, flush=True)  # noqa: T201  # what the script is for


def _sources(sizes: Sequence[int], folder: Path) -> Iterator[Path]:
    """Write one network after the other, and take each away once it was measured."""
    for visits in sizes:
        source = write_network(size_of(visits), folder / f"input{visits}")
        yield source
        shutil.rmtree(source)


if __name__ == "__main__":
    main()

"""Several processes write at once, on both databases: no lost update, no broken chain.

The fast suite has 3 processes for 2 seconds; the long one 8 for 60. And the everyday cases: two
coordinators at one site, a technician's load while a plan is issued, a round issued twice at once.
"""

from __future__ import annotations

import json
import os
import random
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from fleet.clock import utc_now
from fleet.errors import ConflictError
from fleet.services.check import check_database
from fleet.services.load_network import load_network
from fleet.services.round_life import issue_round
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from fleet.store.session import engine_on, make_sessions
from tests.conftest import load_into
from tests.factories import TODAY, FrozenClock, InputFolder
from tests.hand_round import keep_round
from tests.small_network import small_network

SITES = ("S01", "S02", "S03", "S04", "S05", "S06")


def url_of(engine: Engine, path: Path) -> str:
    if engine.dialect.name == "sqlite":
        return f"sqlite:///{path}"
    return engine.url.render_as_string(hide_password=False)


@pytest.fixture
def url(loaded_engine, tmp_path) -> str:
    """The address of the small network on either database; nothing is connected to it."""
    loaded_engine.dispose()
    return url_of(loaded_engine, tmp_path / "loaded.sqlite")


def write_for(seconds: float, url: str, number: int, folder: Path) -> Counter[str]:
    """Amend sites that all share, and add visits of one's own, until the time is over."""
    dice, until, told = random.Random(number), time.monotonic() + seconds, Counter()
    with engine_on(url) as engine:
        sessions = make_sessions(engine)
        while time.monotonic() < until:
            told["tries"] += 1
            if dice.random() < 0.7:
                rows = small_network().only("sites", site_code=dice.choice(SITES))
                rows.change("sites", {}, importance=dice.randint(1, 100))
            else:
                told["visits"] += 1
                day = f"2024-{dice.randint(1, 12):02d}-{dice.randint(1, 28):02d}"
                rows = InputFolder().visit(f"P{number}-{told['visits']}", dice.choice(SITES), day)
            wish = Wish(f"writer {number}", "network load", "in the crowd")
            try:
                done = load_network(
                    sessions, rows.write(folder / str(told["tries"])), wish,
                    clock=utc_now, today=TODAY,
                )  # fmt: skip
                told["written"] += done.changed_anything
            except ConflictError:
                told["refused"] += 1
    return told


def in_processes(count: int, work: Callable[[int], Counter[str]], folder: Path) -> Counter[str]:
    """Run work in processes of their own and add up what they tell."""
    children = {}
    for number in range(count):
        child = os.fork()
        if child == 0:
            code = 1
            try:
                (folder / f"{number}.json").write_text(json.dumps(work(number)))
                code = 0
            finally:
                os._exit(code)
        children[child] = number
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * count
    total: Counter[str] = Counter()
    for number in range(count):
        total.update(json.loads((folder / f"{number}.json").read_text()))
    return total


def lost_updates(engine: Engine) -> list[str]:
    """Follow each site through the ledger: what an entry calls old is what the one before wrote."""
    with engine.connect() as connection:
        rows = connection.execute(
            text(
                "SELECT row_key, fields FROM ledger_change "
                "WHERE kind = 'superseded' AND table_name = 'site_version' ORDER BY id"
            )
        ).all()
    now: dict[tuple[str, str], object] = defaultdict(lambda: "1.0")
    lost = []
    for key, fields in rows:
        for name, (old, new) in json.loads(fields).items():
            if (key, name) in now and now[key, name] != old:
                lost.append(f"{key} {name}: {now[key, name]} was written, {old} superseded")
            now[key, name] = new
    return lost


@pytest.mark.parametrize(
    ("processes", "seconds"), [(3, 2), pytest.param(8, 60, marks=pytest.mark.long)]
)
def test_no_update_is_lost_and_no_chain_broken(url, tmp_path, processes, seconds):
    def work(number: int) -> Counter[str]:
        return write_for(seconds, url, number, tmp_path / f"input{number}")

    total = in_processes(processes, work, tmp_path)

    with engine_on(url) as engine:
        sessions = make_sessions(engine)
        found = verify_records(sessions)
        assert found.faults == ()
        assert found.entries == 1 + total["written"]
        assert lost_updates(engine) == []
        assert check_database(sessions) == ()
    print(engine.dialect.name, dict(total))  # noqa: T201  # the long run's goes into PROOF.md
    assert total["written"] > processes


def at_once(*works: Callable[[], object]) -> list[object]:
    """Run works at once in threads, and give what each gave or raised."""
    results: list[object] = [None] * len(works)
    together = threading.Barrier(len(works))

    def run(number: int, work: Callable[[], object]) -> None:
        together.wait()
        try:
            results[number] = work()
        except Exception as error:
            results[number] = error

    threads = [threading.Thread(target=run, args=each) for each in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_two_coordinators_at_one_site_come_one_after_the_other(loaded_engine, network, tmp_path):
    sessions = make_sessions(loaded_engine)
    loads = [load_into(sessions, FrozenClock(), tmp_path / name) for name in ("ann", "bert")]
    changes = [
        network.only("sites", site_code="S01").change("sites", {}, importance=7),
        network.only("sites", site_code="S01").change("sites", {}, contact="bell", importance=1),
    ]

    done = at_once(*(lambda k=k: loads[k](changes[k], reason=f"coordinator {k}") for k in range(2)))

    assert [result.changed_anything for result in done] == [True, True]
    assert verify_records(sessions).entries == 3
    assert verify_records(sessions).faults == ()
    assert lost_updates(loaded_engine) == []


def test_technician_loads_while_a_plan_is_issued(loaded_engine, tmp_path):
    """Whichever comes first, the stop is settled by the visit."""
    sessions, clock = make_sessions(loaded_engine), FrozenClock()
    ref = keep_round(sessions, clock)
    clock.move(days=2)
    load = load_into(sessions, clock, tmp_path / "visits")
    visits = InputFolder().visit("V100", "S01", "2025-06-03")
    visits.check("V100", "00417", found=(40, 40), left=(40, 40))
    wish = Wish("coordinator", "round issue", "")

    done = at_once(
        lambda: load(visits, today=clock.at.date()),
        lambda: issue_round(sessions, ref, wish, clock=clock),
    )

    assert not any(isinstance(result, Exception) for result in done)
    assert check_database(sessions) == ()
    with loaded_engine.connect() as connection:
        outcome = text("SELECT outcome FROM stop_result WHERE known_until IS NULL")
        assert connection.execute(outcome).scalars().all() == ["done"]


def test_round_issued_twice_at_once_is_issued_once(loaded_engine):
    sessions, clock = make_sessions(loaded_engine), FrozenClock()
    ref = keep_round(sessions, clock)

    done = at_once(
        *(
            lambda k=k: issue_round(sessions, ref, Wish(f"c{k}", "round issue", ""), clock=clock)
            for k in range(3)
        )
    )

    refused = [result for result in done if isinstance(result, ConflictError)]
    assert len(refused) == 2
    assert all("is issued already" in str(error) for error in refused)
    assert verify_records(sessions).entries == 3

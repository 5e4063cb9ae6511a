"""What the README says is true: its commands run, its contracts are those of the code."""

from __future__ import annotations

import re
import shlex
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest

from fleet.cli.main import cli
from fleet.ingest.describe import describe_contracts
from tests.benchmarks.stopwatch import busy_seconds
from tests.readme import (
    TEXT,
    after_installation,
    command_lines,
    copy_checkout,
    run_in,
    session_blocks,
    set_up_blocks,
)


@dataclass(frozen=True)
class MainJob:
    """The main job as the README has it, run in a copy of the checkout.

    ``busy_s`` is the time for which processors worked on it: what else the machine does meanwhile
    is not counted, and on an idle machine the clock shows little more.
    """

    folder: Path
    stdout: str
    busy_s: float


@pytest.fixture(scope="module")
def main_job(tmp_path_factory: pytest.TempPathFactory) -> MainJob:
    folder = copy_checkout(tmp_path_factory.mktemp("readme") / "checkout")
    before = busy_seconds()
    ran = run_in(folder, after_installation(set_up_blocks()[0]))
    busy_s = busy_seconds() - before
    assert ran.returncode == 0, ran.stderr
    return MainJob(folder, ran.stdout, busy_s)


def test_readme_has_two_set_up_blocks_main_job_first_then_tests() -> None:
    main_job, tests = set_up_blocks()

    assert after_installation(main_job).startswith(".venv/bin/fleet --db ")
    assert " week prepare sample_network " in after_installation(main_job)
    assert after_installation(tests) == ".venv/bin/python -m pytest -q -n auto"
    assert all("-c constraints.txt" in block for block in (main_job, tests))


def test_main_job_prints_where_the_printable_routes_lie(main_job: MainJob) -> None:
    named = re.findall(r"(\S+\.pdf)$", main_job.stdout, re.MULTILINE)

    assert len(named) == 6  # four routes, and a week for the wall of each of two depots
    for path in named:
        assert (main_job.folder / path).read_bytes().startswith(b"%PDF-")
    assert sorted(named) == sorted(
        f"fleet_out/{path.name}" for path in (main_job.folder / "fleet_out").glob("*.pdf")
    )


def test_main_job_makes_the_database_that_the_readme_names(main_job: MainJob) -> None:
    with sqlite3.connect(main_job.folder / "fleet_out" / "fleet.sqlite") as database:
        sites = database.execute("SELECT count(*) FROM site").fetchone()
    database.close()

    assert sites == (89,)


@pytest.fixture
def afterwards(main_job: MainJob, tmp_path: Path) -> Path:
    """The copy of the checkout as the main job left it, free to be changed."""
    return shutil.copytree(main_job.folder, tmp_path / "checkout")


def test_main_job_says_what_to_try_next(main_job: MainJob, afterwards: Path) -> None:
    tried = re.findall(r"^  (fleet .+)$", main_job.stdout, re.MULTILINE)
    assert len(tried) >= 3

    for command in tried:
        ran = run_in(afterwards, command, FLEET_DB="fleet_out/fleet.sqlite")
        assert ran.returncode in (0, 3), (command, ran.stderr)


def test_main_job_takes_under_a_minute(main_job: MainJob) -> None:
    assert 0 < main_job.busy_s < 60


@pytest.mark.parametrize("line", command_lines())
def test_quoted_command_exists_with_its_options(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("results.xlsx", "monday.checkpoint", "monday.backup"):
        (tmp_path / name).touch()
    (tmp_path / "sample_network" / "corrections").mkdir(parents=True)
    _, noun, verb, *rest = shlex.split(line.replace("$before", "2026-11-20T12:00:00Z"))

    with click.Context(cli, info_name="fleet", **cli.context_settings) as ctx:
        group = cli.get_command(ctx, noun)
        assert isinstance(group, click.Group), f"no noun {noun!r}"
        command = group.get_command(ctx, verb)
        assert command is not None, f"no verb {verb!r}"
        command.make_context(verb, rest, parent=ctx)


def test_commands_named_in_the_text_exist() -> None:
    named = re.findall(r"`fleet ([a-z-]+) ([a-z-]+)[^`\n]*`", TEXT)
    assert len(named) >= 2

    with click.Context(cli, info_name="fleet", **cli.context_settings) as ctx:
        for noun, verb in named:
            group = cli.get_command(ctx, noun)
            assert isinstance(group, click.Group), f"no noun {noun!r}"
            assert group.get_command(ctx, verb) is not None, f"no verb {verb!r}"


def _exits(script: str) -> str:
    """Let a script tell the exit code of each of its calls of the tool, and go on."""
    return re.sub(r"^(fleet [^#\n]+).*$", r'\1; echo "exit $?"', script, flags=re.MULTILINE)


@pytest.mark.long
def test_quoted_sessions_run_from_first_to_last(afterwards: Path) -> None:
    script = "\n".join(_exits(block) for block in session_blocks())

    ran = run_in(afterwards, script, FLEET_DB="fleet_out/fleet.sqlite")

    exits = [int(code) for code in re.findall(r"^exit (\d+)$", ran.stdout, re.MULTILINE)]
    told = dict(zip(command_lines(), exits, strict=True))
    assert {line: code for line, code in told.items() if code != _expected(line)} == {}


def _expected(line: str) -> int:
    """Give the exit code: these checks find something; nobody answers the prompts."""
    if line.startswith(("fleet audit amended", "fleet audit serial", "fleet audit pack")):
        return 0
    if re.match(r"fleet (audit|rain compare|equipment (due|tainted|rotation)) ", line):
        return 3
    return 130 if line.startswith("fleet visit enter ") else 0


def test_contracts_in_the_readme_are_those_of_the_code() -> None:
    begin, end = "<!-- contracts: begin -->\n", "<!-- contracts: end -->\n"
    told = TEXT[TEXT.index(begin) + len(begin) : TEXT.index(end)]

    assert told == describe_contracts(), "write it again with: fleet network columns"


def _tables() -> Iterator[list[str]]:
    for line in TEXT.splitlines():
        if line.startswith("| ") and line.count("|") == 5:
            yield [cell.strip() for cell in line.strip("|").split("|")]


def test_exit_codes_in_the_readme_are_those_of_the_code() -> None:
    from fleet.cli.main import BUG_EXIT, INTERRUPT_EXIT
    from fleet.errors import ConflictError, InfeasibleError, InputError, SchemaVersionError

    codes = {
        int(cells[n]): cells[n + 1] for cells in _tables() for n in (0, 2) if cells[n].isdigit()
    }

    assert sorted(codes) == [0, 1, 2, 3, 4, 5, 70, 130]
    assert (BUG_EXIT, INTERRUPT_EXIT) == (70, 130)
    assert InputError.exit_code == ConflictError.exit_code == 1
    assert InfeasibleError.exit_code == 4
    assert SchemaVersionError.exit_code == 5

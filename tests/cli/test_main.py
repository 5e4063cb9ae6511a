"""The command line as a whole: its tree, exit codes, streams, and failures of the world around."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import warnings
from contextlib import closing
from pathlib import Path

import click
import pytest

from fleet.cli.main import NOUNS, cli
from fleet.errors import FleetWarning
from tests.factories import InputFolder

DAY = ("--as-of", "2025-06-02")
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
HEAVY = ("pandas", "numpy", "scipy", "pyvrp", "typst", "sqlalchemy", "alembic", "xlsxwriter")


def walk(group=cli, path=("fleet",)):
    """Give every command of the tree with its path, groups before what they hold."""
    yield path, group
    if isinstance(group, click.Group):
        context = click.Context(group)
        for name in group.list_commands(context):
            yield from walk(group.get_command(context, name), (*path, name))


TREE = list(walk())
COMMANDS = {" ".join(path): command for path, command in TREE}


@pytest.fixture
def db(loaded_settings):
    return loaded_settings.database_url


@pytest.mark.parametrize(("path", "command"), TREE, ids=[" ".join(path) for path, _ in TREE])
def test_every_command_has_a_line_an_example_and_help_on_every_option(path, command):
    help_text = command.help or ""

    line = command.get_short_help_str(80)
    assert line.strip()
    assert not line.endswith("..."), line
    assert "Example:" in help_text
    for parameter in command.params:
        if isinstance(parameter, click.Option) and parameter.name != "help":
            assert (parameter.help or "").strip(), f"{path}: {parameter.opts}"


@pytest.mark.parametrize(("path", "command"), TREE, ids=[" ".join(path) for path, _ in TREE])
def test_every_example_calls_commands_and_options_that_there_are(path, command):
    example = (command.help or "").split("Example:")[-1].replace("\\\n", " ")
    lines = [line.split() for line in example.splitlines() if line.strip().startswith("fleet ")]

    assert lines
    for words in lines:
        names = words if words[1] not in ("--db", "--actor") else [words[0], *words[3:]]
        found = COMMANDS.get(" ".join(names[:3])) or COMMANDS[" ".join(names[:2])]
        options = [p for c in (cli, found) for p in c.params]
        known = {opt for p in options for opt in (*p.opts, *p.secondary_opts)}
        used = {word for word in words if word.startswith("--")}
        assert used <= known, f"{' '.join(path)}: {used - known}"


def test_line_of_every_noun_in_the_list_is_that_of_its_help():
    for name, (_, line) in NOUNS.items():
        assert COMMANDS[f"fleet {name}"].get_short_help_str(100).rstrip(".") in line


def test_help_of_every_command(golden, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    pages = []
    for path, command in TREE:
        context = click.Context(command, info_name=" ".join(path), max_content_width=100)
        context.help_option_names = ["-h", "--help"]
        pages.append(command.get_help(context))

    golden("help.txt", "\n\n----\n\n".join(pages) + "\n")


LIGHT = """
import sys
import click
from fleet.cli.main import cli

def walk(group):
    if isinstance(group, click.Group):
        context = click.Context(group)
        for name in group.list_commands(context):
            walk(group.get_command(context, name))

walk(cli)
print([name for name in sys.argv[1:] if name in sys.modules])
"""


def test_whole_tree_loads_nothing_heavy():
    command = [sys.executable, "-c", LIGHT, *HEAVY]

    ran = subprocess.run(command, capture_output=True, text=True, check=True, env=ENVIRONMENT)

    assert ran.stdout == "[]\n"


def test_version_and_help_leave_with_zero(fleet):
    for words in (("--version",), ("--help",), ("-h",), ("round", "plan", "-h")):
        ran = fleet(*words)
        assert (ran.exit_code, ran.stderr) == (0, "")
        assert ran.stdout


def test_expected_failure_leaves_with_one_and_a_sentence_on_stderr(fleet, db):
    ran = fleet("round", "show", "2025-W99-NORTH", db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr == (
        "Error: There is no round '2025-W99-NORTH'. List them with: fleet round list\n"
    )


@pytest.mark.parametrize(
    "words",
    [
        ("gauge", "rank", "--as-of", "2025-02-30"),
        ("gauge", "rank", "--known-on", "2025-02-03T10:00"),
        ("gauge", "rank", "--driver", "rain"),
        ("gauge", "rank", "--top", "0"),
        ("gauge", "explain"),
        ("gauge", "weigh"),
        ("round", "plan", "NORTH", "--iterations", "0"),
        ("round", "stop", "R", "S01", "skipped", "--why", "tired"),
        ("week", "prepare", "no_such_folder"),
        ("--nonsense",),
    ],
    ids=" ".join,
)
def test_wrong_use_leaves_with_two_and_says_how(fleet, db, words):
    ran = fleet(*words, db=db)

    assert (ran.exit_code, ran.stdout) == (2, "")
    assert ran.stderr.startswith("Usage: fleet")
    assert "Error: " in ran.stderr


def test_a_question_that_finds_something_leaves_with_three(fleet, db):
    assert fleet("audit", "overdue", *DAY, db=db).exit_code == 3


def test_a_plan_that_is_refused_leaves_with_four(fleet, db, monkeypatch):
    monkeypatch.setattr(
        "fleet.planning.checker.find_violations", lambda problem, made: ["S01 is worked at night"]
    )

    ran = fleet("round", "plan", "NORTH", *DAY, "--iterations", 5, db=db)

    assert (ran.exit_code, ran.stdout) == (4, "")
    assert "S01 is worked at night" in ran.stderr


def test_missing_database_leaves_with_five_and_says_how_to_make_one(fleet, tmp_path):
    ran = fleet("gauge", "rank", db=str(tmp_path / "none.sqlite"))

    assert (ran.exit_code, ran.stdout) == (5, "")
    assert ran.stderr.endswith("Make one with: fleet database create\n")


def test_a_bug_leaves_with_seventy_and_its_traceback(fleet, db, monkeypatch):
    def broken(*args, **kwargs):
        raise ZeroDivisionError("of all things")

    monkeypatch.setattr("fleet.services.ranking.rank_network", broken)

    ran = fleet("gauge", "rank", db=db)

    assert (ran.exit_code, ran.stdout) == (70, "")
    assert "Traceback" in ran.stderr
    assert "ZeroDivisionError: of all things" in ran.stderr
    assert ran.stderr.endswith("This is a bug in fleet, please report it with the lines above.\n")


@pytest.mark.parametrize("interrupt", [KeyboardInterrupt, click.Abort])
def test_an_interruption_leaves_with_130(fleet, db, monkeypatch, interrupt):
    def stopped(*args, **kwargs):
        raise interrupt

    monkeypatch.setattr("fleet.services.ranking.rank_network", stopped)

    ran = fleet("gauge", "rank", db=db)

    assert (ran.exit_code, ran.stdout) == (130, "")
    assert ran.stderr.strip() == "Interrupted; nothing more was written."


def test_end_of_input_at_a_question_leaves_with_130(fleet, db):
    assert fleet("visit", "enter", "--site", "S01", db=db, answers="").exit_code == 130


def test_data_goes_to_stdout_and_notes_to_stderr_which_quiet_drops(fleet, db):
    loud = fleet("gauge", "explain", "00417", *DAY, "--format", "csv", db=db)
    quiet = fleet("-q", "gauge", "explain", "00417", *DAY, "--format", "csv", db=db)

    assert loud.stdout == quiet.stdout
    assert loud.stdout.startswith("part,name,value,unit_or_meaning\ngauge,site,S01,code\n")
    assert loud.stderr.startswith("Gauge 00417 is number ")
    assert quiet.stderr == ""


def test_every_form_gives_the_same_rows(fleet, db, tmp_path):
    rank = ("gauge", "rank", *DAY, "--top", 3)
    as_csv = fleet(*rank, "--format", "csv", db=db).stdout
    as_json = fleet(*rank, "--format", "json", db=db).stdout
    as_table = fleet(*rank, "--format", "table", db=db).stdout

    serials = ["A-031", "00418", "00523"]
    assert [line.split(",")[4] for line in as_csv.splitlines()[1:]] == serials
    assert [row["serial"] for row in json.loads(as_json)] == serials
    assert [w[3] for w in map(str.split, as_table.splitlines()) if w[0].isdigit()] == serials
    assert fleet(*rank, "--output", "-", db=db).stdout == as_csv  # no terminal: csv
    for ending in ("csv", "json"):
        path = tmp_path / "deep" / f"rank.{ending}"
        ran = fleet(*rank, "--output", path, db=db)
        assert (ran.stdout, ran.stderr) == ("", f"3 rows written to {path}\n")
        assert path.read_text(encoding="utf-8") == {"csv": as_csv, "json": as_json}[ending]


def test_workbook_needs_a_file(fleet, db, tmp_path):
    refused = fleet("gauge", "rank", *DAY, "--format", "xlsx", db=db)
    written = fleet("gauge", "rank", *DAY, "--output", tmp_path / "rank.xlsx", db=db)

    assert (refused.exit_code, refused.stdout) == (2, "")
    assert "A workbook needs a file: --output NAME.xlsx" in refused.stderr
    assert written.exit_code == 0
    assert (tmp_path / "rank.xlsx").read_bytes().startswith(b"PK")


@pytest.mark.parametrize("variable", ["NO_COLOR", "FORCE_COLOR"])
def test_output_carries_no_colour_codes(fleet, db, monkeypatch, variable):
    monkeypatch.setenv(variable, "1")

    for words in (("gauge", "rank", *DAY, "--format", "table"), ("gauge", "explain", "nope")):
        ran = fleet(*words, db=db)
        assert "\x1b" not in ran.stdout + ran.stderr


def test_doubtful_data_is_a_warning_told_once_and_with_strict_an_error(fleet, db, monkeypatch):
    def doubtful(*args, **kwargs):
        for _ in range(2):
            warnings.warn("3 readings look odd.", FleetWarning, stacklevel=1)
        return []

    monkeypatch.setattr("fleet.services.ranking.rank_network", doubtful)

    ran = fleet("gauge", "rank", *DAY, db=db)
    strict = fleet("--strict", "gauge", "rank", *DAY, db=db)

    assert (ran.exit_code, ran.stderr) == (0, "Warning: 3 readings look odd.\n")
    assert (strict.exit_code, strict.stdout) == (1, "")
    assert strict.stderr == "Error (--strict): 3 readings look odd.\n"


READING = [
    ("gauge", "rank"),
    ("gauge", "explain", "00417"),
    ("round", "list"),
    ("round", "show", "R"),
    ("round", "sheet", "R"),
    ("audit", "overdue"),
    ("ledger", "verify"),
    ("hold", "list"),
    ("database", "upgrade"),
]
WRITING = [
    ("round", "plan", "NORTH", *DAY, "--iterations", "5"),
    ("hold", "lift", "S06", "--kind", "must_visit", "--reason", "x", "--on", "2025-06-03"),
]


@pytest.mark.parametrize("words", [*READING, *WRITING], ids=" ".join)
def test_file_that_is_no_database_is_told_without_a_traceback(fleet, tmp_path, words):
    path = tmp_path / "notes.sqlite"
    path.write_text("shopping list: bread, butter and a new reed switch\n" * 40)

    ran = fleet(*words, db=str(path))

    assert (ran.exit_code, ran.stdout) == (5, "")
    assert ran.stderr == f"Error: {path} cannot be opened as a database: file is not a database\n"


@pytest.mark.sqlite
@pytest.mark.parametrize("words", WRITING, ids=" ".join)
def test_database_that_cannot_be_written_is_told_without_a_traceback(fleet, db, monkeypatch, words):
    monkeypatch.setattr(
        "fleet.store.session._SQLITE_PRAGMAS", ("PRAGMA foreign_keys=ON", "PRAGMA query_only=ON")
    )

    ran = fleet(*words, db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr == (
        "Error: Somebody else is writing, or the database may not be written to; nothing was "
        "changed. Try again. (attempt to write a readonly database)\n"
    )


@pytest.mark.sqlite
def test_database_that_another_program_holds_is_told_without_a_traceback(fleet, db, monkeypatch):
    monkeypatch.setattr(
        "fleet.store.session._SQLITE_PRAGMAS", ("PRAGMA foreign_keys=ON", "PRAGMA busy_timeout=1")
    )
    holder = sqlite3.connect(db.removeprefix("sqlite:///"), isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")

    ran = fleet("round", "plan", "NORTH", *DAY, "--iterations", "5", db=db)
    holder.close()

    assert ran.exit_code == 1
    assert ran.stderr.endswith("nothing was changed. Try again. (database is locked)\n")


@pytest.mark.sqlite
def test_database_that_breaks_while_it_is_read_is_told_without_a_traceback(fleet, db):
    path = db.removeprefix("sqlite:///")
    with closing(sqlite3.connect(path)) as base:
        (size,) = base.execute("PRAGMA page_size").fetchone()
        (page,) = base.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'tip_run'"
        ).fetchone()
    with Path(path).open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)

    ran = fleet("gauge", "rank", *DAY, db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr == (
        "Error: The database cannot be used, nothing was changed: database disk image is "
        "malformed.\n"
    )


@pytest.mark.sqlite
def test_wrong_sql_stays_a_bug(fleet, db, monkeypatch):
    from sqlalchemy import text

    def wrong(sessions, **how):
        with sessions() as session:
            session.execute(text("SELECT some_column FROM nowhere"))

    monkeypatch.setattr("fleet.services.ranking.rank_network", wrong)

    ran = fleet("gauge", "rank", db=db)

    assert ran.exit_code == 70
    assert "no such table: nowhere" in ran.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("gauge", "rank", *DAY, "--output", "{file}/rank.csv"),
        ("week", "prepare", "{folder}", *DAY, "--folder", "{file}/out", "--iterations", "5"),
    ],
    ids=["table", "week"],
)
def test_place_that_cannot_be_written_is_told_without_a_traceback(fleet, db, tmp_path, words):
    file = tmp_path / "file"
    file.write_text("in the way")
    folder = InputFolder({"holds": []}).write(tmp_path / "in")
    given = [str(word).format(file=file, folder=folder) for word in words]

    ran = fleet(*given, db=db)

    assert ran.exit_code == 1
    assert "Traceback" not in ran.stderr
    assert ran.stderr.splitlines()[-1].startswith("Error: ")
    assert str(file) in ran.stderr


def test_folder_without_input_files_is_told_with_their_names(fleet, tmp_path):
    empty = tmp_path / "empty"
    empty.mkdir()

    ran = fleet("week", "prepare", empty, *DAY, db=str(tmp_path / "new.sqlite"))

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "no CSV file in it; depots.csv, closures.csv" in ran.stderr


def test_whole_process_leaves_with_the_documented_code(tmp_path):
    command = [
        sys.executable,
        "-m",
        "fleet",
        "--db",
        str(tmp_path / "none.sqlite"),
        "round",
        "list",
    ]

    ran = subprocess.run(command, capture_output=True, text=True, check=False, env=ENVIRONMENT)

    assert (ran.returncode, ran.stdout) == (5, "")
    assert ran.stderr.startswith("Error: There is no database at ")

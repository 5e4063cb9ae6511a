"""Spoiled files through reading and loading: problems or rows, never a traceback or half a write.

The fast suite tries a few; the long one 100,000 (tests/benchmarks/PROOF.md has what it found).
"""

from __future__ import annotations

import os
import random
from contextlib import suppress
from pathlib import Path

import pytest
import xlsxwriter
from sqlalchemy import text

from fleet.errors import ConflictError, InputError
from fleet.ingest.batch import Batch, read_batch
from fleet.ingest.form_batch import form_batch
from fleet.ingest.known import NOTHING_KNOWN
from fleet.ingest.visit_form import is_visit_form, read_visit_form
from fleet.reports.visit_form import write_visit_form
from fleet.services.record_visit import record_file
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from tests.conftest import load_into
from tests.factories import TODAY
from tests.form_factory import full_answers, make_form
from tests.form_filler import fill
from tests.mutator import spoil_bytes, spoil_cells, spoil_workbook, unpack
from tests.small_network import small_network

FEW = {"csv": 300, "workbook": 40, "form": 25, "write": 100}
MANY = {"csv": 80_000, "workbook": 12_000, "form": 8_000, "write": 3_000}
SEED = 20_251_125


def counts(long: bool) -> dict[str, int]:
    """Give how many files of each kind: a share of the many where FLEET_FUZZ_SHARE says ``2/9``."""
    if not long:
        return FEW
    part, whole = map(int, os.environ.get("FLEET_FUZZ_SHARE", "1/1").split("/"))
    return {kind: -(-count // whole) for kind, count in MANY.items()} | {"first": part}


@pytest.fixture(params=[False, pytest.param(True, marks=pytest.mark.long)], ids=["few", "many"])
def share(request) -> dict[str, int]:
    return counts(request.param)


def dice_of(share: dict[str, int], number: int) -> random.Random:
    return random.Random(f"{SEED} {share.get('first', 0)} {number}")


def hold(batch: Batch) -> None:
    """Whatever was read: problems can be told, and rows without problems are whole."""
    for problem in batch.problems:
        str(problem).encode("utf-8", "strict")
    if not batch.problems:
        assert all(row.values for rows in batch.rows.values() for row in rows)


@pytest.fixture(scope="module")
def tables() -> dict[str, str]:
    folder = small_network()
    texts = {}
    for name, rows in folder.tables.items():
        lines = [",".join(rows[0]), *(",".join(_quoted(cell) for cell in r.values()) for r in rows)]
        texts[name] = "\n".join(lines) + "\n"
    return texts


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set('",\n') else cell


def test_spoiled_tables_give_problems_or_rows(share, tables, tmp_path):
    names = sorted(tables)
    for number in range(share["csv"]):
        dice = dice_of(share, number)
        name = dice.choice(names)
        if dice.random() < 0.75:
            content = spoil_cells(dice, tables[name]).encode("utf-8", "surrogatepass")
        else:
            content = spoil_bytes(dice, tables[name].encode())
        path = tmp_path / f"{name}.csv"
        path.write_bytes(content)
        hold(read_batch(path, known=NOTHING_KNOWN, today=TODAY))


@pytest.fixture(scope="module")
def workbook(tmp_path_factory) -> dict[str, bytes]:
    """The small network as a workbook with native numbers and texts."""
    path = tmp_path_factory.mktemp("book") / "network.xlsx"
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False}) as book:
        for name, rows in small_network().tables.items():
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, list(rows[0]))
            for number, row in enumerate(rows, start=1):
                for column, cell in enumerate(row.values()):
                    plain = cell.replace(".", "", 1).isdigit() and not cell.startswith("0")
                    (sheet.write_number if plain else sheet.write_string)(
                        number, column, float(cell) if plain else cell
                    )
    return unpack(path.read_bytes())


def test_spoiled_workbooks_give_problems_or_rows(share, workbook, tmp_path):
    path = tmp_path / "network.xlsx"
    for number in range(share["workbook"]):
        path.write_bytes(spoil_workbook(dice_of(share, number), workbook))
        hold(read_batch(path, known=NOTHING_KNOWN, today=TODAY))


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> dict[str, bytes]:
    path = tmp_path_factory.mktemp("form") / "monday.xlsx"
    write_visit_form(make_form(), path)
    fill(path, full_answers())
    return unpack(path.read_bytes())


def test_spoiled_forms_give_problems_or_rows(share, filled, tmp_path):
    path = tmp_path / "monday.xlsx"
    for number in range(share["form"]):
        path.write_bytes(spoil_workbook(dice_of(share, number), filled))
        if is_visit_form(path):
            form = read_visit_form(path)
            made = form_batch(form.stops, known=NOTHING_KNOWN, today=TODAY, problems=form.problems)
            hold(made.batch)
        else:
            hold(read_batch(path, known=NOTHING_KNOWN, today=TODAY))


def test_spoiled_files_are_written_whole_or_not_at_all(share, tables, loaded, clock, tmp_path):
    """Amendments of the loaded network, by one to three spoiled tables at a time."""
    amend = load_into(loaded, clock, tmp_path / "more")
    names, entries = sorted(tables), 1
    for number in range(share["write"]):
        dice = dice_of(share, number)
        folder = tmp_path / f"in{number % 2}"
        folder.mkdir(exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for name in dice.sample(names, dice.randint(1, 3)):
            spoiled = spoil_cells(dice, tables[name]).encode("utf-8", "surrogatepass")
            (folder / f"{name}.csv").write_bytes(spoiled)
        clock.move(seconds=1)
        with suppress(InputError, ConflictError):
            entries += amend(folder, reason="spoiled").changed_anything
        assert count_entries(loaded) == entries
    found = verify_records(loaded)
    assert (found.entries, found.faults) == (entries, ())
    assert entries > 1


def test_spoiled_forms_are_written_whole_or_not_at_all(share, filled, loaded, clock, tmp_path):
    path, entries = tmp_path / "monday.xlsx", 1
    for number in range(share["write"] // 4):
        path.write_bytes(spoil_workbook(dice_of(share, number), filled))
        clock.move(seconds=1)
        wish = Wish("tester", "visit record", "spoiled")
        with suppress(InputError, ConflictError):
            recorded = record_file(loaded, path, wish, clock=clock, today=TODAY)
            entries += recorded.result.changed_anything
        assert count_entries(loaded) == entries
    assert verify_records(loaded).faults == ()


def count_entries(sessions) -> int:
    with sessions() as session:
        return session.execute(text("SELECT count(*) FROM ledger_entry")).scalar_one()


def test_spoiling_is_the_same_for_the_same_seed(tables):
    one = spoil_cells(random.Random("a"), tables["visits"])

    assert one == spoil_cells(random.Random("a"), tables["visits"])
    assert one != tables["visits"]


def test_names_of_files_are_told_harmlessly(tmp_path):
    for name in ("\x1b[31mred.csv", "\u202egnp.csv", "a\nb.csv", "=x.csv", "x" * 200 + ".csv"):
        path = Path(tmp_path / name)
        path.write_text("a,b\n")
        batch = read_batch(path, known=NOTHING_KNOWN, today=TODAY)
        assert len(batch.problems) == 1

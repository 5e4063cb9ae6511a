"""The sample network passes the checks of loading, and so does the later load that corrects it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from fleet.ingest.batch import read_batch
from fleet.ingest.catalogue import ALL_TABLES
from fleet.ingest.known import NOTHING_KNOWN, KnownCodes

FOLDER = Path(__file__).parents[2] / "sample_network"
LAST_DAY = date(2026, 11, 20)


def test_sample_network_loads_without_a_problem() -> None:
    batch = read_batch(FOLDER, known=NOTHING_KNOWN, today=LAST_DAY)

    assert [str(problem) for problem in batch.problems] == []
    assert {table.name for table in ALL_TABLES} - set(batch.rows) == {
        *("access_windows", "homes", "rest_rules", "vehicles"),
    }
    assert len(batch.rows["visits"]) == 565
    assert len(batch.rows["daily_totals"]) == 38690


def test_corrections_load_on_top_of_it() -> None:
    first = read_batch(FOLDER, known=NOTHING_KNOWN, today=LAST_DAY)
    keys = {
        table.name: {tuple(row.values[name] for name in table.key) for row in rows}
        for table in ALL_TABLES
        if (rows := first.rows.get(table.name))
    }

    batch = read_batch(FOLDER / "corrections", known=KnownCodes(keys=keys), today=LAST_DAY)

    assert [str(problem) for problem in batch.problems] == []
    assert [row.values["visit_ref"] for row in batch.rows["visits"]] == ["V25-0163", "V26-0113"]

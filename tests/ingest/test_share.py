"""Large input in shares: the same rows, the same problems, never all at once.

Every expectation compares with reading the input as one whole.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from fleet.ingest.batch import Batch, read_batch
from fleet.ingest.draft import blocks_of
from fleet.ingest.known import NOTHING_KNOWN, KnownCodes
from fleet.ingest.share import problems_in_order, read_shares
from tests.factories import TODAY, InputFolder

A_LINE = 300
"""Bytes a share so few that the small network takes many."""


def shares_of(folder: Path, known: KnownCodes = NOTHING_KNOWN) -> list[Batch]:
    return list(read_shares(folder, known=known, today=TODAY, share_bytes=A_LINE))


def rows_of(batches: list[Batch]) -> Counter[tuple[str, int, str]]:
    return Counter(
        (table, row.row_number, repr(row.values))
        for batch in batches
        for table, rows in batch.rows.items()
        for row in rows
    )


def told(folder: Path) -> list[str]:
    batches = shares_of(folder)
    files = {name: file for batch in batches for name, file in batch.files.items()}
    problems = [problem for batch in batches for problem in batch.problems]
    return [str(problem) for problem in problems_in_order(problems, files)]


@pytest.fixture
def damaged(network: InputFolder) -> InputFolder:
    """Give the network with faults in cells, keys, references and between rows."""
    network.change("visits", {"visit_ref": "V001"}, site_code="S99", outcome="finished")
    network.change("depots", {"depot_code": "SOUTH"}, latitude_deg="444,5")
    network.change("tip_runs", {"visit_ref": "V003", "run_number": "2"}, run_number="4")
    network.change("gauge_checks", {"visit_ref": "V005", "serial": "00523"}, serial="00524")
    network.change("follow_ups", {}, raised_by_visit="V777")
    network.change("daily_totals", {"day": "2025-05-01"}, site_code="S77")
    network.change("findings", {"visit_ref": "V010"}, visit_ref="no/such visit")
    for row in network.rows("visits", visit_ref="V006"):
        network.tables["visits"].append(dict(row))
    return network


def test_shares_hold_every_row_of_the_whole_once(network, tmp_path):
    folder = network.write(tmp_path / "in")

    shares = shares_of(folder)

    assert len(shares) > 10
    assert [problem for share in shares for problem in share.problems] == []
    assert rows_of(shares) == rows_of([read_batch(folder, known=NOTHING_KNOWN, today=TODAY)])


def test_a_visit_is_in_one_share_with_all_its_parts(network, tmp_path):
    shares = shares_of(network.write(tmp_path / "in"))

    for ref in ("V003", "V005", "V013"):
        tables = ("visits", "gauge_checks", "tip_runs", "switch_readings", "findings")
        holding = {
            number
            for number, share in enumerate(shares)
            for table in tables
            for row in share.rows.get(table, [])
            if row.values["visit_ref"] == ref
        }
        assert len(holding) == 1


def test_the_register_comes_first_and_follow_ups_last(network, tmp_path):
    shares = shares_of(network.write(tmp_path / "in"))

    assert {"depots", "sites", "installations", "holds"} <= shares[0].rows.keys()
    assert "visits" not in shares[0].rows
    assert list(shares[-1].rows) == ["follow_ups"]


def test_shares_tell_the_problems_of_the_whole_in_its_order(damaged, tmp_path):
    folder = damaged.write(tmp_path / "in")

    whole = [
        str(problem) for problem in read_batch(folder, known=NOTHING_KNOWN, today=TODAY).problems
    ]

    assert len(whole) >= 8
    assert told(folder) == whole


def test_shares_do_not_blame_references_to_rows_that_could_not_be_seen(network, tmp_path):
    folder = network.write(tmp_path / "in")
    lines = (folder / "visits.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    lines[3] = lines[3].rstrip("\n") + ",one cell too many\n"
    (folder / "visits.csv").write_text("".join(lines), encoding="utf-8")

    problems = told(folder)

    assert len(problems) == 1
    assert problems[0].startswith("visits.csv row 4")


def test_shares_know_the_visits_of_the_records(network, tmp_path):
    known = KnownCodes(keys={"visits": frozenset({("V900",)})})
    network.change("follow_ups", {}, raised_by_visit="V900")

    shares = shares_of(network.write(tmp_path / "in"), known)

    assert [problem for share in shares for problem in share.problems] == []


def test_a_small_input_is_one_share(network, tmp_path):
    folder = network.write(tmp_path / "in")

    shares = list(read_shares(folder, known=NOTHING_KNOWN, today=TODAY))

    assert len(shares) == 1
    assert len(shares[0].rows["visits"]) == 15


def test_a_missing_folder_is_told_in_one_share(tmp_path):
    shares = shares_of(tmp_path / "nowhere")

    assert [problem.expected for share in shares for problem in share.problems] == [
        "there is no such file or folder"
    ]


def test_rows_with_other_columns_stay_in_their_order():
    rows = [(2, {"a": "1", "b": "2"}), (3, {"a": "3", "b": "4"}), (5, {"b": "6"}), (6, {"b": "7"})]

    blocks = list(blocks_of(rows, size=3))

    assert blocks == [
        ([2, 3], {"a": ["1", "3"], "b": ["2", "4"]}),
        ([5], {"b": ["6"]}),
        ([6], {"b": ["7"]}),
    ]

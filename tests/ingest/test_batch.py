"""A whole batch: typed rows, problems of all tables at once, speed."""

import time
from datetime import date, datetime, timedelta, timezone

import pytest

from fleet.domain.code import (
    InstrumentStatus,
    PolicyScope,
    SwitchReadingKind,
    VisitOutcome,
    VisitPurpose,
)
from fleet.errors import InputError
from fleet.ingest.batch import Batch, read_batch
from fleet.ingest.known import NOTHING_KNOWN, KnownCodes
from tests.factories import TODAY


def test_read_batch_gives_typed_values(read, network):
    rows = read(network).rows

    assert rows["visits"][5].row_number == 7
    assert rows["visits"][5].values == {
        "visit_ref": "V006",
        "site_code": "S03",
        "technician_codes": ("T01", "T02"),
        "arrived_at": datetime(2024, 3, 12, 9, 0, tzinfo=timezone(timedelta(hours=1))),
        "departed_at": datetime(2024, 3, 12, 10, 30, tzinfo=timezone(timedelta(hours=1))),
        "purpose": VisitPurpose.ROUTINE,
        "outcome": VisitOutcome.DONE,
        "not_done_reason": None,
        "note": None,
    }
    assert rows["technicians"][0].values["shift_start"] == 450
    assert rows["technicians"][0].values["weekdays"] == ("mon", "tue", "wed", "thu", "fri")
    assert rows["instruments"][0].values["serial"] == "00417"
    assert rows["instruments"][0].values["status"] is InstrumentStatus.IN_SERVICE
    assert rows["policies"][0].values["scope"] is PolicyScope.NETWORK
    assert rows["policies"][0].values["scope_code"] is None
    assert rows["switch_readings"][0].values["kind"] is SwitchReadingKind.CLOSED_OHM
    assert rows["gauge_types"][0].values["siphon"] is False
    assert rows["gauge_types"][0].values["orifice_area_cm2"] == 400.0
    assert rows["closures"][0].values["day"] == date(2025, 6, 6)
    assert rows["daily_totals"][2].values["total_mm"] is None


def test_read_batch_tells_all_problems_of_all_tables_in_order(problems, network):
    network.change("visits", {"visit_ref": "V001"}, site_code="S99", outcome="finished")
    network.change("depots", {"depot_code": "SOUTH"}, latitude_deg="444,5", name="")
    network.change("sites", {"site_code": "S01"}, depot_code="WEST")
    network.change("sites", {"site_code": "S02"}, ring_first="maybe")

    assert [text.partition(":")[0] for text in problems(network)] == [
        "depots.csv row 3, column name",
        "depots.csv row 3, column latitude_deg",
        "sites.csv row 2, column depot_code",
        "sites.csv row 3, column ring_first",
        "visits.csv row 2, column outcome",
        "visits.csv row 2, column site_code",
    ]


def test_require_clean_raises_every_problem(read, network):
    for row in network.tables["tip_runs"]:
        row["tips"] = "many"

    with pytest.raises(InputError) as error:
        read(network).require_clean()

    assert len(error.value.problems) == 56
    assert str(error.value).startswith("56 problems; nothing was written.\ntip_runs.csv row 2,")
    assert str(error.value).endswith("\n... and 36 more.")


def test_require_clean_passes_a_batch_without_problems(read, network):
    assert read(network).require_clean() is None
    assert Batch().require_clean() is None


def test_long_values_are_cut_in_problems(problems, network):
    network.change("sites", {"site_code": "S01"}, name="x" * 2001)

    assert problems(network) == [
        f"sites.csv row 2, column name: '{'x' * 60}...' found; 2001 characters; "
        "at most 2000 are allowed"
    ]


def test_faulty_cell_is_left_out_of_its_row(read, network):
    network.change("sites", {"site_code": "S01"}, importance="high")

    row = read(network).rows["sites"][0]

    assert "importance" not in row.values
    assert row.values["access_minutes"] == 10


def test_read_batch_takes_20000_rows_in_time(tmp_path):
    path = tmp_path / "tip_runs.csv"
    visits = [f"V{number:05d}" for number in range(5000)]
    lines = [
        f"{ref},0{n % 90:04d},{phase},{run},800,{600 + n % 97},{35 + n % 11},emptied,D01"
        for n, ref in enumerate(visits)
        for phase in ("as_found", "as_left")
        for run in (1, 2)
    ]
    header = "visit_ref,serial,phase,run_number,volume_ml,duration_s,tips,start_state,device_code"
    path.write_text("\n".join([header, *lines, ""]), encoding="utf-8")
    checks = frozenset((ref, f"0{number % 90:04d}") for number, ref in enumerate(visits))
    known = KnownCodes(
        keys={
            "visits": frozenset((ref,) for ref in visits),
            "instruments": frozenset((serial,) for _, serial in checks),
            "devices": frozenset({("D01",)}),
            "gauge_checks": checks,
        }
    )

    started = time.perf_counter()
    batch = read_batch(path, known=known, today=TODAY)
    taken_s = time.perf_counter() - started

    assert batch.problems == []
    assert len(batch.rows["tip_runs"]) == 20_000
    assert taken_s < 3.0


def test_20000_wrong_rows_are_told_in_time(tmp_path):
    path = tmp_path / "closures.csv"
    lines = [f"N{number:05d},{number}/3/25,x" for number in range(20_000)]
    path.write_text("\n".join(["depot_code,day,name", *lines]), encoding="utf-8")
    known = KnownCodes(keys={"depots": frozenset((f"D{number}",) for number in range(500))})

    started = time.perf_counter()
    batch = read_batch(path, known=known, today=TODAY)
    taken_s = time.perf_counter() - started

    assert len(batch.problems) == 40_000
    assert taken_s < 10.0


def test_nothing_is_known_before_the_first_load():
    assert list(NOTHING_KNOWN.keys_of("sites")) == []
    assert list(NOTHING_KNOWN.keys_of("installations")) == []

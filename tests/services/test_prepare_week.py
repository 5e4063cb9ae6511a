"""The weekly job whole, on the small network: load, rank, plan each depot, write the sheets."""

from __future__ import annotations

import csv

import pytest
from sqlalchemy import select

from fleet.errors import ConflictError, InputError
from fleet.services.prepare_week import WeekOrder, prepare_week
from fleet.services.round_view import list_rounds
from fleet.services.travel import TravelChoice
from fleet.services.verify import verify_records
from fleet.store.models.ledger import LedgerEntry
from tests.week_plan import SUNDAY


@pytest.fixture
def source(network, tmp_path):
    """The small network, its names in scripts that the shipped fonts can print."""
    network.change("sites", {"site_code": "S05"}, name="Ασανόδη")
    return network.write(tmp_path / "in")


@pytest.fixture
def prepare(sessions, clock, source, tmp_path):
    """Prepare the week of 2025-06-02; gives the result and what was said meanwhile."""

    def run(**changes):
        said = []
        clock.move(hours=1)
        order = WeekOrder(source, SUNDAY, tmp_path / "out", iterations=10, **changes)
        return prepare_week(sessions, order, "tester", clock=clock, say=said.append), said

    return run


def actions(sessions):
    with sessions() as session:
        return session.execute(select(LedgerEntry.action).order_by(LedgerEntry.id)).scalars().all()


def test_week_is_prepared_for_every_depot(prepare, sessions, tmp_path):
    prepared, said = prepare()

    assert [p.planned.round_ref for p in prepared.rounds] == ["2025-W23-NORTH", "2025-W23-SOUTH"]
    assert actions(sessions) == ["network load", "round plan", "round plan"]
    assert verify_records(sessions).faults == ()
    assert len(prepared.ranking) == 7
    with prepared.ranking_file.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["serial"] for row in rows] == [g.state.gauge.serial for g in prepared.ranking]
    assert prepared.ranking_file == tmp_path / "out" / "ranking.csv"
    for made in prepared.rounds:
        crews = {c for day in made.planned.plan.days for c in day.technician_codes}
        names = {path.name for path in made.files}
        assert {f"{made.planned.round_ref}-{c}.pdf" for c in crews} <= names
        assert all(path.is_file() for path in made.files)
    assert [line for line in said if line.startswith("Planning")] == [
        "Planning the round of NORTH ...",
        "Planning the round of SOUTH ...",
    ]
    (urgent,) = [line for line in said if line.startswith("URGENT")]
    assert "visit V015 does not prove that gauge A-031 at S04 was put back" in urgent


def test_second_run_loads_nothing_and_makes_version_two_of_the_same_plan(prepare, sessions):
    first, _ = prepare()

    second, said = prepare()

    assert not second.load.changed_anything
    assert "Nothing differs from the records; nothing was written." in said
    assert actions(sessions) == ["network load", *["round plan"] * 4]
    assert [p.planned.number for p in second.rounds] == [2, 2]
    assert [p.planned.plan for p in second.rounds] == [p.planned.plan for p in first.rounds]
    assert list_rounds(sessions)["version"].tolist() == [2, 2]


def test_rows_that_differ_are_refused_without_a_reason_and_amended_with_one(
    prepare, sessions, network, source
):
    prepare()
    network.change("sites", {"site_code": "S01"}, name="Quellmoor East").write(source)

    with pytest.raises(ConflictError, match=r"1 row.* differ"):
        prepare()
    assert actions(sessions) == ["network load", "round plan", "round plan"]

    prepared, said = prepare(reason="renamed by the owner")
    assert prepared.load.changed_anything
    assert any("Quellmoor -> Quellmoor East" in line for line in said)
    with sessions() as session:
        reasons = session.execute(
            select(LedgerEntry.reason).where(LedgerEntry.action == "network load")
        ).scalars()
        assert list(reasons) == ["", "renamed by the owner"]


def test_problems_of_the_input_stop_the_job_before_anything_is_written(
    prepare, sessions, network, source, tmp_path
):
    network.change("visits", {"visit_ref": "V001"}, outcome="dnoe").write(source)

    with pytest.raises(InputError, match=r"visits\.csv row 2, column outcome: 'dnoe' found"):
        prepare()

    assert actions(sessions) == []
    assert not (tmp_path / "out").exists()


def test_base_map_of_the_folder_is_drawn_and_a_bad_one_stops_the_job_first(
    prepare, sessions, source
):
    (source / "outline.geojson").write_text('{"features": [{"geometry": null}]}')
    with pytest.raises(InputError, match=r"outline\.geojson: feature 1"):
        prepare()
    assert actions(sessions) == []

    line = '{"type": "LineString", "coordinates": [[-34.9, 44.8], [-34.6, 45.2]]}'
    (source / "outline.geojson").write_text(
        f'{{"features": [{{"properties": {{"kind": "coast"}}, "geometry": {line}}}]}}'
    )
    prepared, _ = prepare()

    page = next(p for p in prepared.rounds[0].files if p.suffix == ".html")
    assert "Base lines: coast" in page.read_text(encoding="utf-8")


def test_depot_without_technicians_does_not_stop_the_others(prepare, network, source):
    place = {"latitude_deg": 44.2, "longitude_deg": -34.7, "time_zone": "Etc/GMT-1"}
    network.add("depots", depot_code="WEST", name="Ulvane", **place).write(source)

    prepared, _ = prepare()

    west = prepared.rounds[-1]
    assert (west.planned.round_ref, west.files) == ("2025-W23-WEST", ())
    assert west.planned.week.notes == ("No technician belongs to depot WEST.",)


def test_drives_are_timed_as_named(prepare, tmp_path):
    named = tmp_path / "travel.toml"
    named.write_text("[depot.SOUTH]\ncircuity = 1.5\nspeed_kmh = 40\n")

    prepared, _ = prepare(travel=TravelChoice(str(named), tmp_path / "cache"))

    north, south = (made.planned.week.problem.travel.source for made in prepared.rounds)
    assert north == "Great-circle distance x 1.30 at 60 km/h (a default, not learned)"
    assert south == "Great-circle distance x 1.50 at 40 km/h (set by hand)"


def test_source_of_drives_that_is_none_is_refused_before_anything_is_written(
    prepare, sessions, tmp_path
):
    with pytest.raises(InputError, match=r"gone\.csv"):
        prepare(travel=TravelChoice("gone.csv", tmp_path / "cache"))

    assert actions(sessions) == []


def test_week_for_the_wall_lies_with_the_sheets(prepare):
    prepared, _ = prepare()

    walls = [path.name for made in prepared.rounds for path in made.files if "_week" in path.name]
    assert walls == ["2025-W23-NORTH_week.pdf", "2025-W23-SOUTH_week.pdf"]

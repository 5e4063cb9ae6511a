"""A visit is written and amended as one whole; what it said before stays readable."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import func, select

from fleet.errors import ConflictError, InputError
from fleet.services.visit_aggregate import VisitAggregate, gather_visits, with_local_day
from fleet.store.models.ledger import LedgerEntry
from fleet.store.models.visit import (
    Finding,
    GaugeCheck,
    SwitchReading,
    TipRun,
    Visit,
    VisitTechnician,
    VisitVersion,
)
from fleet.store.queries.check import kept_checks
from fleet.store.verify import verify_ledger
from tests.factories import NOW, TODAY, InputFolder

PARTS = (VisitTechnician, GaugeCheck, Finding)
BELOW = (TipRun, SwitchReading)


def versions(session, ref: str) -> list[VisitVersion]:
    return list(
        session.execute(
            select(VisitVersion)
            .join(Visit, Visit.id == VisitVersion.visit_id)
            .where(Visit.code == ref)
            .order_by(VisitVersion.id)
        ).scalars()
    )


def part_counts(session, version_id: int) -> list[int]:
    counts = []
    for model in PARTS:
        query = select(func.count()).where(model.visit_version_id == version_id)
        counts.append(session.execute(query).scalar_one())
    for model in BELOW:
        query = (
            select(func.count())
            .select_from(model)
            .join(GaugeCheck, GaugeCheck.id == model.gauge_check_id)
            .where(GaugeCheck.visit_version_id == version_id)
        )
        counts.append(session.execute(query).scalar_one())
    return counts


def runs(session, ref: str, serial: str, known_on=None) -> dict[str, tuple[int, ...]]:
    (check,) = [
        c.record
        for c in kept_checks(session, as_of=TODAY, known_on=known_on)
        if (c.record.visit_ref, c.record.serial) == (ref, serial)
    ]
    phases = {"found": check.as_found, "left": check.as_left}
    return {name: phase.run_tips for name, phase in phases.items() if phase}


def test_correction_of_one_run_makes_a_new_version_with_all_other_parts(loaded, amend, network):
    """The folder holds tip_runs.csv alone, with one row."""
    run = network.only("tip_runs", visit_ref="V005", serial="00523", phase="as_found", run_number=2)

    result = amend(run.change("tip_runs", {}, tips=97), reason="smudged figure read again")

    (difference,) = result.differences
    assert str(difference) == "visits V005: tip_runs[00523 as_found 2].tips 99 -> 97"
    assert result.visits_written == ("V005",)
    assert [(c.table, c.read, c.changed) for c in result.counts] == [("tip_runs", 1, 1)]
    with loaded() as session:
        old, new = versions(session, "V005")
        assert part_counts(session, old.id) == part_counts(session, new.id) == [1, 2, 0, 8, 0]
        assert runs(session, "V005", "00523") == {"found": (98, 97), "left": (100, 99)}
        assert runs(session, "V005", "00523", NOW) == {"found": (98, 99), "left": (100, 99)}
        assert runs(session, "V005", "00418") == {"found": (36, 36), "left": (40, 40)}
        assert (old.known_until, old.closing_entry_id) == (new.known_from, 2)
        assert verify_ledger(session) == []


def test_correction_keeps_technicians_readings_and_findings(loaded, amend, network):
    run = network.only("tip_runs", visit_ref="V013", phase="as_left", run_number=1)
    amend(run.change("tip_runs", {}, duration_s=2400), reason="time added")

    with loaded() as session:
        old, new = versions(session, "V013")
        assert part_counts(session, old.id) == part_counts(session, new.id) == [1, 1, 1, 2, 2]


def test_new_part_of_a_known_visit_is_added_to_it(loaded, amend, network):
    more = InputFolder().run("V005", "00418", "as_left", 3, tips=41, device_code="D01")

    result = amend(more, reason="third run was on the back of the sheet")

    assert [(c.table, c.added, c.changed) for c in result.counts] == [("tip_runs", 1, 0)]
    with loaded() as session:
        assert runs(session, "V005", "00418") == {"found": (36, 36), "left": (40, 40, 41)}
        assert runs(session, "V005", "00418", NOW) == {"found": (36, 36), "left": (40, 40)}


def test_new_part_of_a_known_visit_needs_a_reason(loaded, amend):
    more = InputFolder().run("V005", "00418", "as_left", 3, tips=41)

    with pytest.raises(ConflictError, match=r"visits V005: tip_runs\[00418 as_left 3\]"):
        amend(more)

    with loaded() as session:
        assert len(versions(session, "V005")) == 1


def test_part_of_a_visit_that_nobody_knows_is_refused(amend):
    with pytest.raises(InputError, match=r"tip_runs\.csv row 2, column visit_ref: 'V999'"):
        amend(InputFolder().run("V999", "00418", "as_left", 1, tips=41))


def test_part_of_a_check_that_nobody_knows_is_refused(amend):
    with pytest.raises(InputError, match="no gauge_checks row has this instrument in this visit"):
        amend(InputFolder().run("V001", "00418", "as_left", 1, tips=41))


def test_visit_row_alone_keeps_its_parts(loaded, amend, network):
    visit = network.only("visits", visit_ref="V004").change(
        "visits", {}, technician_codes="T02 T01"
    )

    result = amend(visit, reason="two went")

    assert [str(d) for d in result.differences] == [
        "visits V004: visits.technician_codes T01 -> T02 T01"
    ]
    with loaded() as session:
        old, new = versions(session, "V004")
        assert part_counts(session, old.id) == [1, 2, 0, 8, 0]
        assert part_counts(session, new.id) == [2, 2, 0, 8, 0]
        crews = {
            c.record.technicians
            for c in kept_checks(session, as_of=TODAY)
            if c.record.visit_ref == "V004"
        }
    assert crews == {("T02", "T01")}


def test_visit_with_two_gauges_is_one_version_with_two_checks(loaded):
    with loaded() as session:
        (version,) = versions(session, "V004")
        assert part_counts(session, version.id) == [1, 2, 0, 8, 0]
        assert runs(session, "V004", "00418") == {"found": (40, 39), "left": (40, 40)}
        assert runs(session, "V004", "00523") == {"found": (99, 100), "left": (100, 100)}


def test_several_parts_of_one_visit_make_one_version(loaded, amend, network):
    change = network.only("tip_runs", visit_ref="V003", run_number=1)
    change.change("tip_runs", {"phase": "as_found"}, tips=37)
    change.change("tip_runs", {"phase": "as_left"}, tips=41)
    change.tables |= network.only("gauge_checks", visit_ref="V003").tables
    change.change("gauge_checks", {}, parts="pivot pin")

    result = amend(change, reason="sheet read again")

    (difference,) = result.differences
    assert sorted(difference.fields) == [
        "gauge_checks[00417].parts",
        "tip_runs[00417 as_found 1].tips",
        "tip_runs[00417 as_left 1].tips",
    ]
    with loaded() as session:
        assert len(versions(session, "V003")) == 2


def test_second_amendment_builds_on_the_first(loaded, amend, network, clock):
    run = network.only("tip_runs", visit_ref="V001", phase="as_found", run_number=1)
    amend(run.copy().change("tip_runs", {}, tips=41), reason="first")
    clock.move(days=1)
    other = network.only("tip_runs", visit_ref="V001", phase="as_found", run_number=2)
    amend(other.change("tip_runs", {}, tips=42), reason="second")

    with loaded() as session:
        assert runs(session, "V001", "00417")["found"] == (41, 42)
        assert runs(session, "V001", "00417", NOW + timedelta(days=1))["found"] == (41, 40)
        assert runs(session, "V001", "00417", NOW)["found"] == (40, 40)
        assert len(versions(session, "V001")) == 3


def test_same_visit_again_is_unchanged_in_every_part(loaded, amend, network):
    folder = network.only("visits", "gauge_checks", "tip_runs", "findings", visit_ref="V010")

    result = amend(folder)

    assert [(c.table, c.read, c.unchanged) for c in result.counts] == [
        ("visits", 1, 1),
        ("gauge_checks", 1, 1),
        ("tip_runs", 2, 2),
        ("findings", 1, 1),
    ]
    with loaded() as session:
        assert session.execute(select(func.count()).select_from(LedgerEntry)).scalar_one() == 1


def test_same_instant_in_another_offset_is_told_as_another_local_time(loaded, amend, network):
    """09:00+01:00 and 10:00+02:00 are one instant; what changes is the site's clock."""
    visit = network.only("visits", visit_ref="V001").change(
        "visits", {}, arrived_at="2023-12-05T10:00+02:00", departed_at="2023-12-05T11:30+02:00"
    )

    result = amend(visit, reason="clock was on another zone")

    assert [list(d.fields) for d in result.differences] == [["visits.utc_offset_minutes"]]
    with loaded() as session:
        assert versions(session, "V001")[1].utc_offset_minutes == 120


def test_day_of_a_visit_is_the_local_one(loaded, amend):
    """00:30 at +13:00 is still the day before in UTC."""
    more = InputFolder().visit("V100", "S01", "2025-05-20")
    more.change(
        "visits", {}, arrived_at="2025-05-20T00:30+13:00", departed_at="2025-05-20T01:30+13:00"
    )

    amend(more)

    with loaded() as session:
        (version,) = versions(session, "V100")
    assert version.visited_on.isoformat() == "2025-05-20"
    assert version.arrived_at.isoformat() == "2025-05-19T11:30:00+00:00"
    assert version.utc_offset_minutes == 780


def test_gathering_keeps_the_order_of_first_mention_and_drops_other_tables():
    rows = {
        "visits": [],
        "tip_runs": [
            {"visit_ref": "B", "serial": "1", "phase": "as_left", "run_number": 1, "tips": 4}
        ],
        "findings": [{"visit_ref": "A", "finding_number": 1, "serial": None}],
        "sites": [{"site_code": "S01"}],
    }

    visits = gather_visits(rows)

    assert list(visits) == ["B", "A"]
    assert visits["B"].row == {}
    assert visits["B"].parts["tip_runs"] == {
        ("1", "as_left", 1): {"serial": "1", "phase": "as_left", "run_number": 1, "tips": 4}
    }


def test_merging_keeps_what_the_newer_does_not_mention():
    old = VisitAggregate({"note": "a", "purpose": "routine"})
    old.parts["tip_runs"] = {("1",): {"tips": 4, "note": "x"}, ("2",): {"tips": 5}}
    new = VisitAggregate({"note": "b"})
    new.parts["tip_runs"] = {("1",): {"tips": 3}, ("3",): {"tips": 6}}

    merged = old.merged(new)

    assert merged.row == {"note": "b", "purpose": "routine"}
    assert merged.parts["tip_runs"] == {
        ("1",): {"tips": 3, "note": "x"},
        ("2",): {"tips": 5},
        ("3",): {"tips": 6},
    }
    assert old.differences(merged) == {
        "visits.note": ("a", "b"),
        "tip_runs[1].tips": (4, 3),
        "tip_runs[3].tips": (None, 6),
    }


def test_local_day_comes_from_the_clock_on_site():
    row = with_local_day({"arrived_at": NOW.replace(hour=23)})

    assert (row["visited_on"].isoformat(), row["utc_offset_minutes"]) == ("2025-06-02", 0)

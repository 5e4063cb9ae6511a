"""Loading input files: whole or not at all, twice without effect, changes told and kept."""

from __future__ import annotations

from datetime import date
from functools import partial

import pytest
from sqlalchemy import func, select

from fleet.errors import ConflictError, InputError
from fleet.ingest.batch import Batch
from fleet.ingest.draft import Row
from fleet.services.known_codes import RecordsKnown
from fleet.services.load_network import load_network, write_batch
from fleet.services.record_map import ANCHORS
from fleet.store.journal import Wish
from fleet.store.migrate import upgrade
from fleet.store.models.instrument import Installation
from fleet.store.models.ledger import LedgerChange, LedgerEntry
from fleet.store.models.site import Site, SiteVersion
from fleet.store.queries.gauge import installed_gauges
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import holds, sites
from fleet.store.session import make_engine, make_sessions
from fleet.store.verify import verify_ledger
from tests.factories import TODAY, InputFolder

READ = {
    "depots": 2,
    "closures": 1,
    "technicians": 3,
    "skills": 2,
    "absences": 1,
    "bases": 1,
    "nights_out": 1,
    "gauge_types": 2,
    "sites": 6,
    "access_rules": 1,
    "instruments": 9,
    "installations": 8,
    "policies": 3,
    "devices": 3,
    "certificates": 3,
    "visits": 15,
    "gauge_checks": 17,
    "tip_runs": 56,
    "switch_readings": 4,
    "findings": 3,
    "daily_totals": 4,
    "follow_ups": 2,
    "holds": 1,
}


def entries(sessions) -> list[LedgerEntry]:
    with sessions() as session:
        return list(session.execute(select(LedgerEntry).order_by(LedgerEntry.id)).scalars())


def count(sessions, model: type) -> int:
    with sessions() as session:
        return session.execute(select(func.count()).select_from(model)).scalar_one()


def counts(result) -> dict[str, tuple[int, int, int, int]]:
    return {c.table: (c.read, c.added, c.changed, c.unchanged) for c in result.counts}


def test_first_load_adds_every_row_in_one_entry(network, load, sessions):
    result = load(network, reason="first load")

    assert counts(result) == {table: (rows, rows, 0, 0) for table, rows in READ.items()}
    assert result.differences == ()
    assert len(result.visits_written) == 15
    assert result.changed_anything
    (entry,) = entries(sessions)
    assert (entry.actor, entry.action, entry.reason) == ("tester", "network load", "first load")


def test_same_load_again_changes_nothing(network, load, sessions, clock):
    load(network)
    clock.move(days=1)

    result = load(network)

    assert counts(result) == {table: (rows, 0, 0, rows) for table, rows in READ.items()}
    assert (result.differences, result.visits_written, result.reconnections) == ((), (), ())
    assert not result.changed_anything
    assert len(entries(sessions)) == 1


def test_dry_run_tells_what_would_be_and_leaves_nothing(network, load, sessions):
    result = load(network, dry_run=True)

    assert result.dry_run
    assert counts(result)["visits"] == (15, 15, 0, 0)
    assert [r.follow_up_ref for r in result.reconnections] == ["reconnect:V015:A-031"]
    assert entries(sessions) == []
    assert count(sessions, Site) == 0


def test_changed_row_is_refused_without_a_reason_and_told_old_and_new(loaded, amend, network):
    change = network.only("sites", site_code="S01").change(
        "sites", {}, importance=3, contact="bell"
    )

    with pytest.raises(ConflictError) as caught:
        amend(change)

    assert str(caught.value) == (
        "1 row(s) differ from the records; nothing was written. Give a reason to amend them with "
        "--reason, or look first with --dry-run.\n"
        "sites S01: importance 1.0 -> 3.0, contact blank -> bell"
    )
    assert len(entries(loaded)) == 1
    assert count(loaded, SiteVersion) == 6


def test_blank_reason_is_no_reason(amend, network):
    change = network.only("sites", site_code="S01").change("sites", {}, importance=3)

    with pytest.raises(ConflictError, match="Give a reason"):
        amend(change, reason="   ")


def test_changed_row_is_written_with_a_reason_and_the_old_one_stays(loaded, amend, network):
    change = network.only("sites").change("sites", {"site_code": "S01"}, importance=3)

    result = amend(change, reason="busier road")

    assert counts(result) == {"sites": (6, 0, 1, 5)}
    (difference,) = result.differences
    assert (difference.table, difference.key) == ("sites", "S01")
    assert difference.fields == {"importance": (1.0, 3.0)}
    with loaded() as session:
        kept = session.execute(
            select(SiteVersion.importance, SiteVersion.entry_id, SiteVersion.closing_entry_id)
            .join(Site, Site.id == SiteVersion.site_id)
            .where(Site.code == "S01")
            .order_by(SiteVersion.id)
        ).all()
    assert kept == [(1.0, 1, 2), (3.0, 2, None)]
    assert entries(loaded)[1].reason == "busier road"


def test_dry_run_of_a_change_needs_no_reason(loaded, amend, network):
    change = network.only("sites", site_code="S01").change("sites", {}, importance=3)

    result = amend(change, dry_run=True)

    assert [str(difference) for difference in result.differences] == [
        "sites S01: importance 1.0 -> 3.0"
    ]
    assert len(entries(loaded)) == 1


def test_change_back_is_a_third_version(loaded, amend, network, clock):
    site = network.only("sites", site_code="S01")
    amend(site.copy().change("sites", {}, importance=3), reason="busier")
    clock.move(days=1)
    amend(site, reason="was a mistake")

    with loaded() as session:
        values = session.execute(
            select(SiteVersion.importance).where(SiteVersion.site_id == 1).order_by(SiteVersion.id)
        ).scalars()
        assert list(values) == [1.0, 3.0, 1.0]
        assert verify_ledger(session) == []


def test_many_differences_are_cut_off_and_counted(amend, network):
    for number in range(25):
        network.add("closures", depot_code="SOUTH", day=date(2025, 6, number + 1), name="a")
    closures = network.only("closures", depot_code="SOUTH")
    amend(closures)

    with pytest.raises(ConflictError) as caught:
        amend(closures.change("closures", {}, name="b"))

    lines = str(caught.value).splitlines()
    assert lines[0].startswith("25 row(s) differ")
    assert lines[1] == "closures SOUTH 2025-06-01: name a -> b"
    assert len(lines) == 22
    assert lines[-1] == "... and 5 more."


@pytest.mark.parametrize(
    ("table", "key", "change"),
    [
        ("depots", {"depot_code": "NORTH"}, {"name": "Vellmora Quay"}),
        ("closures", {"depot_code": "NORTH"}, {"name": "inventory"}),
        ("technicians", {"technician_code": "T01"}, {"weekdays": "mon tue"}),
        ("skills", {"technician_code": "T01"}, {"valid_until": "2025-12-31"}),
        ("absences", {"technician_code": "T02"}, {"last_day": "2025-06-05"}),
        ("gauge_types", {"type_code": "TB05"}, {"orifice_area_cm2": 401}),
        ("sites", {"site_code": "S03"}, {"required_skill": None}),
        ("access_rules", {"site_code": "S04"}, {"closes": "16:00"}),
        ("instruments", {"serial": "00419"}, {"status": "spare"}),
        ("installations", {"serial": "00418"}, {"loop_ohm": 1.1}),
        ("policies", {"scope": "type"}, {"as_found_high_tips": 42}),
        ("devices", {"device_code": "D01"}, {"serial": "K-9"}),
        ("certificates", {"device_code": "D01"}, {"expanded_uncertainty_ml": 3}),
        ("visits", {"visit_ref": "V001"}, {"note": "windy"}),
        ("gauge_checks", {"visit_ref": "V001"}, {"level_left": "in_ring"}),
        ("switch_readings", {"visit_ref": "V008"}, {"value": 3.6}),
        ("findings", {"visit_ref": "V015"}, {"action": "reported"}),
        ("daily_totals", {"day": "2025-05-03"}, {"total_mm": 1.5}),
        ("follow_ups", {"follow_up_ref": "F001"}, {"severity": "soon"}),
        ("holds", {"site_code": "S06"}, {"reason": "asked for"}),
    ],
)
def test_change_in_any_table_is_told_written_and_then_known(
    loaded, amend, network, table, key, change
):
    folder = network.only(table, **key).change(table, {}, **change)

    first = amend(folder, reason="put right")
    again = amend(folder)

    (difference,) = first.differences
    assert [name.rpartition(".")[2] for name in difference.fields] == list(change)
    assert counts(first)[table] == (1, 0, 1, 0)
    assert counts(again)[table] == (1, 0, 0, 1)
    assert len(entries(loaded)) == 2
    with loaded() as session:
        assert verify_ledger(session) == []


def test_bad_input_writes_nothing_and_names_every_problem(network, load, sessions):
    network.change("sites", {"site_code": "S02"}, latitude_deg="45,02")
    network.change("tip_runs", {"visit_ref": "V001", "phase": "as_left"}, serial="99999")

    with pytest.raises(InputError) as caught:
        load(network)

    files = {problem.file for problem in caught.value.problems}
    assert files == {"sites.csv", "tip_runs.csv"}
    assert "nothing was written" in str(caught.value)
    assert count(sessions, Site) == 0


def test_visit_of_tomorrow_is_refused(network, load):
    network.visit("V100", "S01", "2025-06-03")

    with pytest.raises(InputError, match=r"visits\.csv row 17, column arrived_at"):
        load(network)


def test_overlap_with_a_kept_installation_is_told_before_writing(loaded, amend):
    more = InputFolder()
    place = {"position": "x", "serial": "A-040"}
    more.add("installations", site_code="S01", installed_on="2024-01-01", **place)
    more.add("installations", site_code="S02", installed_on="2024-01-02", **place)

    with pytest.raises(InputError, match="overlaps this row"):
        amend(more)

    assert count(loaded, Installation) == 8


def test_rows_that_only_the_database_refuses_are_told_and_nothing_is_written(loaded, clock):
    """As when somebody else wrote between the checking and the writing."""
    row = {"site_code": "S01", "position": "main", "installed_on": date(2025, 1, 1)}
    values = {**row, "serial": "A-040", "removed_on": None, "loop_ohm": None}
    batch = Batch(rows={"installations": [Row(2, values)]})
    wish = Wish("tester", "network load", "")

    with pytest.raises(ConflictError, match="records refuse these rows, nothing was written"):
        write_batch(loaded, batch, wish, clock=clock)

    assert count(loaded, Installation) == 8
    assert len(entries(loaded)) == 1


def test_instruments_are_exchanged_between_two_places_in_one_load(loaded, amend, network):
    """00417 and 00418 were written down the wrong way round: both rows change at once."""
    change = network.only("installations")
    change.change("installations", {"site_code": "S01"}, serial="00418")
    change.change("installations", {"site_code": "S02", "position": "main"}, serial="00417")

    result = amend(change, reason="serials were mixed up")

    assert [str(difference) for difference in result.differences] == [
        "installations S01 main 2023-06-01: serial 00417 -> 00418",
        "installations S02 main 2023-06-01: serial 00418 -> 00417",
    ]
    with loaded() as session:
        places = {g.gauge.serial: g.gauge.site_code for g in installed_gauges(session, as_of=TODAY)}
    assert (places["00418"], places["00417"]) == ("S01", "S02")


def test_swap_closes_one_installation_and_begins_another_on_the_same_day(loaded, amend, network):
    change = network.only("installations", site_code="S01")
    change.change("installations", {}, removed_on="2025-05-20")
    change.add(
        "installations", site_code="S01", position="main", installed_on="2025-05-20", serial="A-040"
    )

    amend(change, reason="swapped in May")

    with loaded() as session:
        before, after = (
            installed_gauges(session, as_of=day, site_codes=["S01"])[0].gauge.serial
            for day in (date(2025, 5, 19), date(2025, 5, 20))
        )
    assert (before, after) == ("00417", "A-040")


def test_serial_with_leading_zeros_is_another_than_without(loaded, amend, network):
    network.add("instruments", serial="417", type_code="TB05", status="spare")

    result = amend(network.only("instruments"))

    assert counts(result)["instruments"] == (10, 1, 0, 9)


def test_text_of_any_script_and_with_sql_in_it_is_kept_as_it_is(loaded, amend, network):
    name = "麻野台 'x'); DROP TABLE site; -- Þ\u202f½"
    amend(network.only("sites", site_code="S05").change("sites", {}, name=name), reason="renamed")

    with loaded() as session:
        assert sites(session)["S05"].name == name


def test_folder_with_a_single_table_leaves_the_rest_alone(loaded, amend, network):
    network.add(
        "holds",
        site_code="S02",
        kind="not_this_week",
        first_day="2025-06-02",
        last_day="2025-06-08",
        reason="road closed",
    )

    result = amend(network.only("holds"))

    assert counts(result) == {"holds": (2, 1, 0, 1)}
    with loaded() as session:
        assert {h.site_code for h in holds(session, TODAY, TODAY)} == {"S02", "S06"}


def test_known_codes_are_those_of_the_current_records(loaded, amend, network):
    amend(
        network.only("installations", serial="00419").change(
            "installations", {}, removed_on="2024-09-09"
        ),
        reason="a day earlier",
    )

    with loaded() as session:
        known = RecordsKnown(session)(["V003", "V999"])

    assert {("00417",), ("A-040",)} <= known.keys["instruments"]
    assert set(ANCHORS) <= set(known.keys)
    assert ("V003", "00417") in known.keys["gauge_checks"]
    assert ("V003", "00417", "as_found", 2) in known.keys["tip_runs"]
    assert ("network", None, date(2025, 1, 1)) in known.keys["policies"]
    spans = [
        (s.site_code, s.serial, s.removed_on) for s in known.installations if s.site_code == "S03"
    ]
    assert spans == [("S03", "00419", date(2024, 9, 9)), ("S03", "00420", None)]
    assert len(known.installations) == 8


def test_every_change_of_a_load_stands_in_the_ledger(loaded, amend, network):
    change = network.only("sites").change("sites", {"site_code": "S01"}, importance=3)
    amend(change, reason="busier road")

    with loaded() as session:
        rows = session.execute(
            select(LedgerChange.kind, LedgerChange.table_name, LedgerChange.row_key)
            .where(LedgerChange.entry_id == 2)
            .order_by(LedgerChange.number)
        ).all()
    assert rows == [("superseded", "site_version", "S01"), ("added", "site_version", None)]


def test_load_in_shares_keeps_the_same_records(network, sessions, tmp_path, clock):
    """The rows of each table, without ids and stamps, are those of a load as one whole."""
    wish = Wish("tester", "network load", "first load")
    folder = network.write(tmp_path / "in")
    load = partial(load_network, path=folder, wish=wish, clock=clock, today=TODAY)
    engine = make_engine(f"sqlite:///{tmp_path / 'whole.sqlite'}")
    upgrade(engine)

    shared = load(sessions, share_bytes=300)
    whole = load(make_sessions(engine))

    assert counts(shared) == counts(whole)
    assert set(shared.visits_written) == set(whole.visits_written)
    assert shared.reconnections == whole.reconnections
    with sessions() as one, make_sessions(engine)() as other:
        assert gauge_histories(one, as_of=TODAY) == gauge_histories(other, as_of=TODAY)
        assert verify_ledger(one) == []
    assert len(entries(sessions)) == 1
    engine.dispose()


def test_load_in_shares_writes_nothing_when_the_last_has_a_problem(
    network, sessions, tmp_path, clock
):
    network.change("follow_ups", {}, raised_by_visit="V777")
    folder = network.write(tmp_path / "in")
    wish = Wish("tester", "network load", "first load")

    with pytest.raises(InputError, match="V777"):
        load_network(sessions, folder, wish, clock=clock, today=TODAY, share_bytes=300)

    assert entries(sessions) == []
    assert count(sessions, Site) == 0


def test_load_in_shares_twice_changes_nothing(network, sessions, tmp_path, clock):
    folder = network.write(tmp_path / "in")
    wish = Wish("tester", "network load", "first load")
    load = partial(load_network, sessions, folder, wish, clock=clock, today=TODAY, share_bytes=300)
    load()

    again = load()

    assert not again.changed_anything
    assert len(entries(sessions)) == 1

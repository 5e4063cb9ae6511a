"""Making the visit form from the records: which sheets, which gauges, which bands."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.domain.code import DeviceKind
from fleet.errors import ConflictError, NotFoundError
from fleet.services.visit_form import (
    form_for_gauges,
    site_sheet,
    write_round_form,
    write_site_form,
)
from fleet.store.queries.gauge import installed_gauges
from tests.factories import TODAY
from tests.hand_round import keep_round


def test_site_sheet_shows_the_policy_in_force_on_the_day(loaded):
    # TB05: explicit band 37 to 43; as left 5 % until 2024-12-31, 3 % from 2025-01-01
    before = site_sheet(loaded, "S01", on=date(2024, 12, 31)).gauges[0]
    after = site_sheet(loaded, "S01", on=date(2025, 1, 1)).gauges[0]

    assert (after.as_found.band.low, after.as_found.band.high) == (37, 43)
    assert (before.as_left.band.low, before.as_left.band.high) == (38, 42)
    assert (after.as_left.band.low, after.as_left.band.high) == (39, 41)
    assert (after.expected_tips, after.tip_ml, after.as_left.minimum_runs) == (40.0, 20.0, 2)


def test_site_sheet_names_the_gauge_of_that_day(loaded):
    # 00420 took the place of 00419 on 2024-09-10
    before = site_sheet(loaded, "S03", on=date(2024, 9, 9))
    after = site_sheet(loaded, "S03", on=date(2024, 9, 10))

    assert [gauge.serial for gauge in before.gauges] == ["00419"]
    assert [gauge.serial for gauge in after.gauges] == ["00420"]


def test_site_sheet_shows_what_waits_and_how_to_get_in(loaded):
    closed_way = site_sheet(loaded, "S04", on=TODAY)
    ringing = site_sheet(loaded, "S05", on=TODAY)

    assert closed_way.follow_ups[0].startswith("urgent A-031: Visit V015 does not prove")
    assert "09:00" in closed_way.access_notes
    assert ringing.access_notes.startswith("RING FIRST: gate, 09-17 h")


def test_form_brings_the_people_of_the_depots_and_the_devices(loaded, tmp_path):
    form = write_site_form(loaded, ["S04"], tmp_path / "form.xlsx", on=TODAY)

    assert form.technicians == (("T03", "Beryn Osk"),)
    bottle = form.devices[0]
    assert (bottle.code, bottle.kind, bottle.volume_ml) == ("D01", DeviceKind.VOLUMETRIC, 800.0)
    assert bottle.valid_until == date(2026, 12, 31)
    assert (tmp_path / "form.xlsx").is_file()


def test_form_of_gauges_has_a_sheet_a_site_in_their_order(loaded):
    with loaded() as session:
        gauges = installed_gauges(session, as_of=TODAY, site_codes=["S01", "S02"])
        form = form_for_gauges(session, gauges[::-1], title="back", on=TODAY)

    assert [sheet.site_code for sheet in form.sheets] == ["S02", "S01"]
    assert [gauge.serial for gauge in form.sheets[0].gauges] == ["00523", "00418"]


def test_form_of_no_or_unknown_sites_is_refused(loaded, tmp_path):
    path = tmp_path / "form.xlsx"

    with pytest.raises(ConflictError, match="at least one site"):
        write_site_form(loaded, [], path, on=TODAY)
    with pytest.raises(NotFoundError, match="no site S98, S99"):
        write_site_form(loaded, ["S98", "S01", "S99"], path, on=TODAY)
    assert not path.exists()


@pytest.fixture
def round_ref(loaded, clock) -> str:
    return keep_round(loaded, clock)


def test_round_form_has_its_stops_as_they_are_driven(loaded, round_ref, tmp_path):
    form = write_round_form(loaded, round_ref, tmp_path / "form.xlsx", on=TODAY)

    stops = [(sheet.site_code, sheet.planned_on) for sheet in form.sheets]
    assert stops == [
        ("S02", date(2025, 6, 3)),
        ("S01", date(2025, 6, 3)),
        ("S03", date(2025, 6, 4)),
    ]
    assert form.title == "round 2025-W23-NORTH version 1"


def test_round_form_of_a_technician_has_the_own_days_alone(loaded, round_ref, tmp_path):
    path = tmp_path / "form.xlsx"

    form = write_round_form(loaded, round_ref, path, on=TODAY, technician_code="T02")

    assert [sheet.site_code for sheet in form.sheets] == ["S03"]
    with pytest.raises(NotFoundError, match="has no stop for T03"):
        write_round_form(loaded, round_ref, path, on=TODAY, technician_code="T03")


def test_round_form_from_the_command_line_names_the_planned_day(
    fleet, loaded, loaded_settings, round_ref, tmp_path
):
    from python_calamine import CalamineWorkbook

    path = tmp_path / "form.xlsx"
    ran = fleet("visit", "form", round_ref, "--output", path, db=loaded_settings.database_url)

    assert ran.exit_code == 0, ran.stderr
    rows = CalamineWorkbook.from_path(str(path)).get_sheet_by_name("1 S02").to_python()
    assert "Planned for Tue 2025-06-03." in str(rows[1][1])

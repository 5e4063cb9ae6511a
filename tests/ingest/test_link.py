"""Keys that stand twice, and references: to the batch, to the records, to nobody."""

import pytest

from fleet.domain.code import Phase
from fleet.ingest.known import InstallationSpan, KnownCodes
from fleet.ingest.nearest import SUGGESTION_BUDGET, Suggester, did_you_mean
from tests.factories import InputFolder

REFERENCES = [
    ("closures", {}, "depot_code", "depots"),
    ("technicians", {"technician_code": "T01"}, "depot_code", "depots"),
    ("skills", {"technician_code": "T01"}, "technician_code", "technicians"),
    ("absences", {}, "technician_code", "technicians"),
    ("sites", {"site_code": "S01"}, "depot_code", "depots"),
    ("access_rules", {}, "site_code", "sites"),
    ("instruments", {"serial": "00417"}, "type_code", "gauge_types"),
    ("installations", {"serial": "A-033"}, "site_code", "sites"),
    ("installations", {"serial": "A-033"}, "serial", "instruments"),
    ("certificates", {"device_code": "D01"}, "device_code", "devices"),
    ("visits", {"visit_ref": "V001"}, "site_code", "sites"),
    ("visits", {"visit_ref": "V001"}, "technician_codes", "technicians"),
    (
        "tip_runs",
        {"visit_ref": "V001", "phase": "as_found", "run_number": 1},
        "device_code",
        "devices",
    ),
    ("switch_readings", {"visit_ref": "V003"}, "device_code", "devices"),
    ("findings", {"visit_ref": "V010"}, "visit_ref", "visits"),
    ("findings", {"visit_ref": "V010"}, "serial", "instruments"),
    ("follow_ups", {"follow_up_ref": "F001"}, "site_code", "sites"),
    ("follow_ups", {"follow_up_ref": "F001"}, "serial", "instruments"),
    ("follow_ups", {"follow_up_ref": "F001"}, "raised_by_visit", "visits"),
    ("follow_ups", {"follow_up_ref": "F002"}, "closed_by_visit", "visits"),
    ("holds", {}, "site_code", "sites"),
]


@pytest.mark.parametrize(("table", "where", "column", "target"), REFERENCES)
def test_unknown_code_is_told_alone_at_its_cell(problems, network, table, where, column, target):
    network.change(table, where, **{column: "zzzzzz"})

    (told,) = problems(network)

    assert told.startswith(f"{table}.csv row ")
    assert told.endswith(
        f", column {column}: 'zzzzzz' found; neither the files nor the records have it in {target}"
    )


def test_unknown_code_is_told_with_the_nearest_of_the_files(problems, network):
    network.change("instruments", {"serial": "00417"}, type_code="TB5")

    assert problems(network) == [
        "instruments.csv row 2, column type_code: 'TB5' found; neither the files nor the records "
        "have it in gauge_types (did you mean 'TB05'?)"
    ]


def test_unknown_code_is_told_with_the_nearest_of_the_records(problems, network):
    known = KnownCodes(keys={"depots": frozenset({("WESTERN",)})})
    network.change("sites", {"site_code": "S01"}, depot_code="WESTRN")

    assert problems(network, known=known) == [
        "sites.csv row 2, column depot_code: 'WESTRN' found; neither the files nor the records "
        "have it in depots (did you mean 'WESTERN'?)"
    ]


def test_every_code_of_a_list_is_looked_up(problems, network):
    network.change("visits", {"visit_ref": "V006"}, technician_codes="T01 T22")

    assert problems(network) == [
        "visits.csv row 7, column technician_codes: 'T22' found; neither the files nor the "
        "records have it in technicians (did you mean 'T02'?)"
    ]


def test_codes_of_the_records_are_accepted(problems, network):
    known = KnownCodes(
        keys={
            "sites": frozenset({("S05",)}),
            "technicians": frozenset({("T03",)}),
            "instruments": frozenset({("A-032",)}),
            "devices": frozenset({("D02",), ("D03",)}),
        }
    )
    visit = network.only("visits", "gauge_checks", "tip_runs", visit_ref="V011")

    assert problems(visit, known=known) == []
    assert len(problems(visit)) == 2 + 1 + 4 + 4


def test_run_without_its_check_is_told(problems, network):
    network.change("gauge_checks", {"visit_ref": "V001"}, serial="A-040")

    told = problems(network)

    assert told == [
        f"tip_runs.csv row {row}, column visit_ref, serial: 'V001 00417' found; no gauge_checks "
        "row has this instrument in this visit"
        for row in (2, 3, 4, 5)
    ]


def test_reading_without_its_check_is_told(problems, network):
    network.reading("V012", "A-032", "as_left", value=0.5)

    assert problems(network) == [
        "switch_readings.csv row 6, column visit_ref, serial: 'V012 A-032' found; no gauge_checks "
        "row has this instrument in this visit"
    ]


def test_run_of_a_check_in_the_records_is_accepted(problems, network):
    runs = network.only("tip_runs", visit_ref="V001")
    keys = {
        "visits": frozenset({("V001",)}),
        "instruments": frozenset({("00417",)}),
        "devices": frozenset({("D01",)}),
    }
    check = frozenset({("V001", "00417")})

    assert problems(runs, known=KnownCodes(keys={**keys, "gauge_checks": check})) == []
    assert len(problems(runs, known=KnownCodes(keys=keys))) == 4


def test_unknown_visit_is_told_once_and_not_as_a_missing_check_too(problems, network):
    network.run("V999", "00417", "as_left", 1, tips=40)

    assert [text for text in problems(network) if "row 58" in text] == [
        "tip_runs.csv row 58, column visit_ref: 'V999' found; neither the files nor the records "
        "have it in visits"
    ]


def test_total_at_a_position_without_instrument_is_told(problems, network):
    network.change("daily_totals", {"day": "2025-05-01"}, position="mian")

    assert problems(network) == [
        "daily_totals.csv row 2, column site_code, position: 'S01 mian' found; no installations "
        "row has this position at this site"
    ]


def test_total_at_a_position_of_the_records_is_accepted(problems, network, today):
    totals = network.only("daily_totals", site_code="S01")
    span = InstallationSpan("S01", "main", today, "00417", None)
    known = KnownCodes(keys={"sites": frozenset({("S01",)})}, installations=[span])

    assert problems(totals, known=known) == []


@pytest.mark.parametrize(
    ("table", "where", "column", "value"),
    [
        ("instruments", {"serial": "00417"}, "serial", "00417"),
        ("closures", {}, "depot_code, day", "NORTH 2025-06-06"),
        (
            "installations",
            {"serial": "A-033"},
            "site_code, position, installed_on",
            "S06 main 2024-10-01",
        ),
        (
            "policies",
            {"valid_from": "2025-01-01"},
            "scope, scope_code, valid_from",
            "network 2025-01-01",
        ),
        (
            "switch_readings",
            {"visit_ref": "V003"},
            "visit_ref, serial, phase, kind",
            "V003 00417 as_left closed_ohm",
        ),
    ],
)
def test_key_that_stands_twice_is_told(problems, network, table, where, column, value):
    row = network.rows(table, **where)[0]
    first = network.tables[table].index(row) + 2
    last = len(network.tables[table]) + 2
    network.add(table, **row)

    assert problems(network) == [
        f"{table}.csv row {last}, column {column}: '{value}' found; row {first} has the same; "
        "each may stand there once"
    ]


def test_leading_zeros_make_another_key(problems, network):
    network.add("instruments", serial="417", type_code="TB05", status="spare")

    assert problems(network) == []


def test_wrong_key_is_told_without_blaming_the_rows_that_refer_to_it(problems, network):
    network.change("sites", {"site_code": "S01"}, site_code="S01 ")

    assert problems(network) == [
        "sites.csv row 2, column site_code: 'S01 ' found; blanks before or after the value; "
        "write 'S01'"
    ]


def test_other_wrong_cells_do_not_hide_a_row_from_references(problems, network):
    network.change("sites", {"site_code": "S01"}, latitude_deg="44,95")

    assert problems(network) == [
        "sites.csv row 2, column latitude_deg: '44,95' found; decimal comma; write 44.95"
    ]


def test_table_that_could_not_be_seen_whole_is_not_searched(problems, network, tmp_path):
    folder = network.write(tmp_path / "network")
    path = folder / "sites.csv"
    path.write_text(path.read_text(encoding="utf-8") + "S07,short\n", encoding="utf-8")
    network.change("visits", {"visit_ref": "V001"}, site_code="S07")
    (folder / "visits.csv").write_bytes((network.write(tmp_path / "n") / "visits.csv").read_bytes())

    assert problems(folder) == ["sites.csv row 8: 2 cells where the header has 15"]


def test_did_you_mean_passes_over_case_and_blanks():
    assert did_you_mean(" S01", ["s01", "s02"]) == " (did you mean 's01'?)"
    assert did_you_mean("zzz", ["s01"]) == ""


def test_suggester_stops_when_its_budget_is_spent():
    suggest = Suggester([f"S{number:04d}" for number in range(500)])

    answers = [suggest(f"T{number:04d}") for number in range(SUGGESTION_BUDGET + 1)]

    assert answers[0] == " (did you mean 'S0000'?)"
    assert answers[-1] == ""
    assert suggest("T0000") == " (did you mean 'S0000'?)"


def test_known_keys_are_typed_values(read, network):
    batch = read(network)

    assert batch.rows["tip_runs"][0].values["phase"] is Phase.AS_FOUND
    assert batch.rows["tip_runs"][0].values["run_number"] == 1


def test_rows_alone_need_no_files(read):
    assert read(InputFolder({"depots": []}).add("depots", depot_code="N", name="N")).problems != []

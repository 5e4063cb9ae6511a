"""What must hold between rows, in the batch and against the records."""

from datetime import date

import pytest

from fleet.domain.code import Phase, PolicyScope
from fleet.ingest.known import InstallationSpan, KnownCodes

REMOVED = date(2024, 9, 10)


def span(site="S01", position="main", since="2023-06-01", serial="00417", until=None):
    end = None if until is None else date.fromisoformat(until)
    return InstallationSpan(site, position, date.fromisoformat(since), serial, end)


@pytest.mark.parametrize(
    ("one", "other", "overlap"),
    [
        (span(until="2024-01-01"), span(since="2024-01-01"), False),
        (span(until="2024-01-02"), span(since="2024-01-01"), True),
        (span(), span(since="2024-01-01"), True),
        (span(until="2024-01-01"), span(since="2023-01-01", until="2023-06-01"), False),
        (span(), span(), True),
    ],
)
def test_overlaps_does_not_count_the_day_of_removal(one, other, overlap):
    assert one.overlaps(other) is overlap
    assert other.overlaps(one) is overlap


def test_instrument_in_two_places_is_told(problems, network):
    network.change("installations", {"serial": "A-033"}, serial="00417")

    assert problems(network) == [
        "installations.csv row 9, column serial: '00417' found; it stands at S01 main "
        "from 2023-06-01, which overlaps this row, from 2024-10-01"
    ]


def test_position_with_two_instruments_is_told(problems, network):
    network.change("installations", {"serial": "00420"}, installed_on="2024-09-09")

    assert problems(network) == [
        "installations.csv row 6, column position: 'main' found; 00419 stands there "
        "from 2023-06-01 until 2024-09-10, which overlaps this row, from 2024-09-09"
    ]


def test_every_span_that_overlaps_an_earlier_one_is_told(problems, network):
    for day in ("2024-01-01", "2024-02-01"):
        network.add(
            "installations",
            site_code="S01",
            position="main",
            installed_on=day,
            serial="A-040",
            removed_on=f"{day[:8]}02",
        )

    assert [text.split(":")[0] for text in problems(network)] == [
        "installations.csv row 10, column position",
        "installations.csv row 11, column position",
    ]


def test_instrument_that_stands_elsewhere_in_the_records_is_told(problems, network):
    known = KnownCodes(installations=[span("S09", "roof", "2024-01-01", "A-033")])

    assert problems(network, known=known) == [
        "installations.csv row 9, column serial: 'A-033' found; it stands at S09 roof "
        "from 2024-01-01, which overlaps this row, from 2024-10-01"
    ]


def test_later_span_of_the_records_is_told_at_the_row(problems, network):
    known = KnownCodes(installations=[span("S09", "roof", "2025-01-01", "A-033")])

    assert problems(network, known=known) == [
        "installations.csv row 9, column serial: 'A-033' found; it stands at S09 roof "
        "from 2025-01-01, which overlaps this row, from 2024-10-01"
    ]


def test_span_takes_the_place_of_the_one_in_the_records(problems, network):
    known = KnownCodes(
        installations=[span("S03", "main", "2023-06-01", "00419"), span("S06", since="2024-10-01")]
    )

    assert problems(network, known=known) == []


def test_overlaps_of_the_records_alone_are_not_told(problems, network):
    known = KnownCodes(installations=[span("S09"), span("S08")])
    network.drop("installations", serial="00417").drop("daily_totals", site_code="S01")

    assert problems(network, known=known) == []


def test_first_network_policy_must_be_complete(problems, network):
    network.change(
        "policies", {"valid_from": "2025-01-01"}, target_reliability="", decision_rule=""
    )

    assert problems(network) == [
        "policies.csv row 3, column decision_rule: a value is required: there is nothing wider to "
        "inherit it from",
        "policies.csv row 3, column target_reliability: a value is required: there is nothing "
        "wider to inherit it from",
    ]


def test_later_network_policy_may_leave_terms_empty(problems, network):
    key = (PolicyScope.NETWORK, None, date(2020, 1, 1))
    network.change("policies", {"valid_from": "2025-01-01"}, target_reliability="")

    assert problems(network, known=KnownCodes(keys={"policies": frozenset({key})})) == []


def test_network_policy_loaded_again_does_not_count_as_another(problems, network):
    key = (PolicyScope.NETWORK, None, date(2025, 1, 1))
    network.drop("policies", valid_from="2023-01-01")
    network.change("policies", {"valid_from": "2025-01-01"}, target_reliability="")

    assert len(problems(network, known=KnownCodes(keys={"policies": frozenset({key})}))) == 1


def test_policy_of_an_unknown_type_or_site_is_told(problems, network):
    network.change("policies", {"scope": "type"}, scope_code="TB5")

    assert problems(network) == [
        "policies.csv row 4, column scope_code: 'TB5' found; neither the files nor the records "
        "have it in gauge_types (did you mean 'TB05'?)"
    ]


def test_policy_looks_its_code_up_by_scope(problems, network):
    network.change("policies", {"scope": "type"}, scope="site", scope_code="S02")
    assert problems(network) == []

    network.change("policies", {"scope": "site"}, scope_code="TB05")
    assert problems(network) == [
        "policies.csv row 4, column scope_code: 'TB05' found; neither the files nor the records "
        "have it in sites"
    ]


def test_gauge_isolated_on_another_day_is_told(problems, network):
    network.change(
        "gauge_checks",
        {"visit_ref": "V001"},
        isolated_at="2023-12-04T20:59+01:00",
        restored_at="2023-12-05T22:31+01:00",
    )

    assert problems(network) == [
        "gauge_checks.csv row 2, column isolated_at: '2023-12-04T20:59:00+01:00' found; more than "
        "12 hours outside the visit, 2023-12-05T09:00:00+01:00 to 2023-12-05T10:30:00+01:00",
        "gauge_checks.csv row 2, column restored_at: '2023-12-05T22:31:00+01:00' found; more than "
        "12 hours outside the visit, 2023-12-05T09:00:00+01:00 to 2023-12-05T10:30:00+01:00",
    ]


def test_gauge_isolated_within_the_margin_is_accepted(problems, network):
    network.change(
        "gauge_checks",
        {"visit_ref": "V001"},
        isolated_at="2023-12-04T21:00+01:00",
        restored_at="2023-12-05T22:30+01:00",
    )

    assert problems(network) == []


def test_gap_in_the_runs_of_a_phase_is_told_once(problems, network):
    network.change(
        "tip_runs", {"visit_ref": "V001", "phase": "as_left", "run_number": 2}, run_number=3
    )

    assert problems(network) == [
        "tip_runs.csv row 4, column run_number: runs 1, 3 of V001 00417 as_left; the runs of a "
        "phase count 1, 2, 3 without a gap"
    ]


def test_runs_of_the_records_fill_the_gap(problems, network):
    runs = network.only("tip_runs", visit_ref="V001", run_number=2)
    keys = {
        "visits": frozenset({("V001",)}),
        "instruments": frozenset({("00417",)}),
        "devices": frozenset({("D01",)}),
        "gauge_checks": frozenset({("V001", "00417")}),
    }
    kept = frozenset({("V001", "00417", phase, 1) for phase in Phase})

    assert problems(runs, known=KnownCodes(keys={**keys, "tip_runs": kept})) == []
    assert len(problems(runs, known=KnownCodes(keys=keys))) == 2


def test_gap_is_not_told_where_a_run_could_not_be_read(problems, network):
    network.change(
        "tip_runs", {"visit_ref": "V001", "phase": "as_left", "run_number": 1}, run_number="one"
    )

    assert problems(network) == [
        "tip_runs.csv row 4, column run_number: 'one' found; a number such as 12.5 is expected"
    ]


def test_span_that_could_not_be_read_is_not_compared(problems, network):
    network.change("installations", {"serial": "00419"}, removed_on="10.9.2024")

    assert problems(network) == [
        "installations.csv row 5, column removed_on: '10.9.2024' found; which is the day and "
        "which the month cannot be told; write year-month-day"
    ]


def test_runs_of_other_phases_in_the_records_do_not_count(problems, network):
    other = frozenset({("V777", "00417", Phase.AS_LEFT, 5)})

    assert problems(network, known=KnownCodes(keys={"tip_runs": other})) == []


def test_span_that_ends_as_it_begins_is_told_only_as_such(problems, network):
    network.change(
        "installations", {"serial": "00420"}, installed_on="2024-09-09", removed_on="2024-09-09"
    )

    assert problems(network) == [
        "installations.csv row 6, column removed_on: '2024-09-09' found; "
        "removed_on must be after installed_on"
    ]

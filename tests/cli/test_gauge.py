"""Ranking and explaining on the command line."""

from __future__ import annotations

import csv
import io
import json

import pytest

from tests.factories import InputFolder

DAY = ("--as-of", "2025-06-02")


@pytest.fixture
def db(loaded_settings):
    return loaded_settings.database_url


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_rank_prints_a_table_for_reading(fleet, db, golden):
    ran = fleet("gauge", "rank", *DAY, "--format", "table", db=db)

    assert (ran.exit_code, ran.stderr) == (0, "")
    golden("rank_table.txt", ran.stdout, near=True)


def test_rank_gives_every_column_as_csv(fleet, db, golden):
    ran = fleet("gauge", "rank", *DAY, "--format", "csv", db=db)

    assert len(rows(ran.stdout)) == 7
    golden("rank.csv", ran.stdout, near=True)


def test_rank_by_site_adds_up_and_names_the_leading_gauge(fleet, db):
    by_site = rows(fleet("gauge", "rank", *DAY, "--by", "site", db=db).stdout)
    by_gauge = rows(fleet("gauge", "rank", *DAY, db=db).stdout)

    site = next(row for row in by_site if row["site_code"] == "S02")
    worth = [float(r["worth_record_days"]) for r in by_gauge if r["site_code"] == "S02"]
    assert float(site["worth_record_days"]) == pytest.approx(sum(worth), abs=0.011)
    assert (site["serials"], site["leading_serial"]) == ("00418 00523", "00418")


@pytest.mark.parametrize(
    ("options", "serials"),
    [
        (("--depot", "NORTH"), ["00418", "00523", "00417", "00420"]),
        (("--type", "TB02"), ["A-031", "00523", "A-032"]),
        (("--depot", "SOUTH", "--driver", "age"), ["A-031", "A-032"]),
        (("--top", "2"), ["A-031", "00418"]),
    ],
)
def test_rank_shows_only_what_is_asked_for(fleet, db, options, serials):
    ran = fleet("gauge", "rank", *DAY, *options, db=db)

    assert [row["serial"] for row in rows(ran.stdout)] == serials


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--depot", "EAST"), "There is no depot 'EAST'. Depots: NORTH, SOUTH."),
        (("--type", "TB9"), "No gauge of type 'TB9' is in service. Types: TB02, TB05."),
    ],
)
def test_rank_by_an_unknown_code_says_what_there_is(fleet, db, options, words):
    ran = fleet("gauge", "rank", *DAY, *options, db=db)

    assert (ran.exit_code, ran.stdout, ran.stderr) == (1, "", f"Error: {words}\n")


def test_rank_on_a_day_before_anything_was_installed_is_empty(fleet, db):
    ran = fleet("gauge", "rank", "--as-of", "2022-12-31", db=db)

    assert (ran.exit_code, rows(ran.stdout)) == (0, [])


def test_rank_as_known_before_an_amendment(fleet, db, amend, network):
    network.change("tip_runs", {"visit_ref": "V005", "phase": "as_left"}, tips="44")
    known = ("--known-on", "2025-06-02T12:00+00:00")
    before = fleet("gauge", "rank", *DAY, db=db).stdout

    amend(network.only("tip_runs", visit_ref="V005"), reason="typed wrongly")

    assert fleet("gauge", "rank", *DAY, *known, db=db).stdout == before
    assert fleet("gauge", "rank", *DAY, db=db).stdout != before


def test_explain_shows_every_number(fleet, db, golden):
    ran = fleet("gauge", "explain", "00418", *DAY, "--format", "table", db=db)

    assert ran.exit_code == 0
    golden("explain_table.txt", ran.stdout, near=True)
    golden("explain_notes.txt", ran.stderr, near=True)


def test_explain_never_claims_certainty(fleet, db):
    ran = fleet("gauge", "explain", "A-031", *DAY, db=db)

    assert "chance that it is unfit now over 99 %." in ran.stderr
    assert "100 %" not in ran.stderr.splitlines()[0]


def test_explain_of_an_unknown_serial_says_where_to_look(fleet, db):
    ran = fleet("gauge", "explain", "0417", *DAY, db=db)

    assert (ran.exit_code, ran.stdout) == (1, "")
    assert ran.stderr == (
        "Error: No gauge with serial '0417' was installed on 2025-06-02. List the serials with: "
        "fleet gauge rank\n"
    )


def test_explain_gives_sound_json(fleet, db):
    ran = fleet("gauge", "explain", "00420", *DAY, "--format", "json", db=db)

    found = {(row["part"], row["name"]): row["value"] for row in json.loads(ran.stdout)}
    assert found["switch", "low"] is None
    assert found["gauge", "site"] == "S03"


def why(fleet, db, serial, part):
    frame = rows(fleet("gauge", "rank", *DAY, db=db).stdout)
    return next(row[f"{part}_evidence"] for row in frame if row["serial"] == serial)


def test_sentences_name_what_the_records_hold(fleet, db):
    assert why(fleet, db, "00417", "age") == (
        "Last serviced on 2025-01-14 (visit V003): 139 days ago, interval 180, not yet due. "
        + why(fleet, db, "00417", "age").split("not yet due. ")[1]
    )
    assert why(fleet, db, "A-033", "age").startswith(
        "No service on record since it was installed on 2024-10-01: 244 days ago, interval 180, "
        "64 days overdue."
    )
    assert why(fleet, db, "A-031", "age").startswith(
        "Visit V015 does not prove that the gauge was put back on its logger: its record may be "
        "lost since then."
    )
    # 40 and 40 of 80 tips, and a half for each run with emptied buckets: 81 of 80
    assert why(fleet, db, "00417", "drift").startswith(
        "As left 80 of 80.0 tips (0.0 %) on 2025-01-14, visit V003; +1.2 % with the half tip a "
        "run that emptied buckets lose."
    )
    assert "Last as found 76 of 80.0 tips (-5.0 %) on 2025-01-14, visit V003." in why(
        fleet, db, "00417", "drift"
    )
    assert "No test on record since it was installed;" in why(fleet, db, "A-033", "drift")
    assert "(found failing at the first look, so by its type)" in why(fleet, db, "A-032", "switch")


def test_sentences_on_what_was_left_undone(fleet, db, amend):
    visit = InputFolder().visit("V100", "S01", "2025-05-28")
    visit.check("V100", "00417", cleaned=True)
    visit.reading("V100", "00417", "as_left", value=None)
    visit.finding("V100", 1, "funnel", "blocked", "none", "blocked", serial="00417")
    visit.visit("V101", "S01", "2025-05-30", outcome="not_done", not_done_reason="weather")
    amend(visit)

    age, drift, switch = (why(fleet, db, "00417", part) for part in ("age", "drift", "switch"))

    assert age.startswith("It was left blocked. Last serviced on 2025-05-28 (visit V100): 5 days")
    assert age.endswith("1 visit since then failed.")
    assert "Chance of a blockage" not in age
    assert drift.startswith("No test on record since visit V100 changed it; services of its type")
    assert switch.startswith("The switch was left failing. Closed resistance 0.40 ohm on")


def test_learn_shows_rates_before_and_after_keeps_them_and_rank_says_so(fleet, db):
    before = fleet("gauge", "rank", *DAY, "--format", "csv", db=db)
    tried = fleet("gauge", "learn", *DAY, "--dry-run", "--format", "csv", db=db)
    again = fleet("gauge", "rank", *DAY, db=db)
    made = fleet("gauge", "learn", *DAY, "--reason", "first season", "--format", "csv", db=db)
    twice = fleet("gauge", "learn", *DAY, "--format", "csv", db=db)
    ranked = fleet("gauge", "rank", *DAY, "--format", "csv", db=db)
    earlier = fleet("gauge", "rank", "--as-of", "2025-05-20", db=db)

    assert [ran.exit_code for ran in (tried, made, twice, ranked)] == [0, 0, 0, 0]
    assert tried.stderr == "Rates of 2025-06-02, learned from 7 gauges: not kept (dry run).\n"
    assert made.stderr.endswith("kept; gauges are ranked under them from that day on.\n")
    assert twice.stderr.endswith("the same as are kept already.\n")
    rate = next(row for row in rows(made.stdout) if row["rate"] == "drift")
    assert (rate["type_code"], rate["unit"], rate["before"]) == ("TB02", "percent a year", "")
    assert {row["before"] == row["after"] for row in rows(twice.stdout)} == {True}
    assert (again.stderr, earlier.stderr) == ("", "")
    assert ranked.stderr == "Ranked under the rates learned on 2025-06-02.\n"
    assert ranked.stdout == before.stdout
    listed = fleet("ledger", "list", "--format", "csv", db=db).stdout
    assert "gauge learn,first season" in listed


def test_learning_from_no_gauge_is_refused(fleet, db):
    ran = fleet("gauge", "learn", "--as-of", "2020-01-01", db=db)

    assert ran.exit_code == 1
    assert "No gauge stood on 2020-01-01: there is nothing to learn from." in ran.stderr

"""The ranking from the records: both dates, filters, every column, one gauge by plain SQL.

Expected figures are worked out by hand from tests/small_network.py (first principles): 800 mL make
40 tips of 20 mL; a run that begins with emptied buckets loses half a tip on average.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from contextlib import closing
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from fleet.errors import NotFoundError
from fleet.services.known_gauge import known_gauges
from fleet.services.ranking import RankFilter, Ranking, rank_network
from fleet.services.ranking_frame import RANK_COLUMNS, SITE_COLUMNS, rank_frame, site_frame
from fleet.stats.policy_column import policies_in_force
from fleet.stats.ranking import rank_columns
from fleet.store.queries.policy import policy_book
from tests.factories import NOW, TODAY, InputFolder

SOUTH_SERIALS = {"A-031", "A-032", "A-033"}


def ranked_by_serial(sessions, **how):
    how.setdefault("as_of", TODAY)
    return {g.state.gauge.serial: g for g in rank_network(sessions, **how)}


def row_of(sessions, serial, **how):
    how.setdefault("as_of", TODAY)
    frame = rank_frame(rank_network(sessions, **how))
    return frame.set_index("serial").loc[serial]


def test_ranking_gives_every_gauge_in_service_by_falling_worth(loaded):
    frame = rank_frame(rank_network(loaded, as_of=TODAY))

    assert set(frame["serial"]) == {"00417", "00418", "00420", "00523", *SOUTH_SERIALS}
    assert frame["rank"].tolist() == [1, 2, 3, 4, 5, 6, 7]
    assert frame["worth_record_days"].is_monotonic_decreasing
    assert frame["serial"].tolist()[0] == "A-031"  # nobody proved that it is on its logger


def test_every_column_of_a_row_says_what_the_records_say(loaded):
    row = row_of(loaded, "00418")

    assert list(rank_frame(rank_network(loaded, as_of=TODAY)).columns) == list(RANK_COLUMNS)
    assert (row["depot_code"], row["site_code"], row["position"]) == ("NORTH", "S02", "main")
    assert row["type_code"] == "TB05"
    assert row["last_service_on"] == date(2024, 11, 12)
    # 2024-11-12 to 2025-06-02 are 202 days, 22 over the 180 of the policy from 2025-01-01
    assert (row["age_days"], row["interval_days"], row["days_overdue"]) == (202, 180, 22)
    assert row["nominal_tips"] == 40.0
    # the type's band of 37 to 43 tips is 7.5 % of 40 either way
    assert (row["tolerance_low_percent"], row["tolerance_high_percent"]) == (-7.5, 7.5)
    assert (row["tolerance_low_tips"], row["tolerance_high_tips"]) == (-3.0, 3.0)
    assert row["drift_now_tips"] == pytest.approx(row["drift_now_percent"] * 0.4, abs=0.005)
    assert pd.isna(row["switch_ohm"])
    assert row["switch_limit_ohm"] == 5.0
    assert row["compliance_record_days"] == 0.0
    assert 0.0 < row["unfit_percent"] < 100.0
    shares = [row[f"{name}_share_percent"] for name in ("age", "drift", "switch")]
    assert sum(shares) == pytest.approx(100.0, abs=0.11)
    assert row["driver"] == "drift"
    assert row[f"{row['driver']}_share_percent"] == max(shares)
    assert row["why"] == row["drift_evidence"]
    assert "V005" in row["drift_evidence"]
    assert "22 days overdue" in row["age_evidence"]
    assert "never read" in row["switch_evidence"]


def test_switch_columns_show_the_last_reading_and_the_limit(loaded):
    row = row_of(loaded, "00420")

    assert (row["switch_ohm"], row["switch_limit_ohm"]) == (3.5, 5.0)
    assert row["switch_share_percent"] > row["drift_share_percent"]
    assert "3.50 ohm on 2025-03-11 (visit V008)" in row["switch_evidence"]


def test_compliance_adds_the_policys_record_days_for_each_day_overdue(loaded, amend, network):
    network.change("policies", {"valid_from": "2025-01-01"}, compliance_record_days="0.5")
    before = row_of(loaded, "00418")

    amend(network.only("policies"), reason="price of being late")

    after = row_of(loaded, "00418")
    assert after["compliance_record_days"] == 11.0  # 22 days x 0.5
    assert after["worth_record_days"] == pytest.approx(before["worth_record_days"] + 11.0, abs=0.01)
    assert "Policy adds 11.0 record-days for being overdue." in after["age_evidence"]


def test_ranking_as_of_a_past_day_sees_no_later_visit(loaded):
    then = ranked_by_serial(loaded, as_of=date(2025, 3, 20))
    now = ranked_by_serial(loaded)

    # V015 of 2025-05-07 left it unproven; V013 of 2025-03-25 replaced a dead switch
    assert not then["A-031"].state.left_disconnected
    assert now["A-031"].state.left_disconnected
    assert then["A-032"].state.last_service_on == date(2024, 8, 6)
    assert then["A-032"].state.attempts_since_service == 1
    assert now["A-032"].state.last_service_on == date(2025, 3, 25)


def test_ranking_as_of_a_past_day_takes_that_days_gauges_and_policy(loaded):
    then = ranked_by_serial(loaded, as_of=date(2024, 6, 10))

    assert "00419" in then  # its place was taken by 00420 on 2024-09-10
    assert not {"00420", "A-033"} & set(then)
    assert then["00417"].policy.service_interval_days == 240


def test_ranking_as_known_before_an_amendment_is_the_ranking_of_before(loaded, amend, network):
    before = rank_frame(rank_network(loaded, as_of=TODAY))
    network.change(
        "tip_runs",
        {"visit_ref": "V005", "serial": "00418", "phase": "as_left"},
        tips="44",
    )

    amend(network.only("tip_runs", visit_ref="V005"), reason="typed wrongly")

    as_known = rank_frame(rank_network(loaded, as_of=TODAY, known_on=NOW))
    after = rank_frame(rank_network(loaded, as_of=TODAY))
    pd.testing.assert_frame_equal(as_known, before)
    assert "As left 88 of 80.0 tips (+10.0 %)" in after.set_index("serial").loc["00418", "why"]


def test_ranking_as_known_before_anything_was_loaded_is_empty(loaded):
    known_on = datetime(2025, 6, 1, tzinfo=UTC)

    frame = rank_frame(rank_network(loaded, as_of=TODAY, known_on=known_on))

    assert len(frame) == 0
    assert {name: str(kind) for name, kind in frame.dtypes.items()} == RANK_COLUMNS


@pytest.mark.parametrize(
    "keep",
    [
        RankFilter(depot_code="SOUTH"),
        RankFilter(type_code="TB05"),
        RankFilter(driver="switch"),
        RankFilter(depot_code="NORTH", type_code="TB05", driver="drift"),
    ],
    ids=str,
)
def test_filter_changes_neither_worth_nor_order(loaded, keep):
    whole = rank_network(loaded, as_of=TODAY)

    shown = rank_network(loaded, as_of=TODAY, keep=keep)

    wanted = [
        (g.state.gauge.serial, g.total_record_days, g.unfit_probability)
        for g in whole
        if keep.depot_code in (None, g.state.gauge.depot_code)
        and keep.type_code in (None, g.state.gauge.type_code)
        and keep.driver in (None, g.drivers[0].name)
    ]
    assert wanted
    assert [
        (g.state.gauge.serial, g.total_record_days, g.unfit_probability) for g in shown
    ] == wanted
    assert [g.rank for g in shown] == list(range(1, len(wanted) + 1))


def test_row_is_made_when_it_is_asked_for(loaded):
    with loaded() as session:
        known = known_gauges(session, as_of=TODAY)
        policies = policies_in_force(policy_book(session), known.columns, on=TODAY)
    ranked = rank_columns(known.columns, policies, known.model, as_of=TODAY)
    asked = []

    def states_of(places):
        asked.extend(places.tolist())
        return known.states_of(places)

    ranking = Ranking(ranked, states_of, None, places=ranked.order)
    south = ranking.narrow(RankFilter(depot_code="SOUTH"))
    totals = ranking.total_record_days
    assert (len(ranking), len(south), asked) == (7, 3, [])
    assert (np.diff(totals) <= 0.0).all()

    first, *others = ranking[1:3]
    assert asked == ranked.order[1:3].tolist()
    assert [first.rank, others[0].rank] == [2, 3]
    assert first.total_record_days == totals[1]
    assert ranking[-1].rank == 7
    assert ranking[:0:1].rows([]) == []
    assert [gauge.rank for gauge in ranking.of_serials(["00418"])] == [
        gauge.rank for gauge in ranking if gauge.state.gauge.serial == "00418"
    ]
    with pytest.raises(IndexError):
        ranking[7]
    with pytest.raises(ValueError, match="step 1, not 2"):
        ranking[::2]


def test_guests_are_shown_beside_the_gauges_of_the_depot(loaded):
    whole = rank_network(loaded, as_of=TODAY)

    shown = whole.narrow(RankFilter(depot_code="SOUTH", guests=frozenset({"S02"})))

    assert {g.state.gauge.serial for g in shown} == {"00418", "00523", *SOUTH_SERIALS}


def test_site_table_is_cut_to_its_top(loaded):
    ranked = rank_network(loaded, as_of=TODAY)

    pd.testing.assert_frame_equal(site_frame(ranked, top=2), site_frame(ranked).head(2))
    pd.testing.assert_frame_equal(rank_frame(ranked[:3]), rank_frame(ranked).head(3))


def test_filter_by_an_unknown_depot_says_which_there_are(loaded):
    with pytest.raises(NotFoundError, match=r"no depot 'EAST'. Depots: NORTH, SOUTH"):
        rank_network(loaded, as_of=TODAY, keep=RankFilter(depot_code="EAST"))


def test_filter_by_an_unknown_type_says_which_there_are(loaded):
    with pytest.raises(NotFoundError, match=r"type 'TB99' is in service. Types: TB02, TB05"):
        rank_network(loaded, as_of=TODAY, keep=RankFilter(type_code="TB99"))


def test_site_table_adds_up_the_worth_of_its_gauges(loaded):
    ranked = rank_network(loaded, as_of=TODAY)
    worth = defaultdict(float)
    for gauge in ranked:
        worth[gauge.state.gauge.site_code] += gauge.total_record_days

    frame = site_frame(ranked)

    assert list(frame.columns) == list(SITE_COLUMNS)
    assert dict(zip(frame["site_code"], frame["worth_record_days"], strict=True)) == {
        code: pytest.approx(total, abs=0.005) for code, total in worth.items()
    }
    assert frame["worth_record_days"].is_monotonic_decreasing
    both = frame.set_index("site_code").loc["S02"]
    assert (both["gauges"], both["serials"]) == (2, "00418 00523")
    assert (both["leading_serial"], both["longest_overdue_days"]) == ("00418", 22)


def test_newly_loaded_visit_changes_state_and_rank(loaded, amend):
    before = ranked_by_serial(loaded)["00418"]
    visit = InputFolder().visit("V100", "S02", "2025-05-30")
    visit.check("V100", "00418", found=(36, 36), left=(40, 40), closed_ohm=0.3)

    amend(visit)

    after = ranked_by_serial(loaded)["00418"]
    assert after.state.last_service_ref == "V100"
    assert (after.forecast.age_days, after.forecast.days_overdue) == (3, 0)
    assert after.state.switch_ohm == 0.3
    assert after.rank > before.rank
    assert after.total_record_days < before.total_record_days / 10


@pytest.mark.sqlite
def test_state_of_one_gauge_agrees_with_plain_sql_on_its_rows(loaded, loaded_settings):
    state = ranked_by_serial(loaded)["00417"].state
    path = loaded_settings.database_url.removeprefix("sqlite:///")
    with closing(sqlite3.connect(path)) as base:
        rows = base.execute(
            "SELECT v.code, w.visited_on, r.phase, SUM(r.tips), SUM(r.volume_ml) / 20.0,"
            " SUM(r.start_state = 'emptied')"
            " FROM tip_run r JOIN gauge_check c ON c.id = r.gauge_check_id"
            " JOIN visit_version w ON w.id = c.visit_version_id JOIN visit v ON v.id = w.visit_id"
            " JOIN instrument i ON i.id = c.instrument_id"
            " WHERE i.code = '00417' AND w.known_until IS NULL GROUP BY 1, 2, 3 ORDER BY 2, 3"
        ).fetchall()

    level = {
        (ref, phase): 100.0 * (tips + emptied / 2.0 - due) / due
        for ref, _, phase, tips, due, emptied in rows
    }
    days = {ref: date.fromisoformat(day) for ref, day, *_ in rows}
    assert level["V003", "as_left"] == pytest.approx(1.25)  # 40 + 40 + 2 halves of 80
    assert state.level_percent == pytest.approx(level["V003", "as_left"])
    assert state.level_on == days["V003"] == date(2025, 1, 14)
    assert [(change.visit_ref, change.amount) for change in state.drift] == [
        ("V002", pytest.approx(level["V002", "as_found"] - level["V001", "as_left"])),
        ("V003", pytest.approx(level["V003", "as_found"] - level["V002", "as_left"])),
    ]
    # 39 + 39 + half a tip of 80 is -1.875 %, after +1.25 %; 38 + 38 + half a tip is -4.375 %
    assert [change.amount for change in state.drift] == pytest.approx([-3.125, -5.625])
    assert [change.years * 365.25 for change in state.drift] == pytest.approx(
        [(days["V002"] - days["V001"]).days, (days["V003"] - days["V002"]).days]
    )

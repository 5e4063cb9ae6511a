"""The backtest on the small network: which checks count, and what they found.

By hand from tests/small_network.py, as of 2025-06-02. After the first year (from 2024-12-04) come:
V003 2025-01-14 00417 38 38 of 40 (band 37 to 43: fit), V010 2025-02-05 A-031 blocked, V008
2025-03-11 00420 40 39 (fit), V013 2025-03-25 A-032 dead switch at a repair, V015 2025-05-07
A-031 98 99 of 100 (fit). V012 reached no gauge.
"""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from fleet.errors import NotFoundError, TooFewPointsError
from fleet.services.backtest import BacktestOrder, backtest
from fleet.services.backtest_frame import (
    BIN_COLUMNS,
    CHECK_COLUMNS,
    SCORE_COLUMNS,
    bin_frame,
    check_frame,
    score_frame,
)
from fleet.services.backtest_words import replay_sentences
from tests.factories import NOW, TODAY

PLANNED = ["V003", "V010", "V008", "V015"]


def backtested(sessions, **order):
    return backtest(sessions, BacktestOrder(TODAY, **order))


def refs(done):
    return [check.record.visit_ref for check in done.checks]


def test_planned_checks_after_the_first_year_are_scored(loaded):
    done = backtested(loaded)

    assert done.since == date(2024, 12, 4)  # 365 days after V001
    assert refs(done) == PLANNED
    # 17 checks less those of 00420 (V007) and A-033 (V014) on the day of their installation
    assert done.replayed == 15
    assert (done.undecided, done.repairs, done.repairs_unfit) == (0, 1, 1)


def test_repairs_count_where_they_are_asked_for(loaded):
    done = backtested(loaded, repairs=True)

    assert refs(done) == ["V003", "V010", "V008", "V013", "V015"]
    assert (done.repairs, done.repairs_unfit) == (0, 0)
    assert {card.cause: (card.checks, card.found) for card in done.cards} == {
        "unfit": (5, 2),
        "drift": (3, 0),
        "blockage": (5, 1),
        "switch": (1, 1),
    }


def test_cards_count_what_each_check_tells(loaded):
    cards = {card.cause: (card.checks, card.found) for card in backtested(loaded).cards}

    # no planned check read a switch as found, so it has no card
    assert cards == {"unfit": (4, 1), "drift": (3, 0), "blockage": (4, 1)}


def test_from_and_depot_narrow_what_is_scored_and_not_what_teaches(loaded):
    whole, later = backtested(loaded), backtested(loaded, since=date(2025, 2, 5))
    south = backtested(loaded, depot_code="SOUTH")

    assert refs(later) == ["V010", "V008", "V015"]
    assert refs(south) == ["V010", "V015"]
    told = {check.record.visit_ref: check.probability for check in whole.checks}
    for check in (*later.checks, *south.checks):
        assert check.probability == told[check.record.visit_ref]
    assert (south.repairs, later.repairs) == (1, 1)


def test_nothing_after_the_day_asked_about_is_seen(loaded):
    done = backtest(loaded, BacktestOrder(date(2025, 3, 20)))

    assert refs(done) == ["V003", "V010", "V008"]
    assert [c.probability for c in done.checks] == [
        c.probability for c in backtested(loaded).checks
    ][:3]


def test_verdict_takes_the_policy_of_its_own_day(loaded):
    # V005 of 2024-11-12: 36 of 40 is below the band of 37 to 43; V009: 199 of 200 within 7.5 %
    done = backtested(loaded, since=date(2024, 7, 1))

    found = {(c.record.visit_ref, c.audited.gauge.serial): c.outcome("unfit") for c in done.checks}
    assert found["V005", "00418"] is True
    assert found["V005", "00523"] is False
    assert found["V009", "A-031"] is False
    interval = {c.record.visit_ref: c.interval_days for c in done.checks}
    assert (interval["V005"], interval["V003"]) == (240, 180)


def test_score_table_holds_both_scores_of_each_cause(loaded):
    frame = score_frame(backtested(loaded))

    assert {name: str(kind) for name, kind in frame.dtypes.items()} == SCORE_COLUMNS
    assert frame[["cause", "score"]].to_numpy().tolist() == [
        [cause, score] for cause in ("unfit", "drift", "blockage") for score in ("brier", "log")
    ]
    first = frame.iloc[0]
    assert (first["checks"], first["found"], first["found_percent"]) == (4, 1, 25.0)
    better = first["base_rate_score"] - first["forecast_score"]
    assert first["better_than_base_rate_by"] == pytest.approx(better)
    assert "Brier score of unfit for any cause" in first["sentence"]
    assert ("better than the base rate" in first["sentence"]) == (better >= 0)
    assert first["sentence"].endswith(
        "Not enough evidence: at least 30 checks and 5 of either outcome are needed."
    )


def test_scores_can_be_worked_out_again_from_the_checks(loaded):
    done = backtested(loaded)
    checks, scores = check_frame(done), score_frame(done).set_index(["cause", "score"])

    assert list(checks.columns) == list(CHECK_COLUMNS)
    for cause in ("unfit", "drift", "blockage"):
        told = checks[checks[f"{cause}_found"].notna()]
        miss = told[f"{cause}_forecast_percent"] / 100 - told[f"{cause}_found"].astype(float)
        assert scores.loc[(cause, "brier"), "forecast_score"] == pytest.approx((miss**2).mean())
    blocked = checks.set_index("visit_ref").loc["V010"]
    assert (blocked["unfit_found"], blocked["drift_found"]) == (True, None)
    sudden = checks["sudden_change_forecast_percent"]
    assert ((sudden > 0) & (sudden <= checks["drift_forecast_percent"])).all()
    # V009 of 2024-07-03 to 2025-02-05 are 217 days
    assert (blocked["age_days"], blocked["interval_days"]) == (217, 180)


def test_bin_table_counts_every_check_once(loaded):
    frame = bin_frame(backtested(loaded))

    assert {name: str(kind) for name, kind in frame.dtypes.items()} == BIN_COLUMNS
    sums = frame.groupby("cause")[["checks", "found"]].sum()
    assert sums.loc["unfit"].tolist() == [4, 1]
    inside = (frame["low_percent"] <= frame["mean_forecast_percent"]) & (
        frame["mean_forecast_percent"] <= frame["high_percent"]
    )
    assert frame["forecast_within_interval"].tolist() == inside.tolist()


def test_sentences_say_what_was_left_out(loaded):
    lines = replay_sentences(backtested(loaded))

    assert lines[0].startswith("15 checks replayed, 4 from 2024-12-04 to 2025-06-02 scored")
    assert lines[1] == (
        "0 of them told neither fit nor unfit. 1 check of a repair left out (1 unfit): a fault "
        "was known before they set out."
    )
    assert lines[2].startswith("Unfit for any cause: ")
    assert lines[2].endswith(" of 4 forecast, 1 found.")


def test_backtest_as_known_before_an_amendment_is_the_one_of_before(loaded, amend, network):
    before = check_frame(backtested(loaded))
    network.change(
        "tip_runs", {"visit_ref": "V003", "serial": "00417", "phase": "as_found"}, tips="30"
    )

    amend(network.only("tip_runs", visit_ref="V003"), reason="typed wrongly")

    pd.testing.assert_frame_equal(check_frame(backtested(loaded, known_on=NOW)), before)
    assert backtested(loaded).checks[0].found.drift is True


def test_same_seed_gives_the_same_table(loaded):
    pd.testing.assert_frame_equal(score_frame(backtested(loaded)), score_frame(backtested(loaded)))


def test_time_without_a_check_is_refused_with_what_to_do(loaded):
    with pytest.raises(TooFewPointsError, match="from 2025-05-20 to 2025-06-02; 15 were replayed"):
        backtested(loaded, since=date(2025, 5, 20))
    with pytest.raises(TooFewPointsError, match="0 were replayed"):
        backtest(loaded, BacktestOrder(date(2023, 6, 2)))


def test_unknown_depot_says_which_there_are(loaded):
    with pytest.raises(NotFoundError, match=r"no depot 'EAST'\. Depots: NORTH, SOUTH"):
        backtested(loaded, depot_code="EAST")

"""Two versions of a round held against each other, every kind of change told once.

The sides are written by hand; sums of worth and driving are worked out beside them [CALC].
"""

from __future__ import annotations

from datetime import date

import pytest

from fleet.errors import ConflictError, NotFoundError
from fleet.services.compare_round import Seat, Side, StopChange, compare_round, hold_against
from fleet.services.round_life import issue_round
from fleet.store.journal import Wish
from tests.hand_round import keep_round
from tests.week_plan import MON, THU, TUE, WED, plan

REF = "2025-W23-NORTH"
T01, T02 = ("T01",), ("T02",)


def side(number, first_day, driving, **seats):
    return Side(number, first_day, {code: Seat(*seat) for code, seat in seats.items()}, driving)


OLD = side(
    1,
    MON,
    {(MON, T01): 100, (TUE, T01): 60, (WED, T02): 40},
    DONE=(MON, T01, 500, 5.0, True),
    PAST=(MON, T01, 600, 4.0),
    GONE=(TUE, T01, 500, 3.0),
    SAME=(TUE, T01, 600, 2.0),
    LATE=(TUE, T01, 700, 1.5),
    CREW=(WED, T01, 500, 1.0),
    WAIT=(WED, T02, 600, 0.5),
)
NEW = side(
    2,
    TUE,
    {(TUE, T01): 70, (WED, T02): 45},
    SAME=(TUE, T01, 614, 2.0),
    LATE=(TUE, T01, 715, 1.5),
    CREW=(WED, T02, 500, 1.0),
    WAIT=(THU, T02, 600, 0.75),
    MORE=(WED, T02, 800, 9.0),
)


def test_every_kind_of_change_is_told():
    told = hold_against(OLD, NEW, {"MORE": "Sarrow Weir"})

    assert dict(zip(told.frame["site_code"], told.frame["change"], strict=True)) == {
        "DONE": "over",
        "PAST": "over",
        "GONE": "dropped",
        "SAME": "same",  # 14 min later
        "LATE": "other time",  # 15 min later
        "CREW": "other crew",
        "WAIT": "other day",
        "MORE": "added",
    }
    assert told.counts[StopChange.OVER] == 2
    assert "SAME" not in set(told.changed["site_code"])


def test_rows_go_by_the_later_day_and_tell_both_ends():
    frame = hold_against(OLD, NEW, {"MORE": "Sarrow Weir"}).frame.set_index("site_code")

    assert list(frame.index) == ["DONE", "PAST", "GONE", "SAME", "LATE", "CREW", "MORE", "WAIT"]
    assert frame.loc["WAIT", ["from_day", "to_day"]].tolist() == [WED, THU]
    assert frame.loc["WAIT", ["from_start", "to_crew"]].tolist() == ["10:00", "T02"]
    assert frame.loc["WAIT", "to_worth_record_days"] == 0.75
    assert frame.loc["MORE", "site_name"] == "Sarrow Weir"
    assert frame.loc["MORE", "from_day"] is None


def test_sums_are_of_the_days_that_both_plan():
    told = hold_against(OLD, NEW, {})

    assert (told.worth_before, told.worth_after) == (8.0, 14.25)
    assert (told.driving_min_before, told.driving_min_after) == (100, 115)


def test_newest_version_is_compared_with_the_one_in_the_field(loaded, clock):
    keep_round(loaded, clock)
    issue_round(loaded, REF, Wish("tester", "round issue", ""), clock=clock)
    plan(loaded, clock)
    plan(loaded, clock)

    told = compare_round(loaded, REF)

    assert (told.before_number, told.after_number) == (1, 3)
    assert set(told.frame["site_code"]) == {"S01", "S02", "S03"}


def test_versions_can_be_named_either_way_round(loaded, clock):
    keep_round(loaded, clock)
    plan(loaded, clock)

    there, back = compare_round(loaded, REF), compare_round(loaded, REF, before=2, after=1)

    assert (there.before_number, there.after_number) == (1, 2)
    assert (back.before_number, back.after_number) == (2, 1)
    assert there.worth_after == back.worth_before


def test_two_plans_of_the_same_data_have_no_change(loaded, clock):
    plan(loaded, clock)
    plan(loaded, clock)

    told = compare_round(loaded, REF)

    assert set(told.counts) == {StopChange.SAME}
    assert len(told.changed) == 0


def test_single_version_has_nothing_to_be_compared_with(loaded, clock):
    plan(loaded, clock)

    with pytest.raises(ConflictError, match="has only version 1"):
        compare_round(loaded, REF)
    with pytest.raises(NotFoundError, match="version 7"):
        compare_round(loaded, REF, before=7)


def test_days_are_days(loaded, clock):
    keep_round(loaded, clock)
    plan(loaded, clock)

    frame = compare_round(loaded, REF).frame

    assert all(isinstance(day, date) for day in frame["to_day"].dropna())

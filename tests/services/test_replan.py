"""The rest of a week planned again: what is done or accepted stays, the rest near what was issued.

In the week of 2025-06-02 NORTH has T01 from Monday to Thursday and T02 on Monday and Thursday; its
sites are S01, S02 and S03 (two persons). The round by hand sends T01 to S02 and S01 on Tuesday.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import func, select

from fleet.domain.code import NotDoneReason, StopOutcome
from fleet.domain.plan import SearchSettings
from fleet.errors import ConflictError, NotFoundError
from fleet.services.accept_stop import accept_stops
from fleet.services.replan import ReplanOrder, Whereabouts, replan_round
from fleet.services.round_life import issue_round, update_stop
from fleet.services.round_view import show_round
from fleet.services.stop_result import StopUpdate
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from fleet.store.models.round import RoundVersion
from tests.factories import InputFolder
from tests.hand_round import keep_round
from tests.week_plan import LAST, MON, THU, TUE, WED

REF = "2025-W23-NORTH"
SHORT = SearchSettings(iterations=30)


@pytest.fixture
def driven(loaded, clock):
    keep_round(loaded, clock)
    issue_round(loaded, REF, Wish("tester", "round issue", ""), clock=clock)
    return loaded


def replan(sessions, clock, as_of=MON, *, dry_run=False, **order):
    wish = Wish("tester", "round replan", "", dry_run)
    return replan_round(
        sessions, ReplanOrder(REF, as_of, settings=SHORT, **order), wish, clock=clock
    )


def where(replanned):
    return {
        stop.site_code: (day.day, day.technician_codes)
        for day in replanned.planned.plan.days
        for stop in day.stops
    }


def tell(sessions, clock, site, outcome, reason=None):
    wish = Wish("tester", "round stop", "")
    update_stop(sessions, REF, StopUpdate(site, outcome, reason), wish, clock=clock)


def versions(sessions):
    with sessions() as session:
        return session.execute(select(func.count()).select_from(RoundVersion)).scalar_one()


def test_rest_of_the_week_stays_as_issued_where_nothing_is_gained(driven, clock):
    again = replan(driven, clock, stability_record_days=1000.0)

    assert where(again)["S01"] == where(again)["S02"] == (TUE, ("T01",))
    assert again.change.kept == ("S01", "S02")
    assert (again.planned.number, again.base.number) == (2, 1)
    assert again.planned.notes[0] == (
        "Planned again from version 1 (issued) on the records up to 2025-06-02: 2 stops as they "
        "were, 0 moved, 0 dropped, 1 whose day or crew is gone, 0 new; a change had to gain 1000 "
        "record-days."
    )
    assert verify_records(driven).faults == ()


def test_two_person_site_whose_pair_is_gone_moves_to_the_day_that_has_both(driven, clock):
    again = replan(driven, clock)

    # T02 alone on Wednesday, as it was issued by hand, is away; both work on Thursday
    assert where(again)["S03"] == (THU, ("T01", "T02"))
    assert again.change.lost == ("S03",)


def test_what_is_done_is_not_planned_again_and_not_left_out(driven, clock):
    tell(driven, clock, "S02", StopOutcome.DONE)

    again = replan(driven, clock)

    named = [*where(again), *(left.site_code for left in again.planned.plan.left_out)]
    assert "S02" not in named
    assert "Done already: S02." in again.planned.notes
    assert set(again.comparison.frame.set_index("site_code").loc[["S02"], "change"]) == {"over"}


def test_what_was_done_in_an_earlier_version_stays_done(driven, clock):
    tell(driven, clock, "S02", StopOutcome.DONE)
    replan(driven, clock)
    issue_round(driven, REF, Wish("tester", "round issue", ""), clock=clock)

    again = replan(driven, clock, TUE)

    assert again.base.number == 2
    assert "S02" not in where(again)


def test_skipped_stop_is_a_candidate_again(driven, clock):
    tell(driven, clock, "S02", StopOutcome.SKIPPED, NotDoneReason.WEATHER)

    assert where(replan(driven, clock, TUE))["S02"][0] in (WED, THU)


def test_accepted_stop_keeps_its_day_and_crew_against_a_better_plan(driven, clock):
    wish = Wish("tester", "round accept", "")
    accept_stops(driven, REF, ["S01"], wish, clock=clock)

    again = replan(driven, clock, stability_record_days=0.0)

    assert where(again)["S01"] == (TUE, ("T01",))
    assert "S01 is accepted for 2025-06-03 with T01." in again.planned.notes
    _, stops, _ = show_round(driven, REF)
    assert dict(zip(stops["site_code"], stops["accepted"], strict=True))["S01"]


def test_accepted_stop_that_cannot_be_any_more_is_told(driven, clock):
    wish = Wish("tester", "round accept", "")
    accept_stops(driven, REF, ["S01"], wish, clock=clock)

    again = replan(driven, clock, away=frozenset({("T01", TUE)}))

    left = {left.site_code: left for left in again.planned.plan.left_out}
    assert left["S01"].must_visit
    assert "open only on Tue 2025-06-03, when nobody who could do it works" in left["S01"].detail
    assert "T01 taken as away on 2025-06-03." in again.planned.notes


def test_lost_day_moves_its_stops_within_what_is_left(driven, clock):
    again = replan(driven, clock, away=frozenset({("T01", TUE)}))

    assert {day for day, _ in where(again).values()} <= {WED, THU}
    assert where(again)["S02"]
    assert set(again.change.lost) == {"S01", "S02", "S03"}


def test_day_that_has_begun_goes_on_from_where_somebody_stands(driven, clock):
    again = replan(driven, clock, TUE, whereabouts=(Whereabouts("T01", "S02", 11 * 60),))

    today = [day for day in again.planned.plan.days if day.day == TUE]
    (rest,) = today
    assert rest.leave_min >= 11 * 60
    assert [stop.site_code for stop in rest.stops] == ["S01"]
    assert rest.stops[0].drive_min == 11  # from S02, as in the golden plan of the small network
    assert "S02" not in where(again)
    assert any(
        note.startswith("T01 goes on from S02 on 2025-06-03 at 11:00, 30 min driven so far")
        for note in again.planned.notes
    )
    told = again.comparison.frame.set_index("site_code")
    assert told.loc["S02", "change"] == "over"
    kept, _, _ = show_round(driven, REF)
    (day,) = [day for day in kept.days if day.day == TUE]
    assert (day.ends.start_key, day.ends.end_key) == ("S02", "depot:NORTH")


def test_nobody_else_goes_out_on_the_day_that_has_begun(driven, clock):
    again = replan(driven, clock, MON, whereabouts=(Whereabouts("T02", "depot", 12 * 60),))

    assert {day.technician_codes for day in again.planned.plan.days if day.day == MON} <= {("T02",)}


def test_dry_run_tells_what_would_differ_and_keeps_nothing(driven, clock):
    again = replan(driven, clock, dry_run=True)

    assert not again.planned.kept
    assert set(again.comparison.frame["site_code"]) == {"S01", "S02", "S03"}
    assert versions(driven) == 1


def test_everything_unknown_is_named_at_once(driven, clock):
    stands = (Whereabouts("T03", "S01", 600), Whereabouts("T01", "S99", 600))

    with pytest.raises(
        NotFoundError, match=r"technician T03, technician T88, place S99\. Technicians.*T01, T02"
    ):
        replan(driven, clock, whereabouts=stands, away=frozenset({("T88", WED)}))


def test_week_that_is_over_cannot_be_planned_again(driven, clock):
    with pytest.raises(ConflictError, match="no day after 2025-06-08 is left to plan"):
        replan(driven, clock, LAST)


def test_round_that_was_never_planned_cannot_be_planned_again(loaded, clock):
    with pytest.raises(NotFoundError, match="no round '2025-W23-NORTH'"):
        replan(loaded, clock)


def test_day_named_by_a_hold_binds_also_once_it_is_over(driven, clock, amend):
    amend(
        InputFolder().add(
            "holds",
            site_code="S01",
            kind="these_days",
            first_day=MON.isoformat(),
            last_day=MON.isoformat(),
            reason="gate is open",
        )
    )

    again = replan(driven, clock)

    left = {left.site_code: left.detail for left in again.planned.plan.left_out}
    assert left["S01"].startswith("To be visited only on 2025-06-02 (gate is open): it cannot")


def test_same_order_gives_the_same_plan(driven, clock):
    first = replan(driven, clock, dry_run=True)
    clock.move(hours=1)

    assert replan(driven, clock, dry_run=True).planned.plan == first.planned.plan


def test_replan_begins_on_the_first_day_of_a_round_that_lies_ahead(driven, clock):
    again = replan(driven, clock, MON - timedelta(days=3))

    assert again.planned.first_day == MON

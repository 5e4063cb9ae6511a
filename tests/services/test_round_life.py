"""A round in the field: issued, its stops told by hand or by visits, planned anew, closed."""

from __future__ import annotations

from datetime import date
from functools import partial

import pytest
from sqlalchemy import func, select

from fleet.domain.code import NotDoneReason, StopOutcome
from fleet.errors import ConflictError, NotFoundError
from fleet.services.round_life import close_round, issue_round, update_stop
from fleet.services.round_view import list_rounds, show_round, version_in_the_field
from fleet.services.stop_result import StopUpdate
from fleet.services.verify import verify_records
from fleet.store.journal import Wish
from fleet.store.models.ledger import LedgerEntry
from fleet.store.queries.round import round_version
from tests.factories import InputFolder
from tests.hand_round import keep_round
from tests.week_plan import plan

REF = "2025-W23-NORTH"
DONE, SKIPPED = StopOutcome.DONE, StopOutcome.SKIPPED
WEATHER = NotDoneReason.WEATHER


def wish(action, dry_run=False, reason=""):
    return Wish("tester", action, reason, dry_run)


def issue(sessions, clock, ref=REF, **how):
    return issue_round(sessions, ref, wish("round issue", **how), clock=clock)


def tell(sessions, clock, site, outcome, reason=None, note=None, **how):
    update = StopUpdate(site, outcome, reason, note)
    return update_stop(sessions, REF, update, wish("round stop", **how), clock=clock)


def close(sessions, clock, rest=None, **how):
    return close_round(sessions, REF, wish("round close", **how), clock=clock, rest=rest)


def results(sessions, number=None):
    """Give site -> (result, reason, visit) of the stops."""
    _, stops, _ = show_round(sessions, REF, number=number)
    told = zip(stops["result"], stops["reason"], stops["visit_ref"], strict=True)
    return dict(zip(stops["site_code"], told, strict=True))


def entry_count(sessions):
    with sessions() as session:
        return session.execute(select(func.count()).select_from(LedgerEntry)).scalar_one()


@pytest.fixture
def kept(loaded, clock):
    """A round by hand: T01 to S02 and S01 on 2025-06-03, T02 to S03 the day after."""
    keep_round(loaded, clock)
    return loaded


@pytest.fixture
def driven(kept, clock):
    """The same, issued."""
    issue(kept, clock)
    return kept


@pytest.fixture
def record(amend):
    """Load visits, seen from 2025-06-20."""
    return partial(amend, today=date(2025, 6, 20))


def visit(ref="V100", site="S01", day="2025-06-03", **cells):
    return InputFolder().visit(ref, site, day, **cells)


NOT_DONE = {"outcome": "not_done", "not_done_reason": "livestock"}


def test_issued_round_is_the_version_in_the_field(kept, clock):
    assert version_in_the_field(kept, REF) is None

    round_ = issue(kept, clock)

    assert (str(round_.status), round_.number) == ("issued", 1)
    assert version_in_the_field(kept, REF) == 1
    assert list_rounds(kept)["version_in_the_field"].tolist() == [1]


def test_round_is_issued_once(driven, clock):
    with pytest.raises(ConflictError, match=r"version 1 is issued already\. Plan it again"):
        issue(driven, clock)


def test_unknown_round_cannot_be_issued(kept, clock):
    with pytest.raises(NotFoundError, match="no round '2025-W99-NORTH'"):
        issue(kept, clock, "2025-W99-NORTH")


def test_stop_is_told_by_hand_with_reason_and_note(driven, clock):
    tell(driven, clock, "S02", DONE)
    tell(driven, clock, "S01", SKIPPED, WEATHER, "ford closed")

    assert results(driven) == {
        "S02": ("done", "", ""),
        "S01": ("skipped", "weather", ""),
        "S03": ("", "", ""),
    }
    with driven() as session:
        stops = [stop for day in round_version(session, REF).days for stop in day.stops]
    assert [s.result.note for s in stops if s.site_code == "S01"] == ["ford closed"]


def test_stop_told_again_supersedes_and_the_same_again_changes_nothing(driven, clock):
    tell(driven, clock, "S01", SKIPPED, WEATHER)
    clock.move(hours=1)
    tell(driven, clock, "S01", DONE)
    before = entry_count(driven)

    tell(driven, clock, "S01", DONE)

    assert results(driven)["S01"] == ("done", "", "")
    assert entry_count(driven) == before
    assert verify_records(driven).faults == ()


def test_skipped_stop_needs_a_reason(driven, clock):
    with pytest.raises(ConflictError, match="A skipped stop needs a reason"):
        tell(driven, clock, "S01", SKIPPED)


def test_site_that_is_no_stop_says_which_are(driven, clock):
    with pytest.raises(NotFoundError, match=r"'S04' is no stop .* Stops: S02, S01, S03\."):
        tell(driven, clock, "S04", DONE)


def test_stop_of_a_round_that_is_not_issued_cannot_be_told(kept, clock):
    with pytest.raises(ConflictError, match="version 1 is planned, not issued"):
        tell(kept, clock, "S01", DONE)


def test_recorded_visit_settles_its_stop(driven, record):
    result = record(visit().check("V100", "00417", found=(40, 40), left=(40, 40)))

    assert result.stops == (f"{REF} stop S01: done by visit V100",)
    assert results(driven)["S01"] == ("done", "", "V100")


def test_visit_that_was_not_done_skips_its_stop_with_the_reason(driven, record):
    record(visit(**NOT_DONE))

    assert results(driven)["S01"] == ("skipped", "livestock", "V100")


def test_visit_done_in_part_is_done_with_the_reason(driven, record):
    partly = visit(outcome="partly_done", not_done_reason="no_part")
    record(partly.check("V100", "00417", found=(40, 40)))

    assert results(driven)["S01"] == ("done", "no_part", "V100")


@pytest.mark.parametrize("day", ["2025-06-01", "2025-06-09"])
def test_visit_outside_the_rounds_days_settles_nothing(driven, clock, record, day):
    result = record(visit(day=day))

    assert result.stops == ()
    assert results(driven)["S01"] == ("", "", "")


def test_visit_before_the_round_is_issued_settles_its_stop_when_it_is(kept, clock, record):
    assert record(visit()).stops == ()

    issue(kept, clock)

    assert results(kept)["S01"] == ("done", "", "V100")


def test_visit_comes_after_what_was_told_by_hand(driven, clock, record):
    tell(driven, clock, "S01", SKIPPED, WEATHER)

    record(visit())

    assert results(driven)["S01"] == ("done", "", "V100")


def test_stop_with_a_visit_is_not_told_otherwise_by_hand(driven, clock, record):
    record(visit())

    with pytest.raises(ConflictError, match=r"its result, done, from visit V100\. Correct the"):
        tell(driven, clock, "S01", SKIPPED, WEATHER)

    assert results(driven)["S01"] == ("done", "", "V100")


def test_amended_visit_amends_its_stop(driven, record):
    first = visit()
    record(first)
    first.change("visits", {"visit_ref": "V100"}, **NOT_DONE)

    result = record(first, reason="typed wrongly")

    assert result.stops == (f"{REF} stop S01: skipped by visit V100",)
    assert results(driven)["S01"] == ("skipped", "livestock", "V100")
    assert verify_records(driven).faults == ()


def test_visit_amended_away_opens_its_stop_again(driven, record):
    first = visit()
    record(first)
    first.change("visits", {"visit_ref": "V100"}, site_code="S04")

    result = record(first, reason="wrong site")

    assert result.stops == (f"{REF} stop S01: open again, visit V100 was amended",)
    assert results(driven)["S01"] == ("", "", "")
    assert verify_records(driven).faults == ()


def test_visit_amended_away_leaves_the_stop_to_the_other_visit(driven, record):
    record(visit("V099", day="2025-06-02", **NOT_DONE))
    second = visit("V100")
    record(second)
    second.change("visits", {"visit_ref": "V100"}, site_code="S04")

    record(second, reason="wrong site")

    assert results(driven)["S01"] == ("skipped", "livestock", "V099")


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        (NOT_DONE, {}, ("done", "", "V101")),
        ({}, NOT_DONE, ("done", "", "V100")),
        (NOT_DONE, {**NOT_DONE, "not_done_reason": "weather"}, ("skipped", "weather", "V101")),
    ],
    ids=["came back", "done before", "failed twice"],
)
def test_of_several_visits_one_that_was_done_counts_then_the_last(
    driven, record, first, second, expected
):
    both = visit("V100", day="2025-06-03", **first)
    both.visit("V101", "S01", "2025-06-04", **second)

    record(both)

    assert results(driven)["S01"] == expected


def test_amending_an_earlier_visit_of_the_stop_changes_nothing_where_another_counts(driven, record):
    both = visit("V100", **NOT_DONE)
    both.visit("V101", "S01", "2025-06-04")
    record(both)
    both.change("visits", {"visit_ref": "V100"}, not_done_reason="weather")

    result = record(both.only("visits", visit_ref="V100"), reason="other")

    assert result.stops == ()
    assert results(driven)["S01"] == ("done", "", "V101")


def test_round_is_closed_when_every_stop_has_a_result(driven, clock):
    for site in ("S01", "S02", "S03"):
        tell(driven, clock, site, DONE)

    round_ = close(driven, clock)

    assert str(round_.status) == "closed"
    assert version_in_the_field(driven, REF) is None


def test_round_with_open_stops_is_not_closed_without_a_reason_for_them(driven, clock):
    tell(driven, clock, "S02", DONE)

    with pytest.raises(ConflictError, match=r"2 stop\(s\) .* have no result: S01, S03\."):
        close(driven, clock)

    assert str(show_round(driven, REF)[0].status) == "issued"


def test_rest_of_a_round_is_skipped_for_one_reason(driven, clock):
    tell(driven, clock, "S02", DONE)

    close(driven, clock, rest=NotDoneReason.NO_TIME)

    assert results(driven) == {
        "S02": ("done", "", ""),
        "S01": ("skipped", "no_time", ""),
        "S03": ("skipped", "no_time", ""),
    }


def test_closed_round_takes_no_more_results(driven, clock, record):
    close(driven, clock, rest=NotDoneReason.NO_TIME)

    assert record(visit()).stops == ()
    with pytest.raises(ConflictError, match="version 1 is closed, not issued"):
        tell(driven, clock, "S01", DONE)
    with pytest.raises(ConflictError, match="version 1 is closed, not issued"):
        close(driven, clock)
    with pytest.raises(ConflictError, match="version 1 is closed already"):
        issue(driven, clock)
    assert results(driven)["S01"] == ("skipped", "no_time", "")


def test_every_step_is_one_ledger_entry(kept, clock):
    before = entry_count(kept)

    issue(kept, clock)
    tell(kept, clock, "S01", DONE)
    close(kept, clock, rest=WEATHER, reason="storm all week")

    assert entry_count(kept) == before + 3
    with kept() as session:
        last = (
            session.execute(select(LedgerEntry).order_by(LedgerEntry.id.desc())).scalars().first()
        )
    assert (last.action, last.reason) == ("round close", "storm all week")
    assert verify_records(kept).faults == ()


def test_dry_runs_leave_nothing(kept, clock):
    shown = issue(kept, clock, dry_run=True)
    assert str(shown.status) == "issued"
    assert str(show_round(kept, REF)[0].status) == "planned"
    issue(kept, clock)
    before = entry_count(kept)

    tell(kept, clock, "S01", DONE, dry_run=True)
    assert str(close(kept, clock, rest=WEATHER, dry_run=True).status) == "closed"

    assert entry_count(kept) == before
    assert str(show_round(kept, REF)[0].status) == "issued"
    assert results(kept)["S01"] == ("", "", "")


def test_version_in_the_field_stays_until_the_next_is_issued(driven, clock, record):
    clock.move(hours=1)
    plan(driven, clock)

    assert show_round(driven, REF)[0].number == 2
    assert version_in_the_field(driven, REF) == 1
    record(visit())
    assert results(driven, number=1)["S01"] == ("done", "", "V100")
    assert results(driven, number=2).get("S01", ("", "", "")) == ("", "", "")
    tell(driven, clock, "S02", DONE)
    assert results(driven, number=1)["S02"] == ("done", "", "")

    issue(driven, clock)

    assert version_in_the_field(driven, REF) == 2
    assert results(driven, number=1)["S02"] == ("done", "", "")
    assert results(driven, number=2)["S01"] == ("done", "", "V100")  # the same visit


def test_version_in_the_field_can_be_closed_while_the_next_waits(driven, clock):
    clock.move(hours=1)
    plan(driven, clock)

    round_ = close(driven, clock, rest=WEATHER)

    assert (round_.number, str(round_.status)) == (1, "closed")
    assert str(show_round(driven, REF)[0].status) == "planned"
    issue(driven, clock)
    assert version_in_the_field(driven, REF) == 2

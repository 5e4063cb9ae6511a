"""Stretches of record in doubt, and the technicians' own tips.

That the stretch runs from the last good as left to the failing as found is standards.md 2.4 (a
public memorandum and a network's practice, read there); what shortens it is common practice, no
published source. k = 1 / (1 + e) is first principles: -10 % gives 1.1111. Days and instants are
counted by hand; the gauges stand an hour ahead of UTC.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.domain.audit.evidence import Ask, AuditedGauge, Evidence
from fleet.domain.audit.exclusion import ExclusionRow, exclusions, suspect_windows
from fleet.domain.audit.kept import CheckTimes, NeighbourAlarm
from fleet.domain.audit.window import Sight, windows_of
from fleet.domain.code import Phase, VisitPurpose
from fleet.domain.history import CheckRecord, SwitchReadings
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

TODAY = date(2025, 6, 2)
HOUR = timedelta(hours=1)


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def times_of(record: CheckRecord, *, isolated: bool = True) -> CheckTimes:
    """Arrival 08:00 UTC, isolated 08:10, restored 09:20, departure 09:30."""
    day = datetime.combine(record.visited_on, datetime.min.time(), tzinfo=UTC)
    off = (day + timedelta(hours=8, minutes=10), day + timedelta(hours=9, minutes=20))
    return CheckTimes(
        day + timedelta(hours=8),
        day + timedelta(hours=9, minutes=30),
        HOUR,
        *(off if isolated else (None, None)),
    )


def ground(*gauges: AuditedGauge, isolated: bool = True, **more: object) -> Evidence:
    times = {
        (record.visit_ref, record.serial): times_of(record, isolated=isolated)
        for gauge in gauges
        for record in gauge.history.records
    }
    return evidence(*gauges, times=times, **more)


def stretches(rows: list[ExclusionRow]) -> list[tuple[str, datetime, datetime | None]]:
    return [(row.reason, row.span.from_at, row.span.until_at) for row in rows]


GOOD = make_check(date(2025, 1, 7), found=(40, 40), left=(40, 40))
BAD = make_check(date(2025, 5, 6), found=(36, 36), left=(40, 40), adjusted=True)
FAR = make_check(date(2025, 5, 6), found=(33, 33), left=(40, 40), adjusted=True)


def test_a_failing_as_found_doubts_the_record_back_to_the_last_good_as_left() -> None:
    [row] = suspect_windows(ground(audited(GOOD, BAD)), Ask(TODAY))

    assert stretches([row]) == [
        ("out_of_tolerance", instant("2025-01-07T09:20"), instant("2025-05-06T09:20"))
    ]
    assert (row.visit.visit_ref, row.figures.last_good_ref) == ("V20250506", "V20250107")
    assert row.figures.ended_by_ref == "V20250506"
    assert row.figures.error_found_percent == pytest.approx(-10.0)
    assert row.figures.error_last_good_percent == pytest.approx(0.0)
    assert row.figures.correction_factor == pytest.approx(1.1111, abs=5e-5)
    assert row.tips_expected is None
    assert row.sentence == (
        "Visit V20250506 found it out of tolerance (-10.0 %); last good at visit V20250107."
    )


@pytest.mark.parametrize(("found", "code"), [((36, 36), "adjust"), ((35, 35), "reject")])
def test_the_suggested_code_goes_by_the_reject_limit_of_the_policy(
    found: tuple[int, int], code: str
) -> None:
    bad = make_check(date(2025, 5, 6), found=found, left=(40, 40))

    [row] = suspect_windows(ground(audited(GOOD, bad)), Ask(TODAY))

    assert row.suggested_code == code
    assert row.suggestion_basis.startswith("suggestion: common practice, no published source: ")
    assert "new terms" in (row.policy_basis or "")


def test_a_gauge_never_seen_good_is_doubted_from_its_first_day_at_its_place() -> None:
    gauge = audited(BAD, installed_on=date(2025, 3, 1))
    here = AuditedGauge(gauge.history, "Quellmoor", time_zone="Etc/GMT-1")

    [row] = suspect_windows(ground(here), Ask(TODAY))

    assert row.span.from_at == instant("2025-02-28T23:00")
    assert row.figures.last_good_ref is None
    assert "never seen good before" in row.sentence


def test_a_stretch_lasts_until_the_next_phase_that_passes() -> None:
    left_bad = make_check(date(2025, 3, 4), found=(36, 36), left=(36, 36))
    later = make_check(date(2025, 5, 6), found=(40, 40), left=(40, 40))

    [ended] = suspect_windows(ground(audited(GOOD, left_bad, later)), Ask(TODAY))
    [still] = suspect_windows(ground(audited(GOOD, left_bad)), Ask(TODAY))

    assert ended.span.until_at == instant("2025-05-06T08:10")
    assert ended.figures.ended_by_ref == "V20250506"
    assert still.span.until_at is None
    assert still.sentence.endswith("Nothing has ended it yet.")


def test_too_few_runs_neither_end_a_stretch_nor_begin_one() -> None:
    one_run = make_check(date(2025, 3, 4), found=(40,), left=(40,))

    [row] = suspect_windows(ground(audited(GOOD, one_run, BAD)), Ask(TODAY))

    assert row.figures.last_good_ref == "V20250107"


def test_the_removal_of_the_gauge_ends_its_stretch_with_the_visit() -> None:
    taken = make_check(date(2025, 5, 6), found=(36, 36), purpose=VisitPurpose.REMOVAL)
    gauge = audited(GOOD, taken, removed_on=date(2025, 5, 6))

    [row] = suspect_windows(ground(gauge), Ask(TODAY))

    assert (row.span.until_at, row.figures.ended_by_ref) == (instant("2025-05-06T09:30"), None)


def test_an_alarm_of_the_neighbours_shortens_the_stretch_and_the_whole_stands_beside() -> None:
    alarm = NeighbourAlarm(
        "S01", "main", "sinking", frozenset({"drift"}), date(2025, 4, 10), date(2025, 4, 2)
    )

    [row] = suspect_windows(ground(audited(GOOD, BAD), alarms=(alarm,)), Ask(TODAY))

    assert row.span.from_at == instant("2025-04-02T00:00")
    assert row.figures.whole_from_at == instant("2025-01-07T09:20")
    assert row.figures.shortened_by == (
        "against its neighbours sinking since about 2025-04-10, 2025-04-02 at the earliest"
    )


@pytest.mark.parametrize(
    "alarm",
    [
        NeighbourAlarm("S01", "second", "sinking", frozenset({"drift"}), TODAY, date(2025, 4, 2)),
        NeighbourAlarm("S01", "main", "silent", frozenset({"switch"}), TODAY, date(2025, 4, 2)),
        NeighbourAlarm("S01", "main", "sinking", frozenset({"drift"}), TODAY, date(2025, 1, 7)),
        NeighbourAlarm("S01", "main", "sinking", frozenset({"drift"}), TODAY, date(2025, 5, 7)),
    ],
    ids=["another position", "another cause", "before the last good", "after the failing one"],
)
def test_an_alarm_that_says_nothing_of_the_stretch_does_not_shorten_it(
    alarm: NeighbourAlarm,
) -> None:
    [row] = suspect_windows(ground(audited(GOOD, BAD), alarms=(alarm,)), Ask(TODAY))

    assert (row.span.from_at, row.figures.shortened_by) == (instant("2025-01-07T09:20"), None)


def switch_check(day: date, *, dead: bool, ohm: float | None = None) -> CheckRecord:
    found = SwitchReadings(Phase.AS_FOUND, closed_ohm=ohm, no_closure=dead)
    left = SwitchReadings(Phase.AS_LEFT, closed_ohm=0.4)
    return make_check(day, switch_found=found, switch_left=left)


def test_a_switch_that_never_closes_is_doubted_from_the_last_day_that_counted_rain() -> None:
    gauge = audited(
        switch_check(date(2025, 1, 7), dead=False, ohm=0.4),
        switch_check(date(2025, 5, 6), dead=True),
    )
    days = {("S01", "main"): (date(2025, 1, 9), date(2025, 3, 20), date(2025, 5, 6))}

    [row] = suspect_windows(ground(gauge, counted_days=days), Ask(TODAY))

    assert stretches([row]) == [
        ("switch_failed", instant("2025-03-20T00:00"), instant("2025-05-06T09:20"))
    ]
    assert row.suggested_code == "reject"
    assert "still counted rain on 2025-03-20" in (row.figures.shortened_by or "")


def test_a_switch_of_high_resistance_may_count_now_and_then_so_rain_proves_nothing() -> None:
    gauge = audited(
        switch_check(date(2025, 1, 7), dead=False, ohm=0.4),
        switch_check(date(2025, 5, 6), dead=False, ohm=9.0),
    )
    days = {("S01", "main"): (date(2025, 3, 20),)}

    [row] = suspect_windows(ground(gauge, counted_days=days), Ask(TODAY))

    assert row.span.from_at == instant("2025-01-07T09:20")


def test_a_blockage_is_missing_and_never_scaled_up() -> None:
    blocked = make_check(date(2025, 5, 6), left=(40, 40), blocked_found=True)

    [row] = suspect_windows(ground(audited(GOOD, blocked)), Ask(TODAY))

    assert stretches([row]) == [
        ("blocked", instant("2025-01-07T09:20"), instant("2025-05-06T09:20"))
    ]
    assert (row.suggested_code, row.figures.correction_factor) == ("missing", None)


UNPROVEN = make_check(date(2025, 3, 4), found=(40, 40), left=(40, 40), restoration_proven=None)


def test_an_unproven_reconnection_doubts_from_that_visit_to_the_next_proof() -> None:
    later = make_check(date(2025, 5, 6), found=(40, 40), left=(40, 40))

    [row] = suspect_windows(ground(audited(GOOD, UNPROVEN, later)), Ask(TODAY))

    assert stretches([row]) == [
        ("off_logger", instant("2025-03-04T08:10"), instant("2025-05-06T09:20"))
    ]
    assert row.suggested_code == "missing"


def test_rain_that_was_counted_later_ends_the_doubt_about_the_logger() -> None:
    days = {("S01", "main"): (date(2025, 3, 4), date(2025, 3, 9))}

    [row] = suspect_windows(ground(audited(GOOD, UNPROVEN), counted_days=days), Ask(TODAY))

    assert row.span.until_at == instant("2025-03-10T00:00")
    assert row.figures.shortened_by == "its own record counted rain again on 2025-03-09"


def test_a_gauge_taken_away_that_day_needs_no_reconnection() -> None:
    taken = make_check(date(2025, 3, 4), found=(40, 40), restoration_proven=None)

    assert (
        suspect_windows(ground(audited(GOOD, taken, removed_on=date(2025, 3, 4))), Ask(TODAY)) == []
    )


def test_since_leaves_out_what_was_over_before_that_day() -> None:
    ground_ = ground(audited(GOOD, BAD))

    assert len(suspect_windows(ground_, Ask(TODAY, since=date(2025, 5, 6)))) == 1
    assert suspect_windows(ground_, Ask(TODAY, since=date(2025, 5, 7))) == []


def test_an_isolated_gauge_misses_rain_and_no_test_tip_reaches_the_record() -> None:
    [row] = exclusions(ground(audited(GOOD)), Ask(TODAY))

    assert stretches([row]) == [
        ("isolated", instant("2025-01-07T08:10"), instant("2025-01-07T09:20"))
    ]
    assert (row.suggested_code, row.tips_expected) == ("missing", 0)


def test_test_tips_of_a_gauge_that_nobody_isolated_are_counted_for_the_editor() -> None:
    record = make_check(
        date(2025, 1, 7),
        found=(40, 39),
        left=(40, 41),
        isolated=False,
        switch_left=SwitchReadings(Phase.AS_LEFT, manual_tips=10),
    )

    [row] = exclusions(ground(audited(record), isolated=False), Ask(TODAY))

    assert stretches([row]) == [
        ("test_tips", instant("2025-01-07T08:00"), instant("2025-01-07T09:30"))
    ]
    assert (row.suggested_code, row.tips_expected) == ("remove_tips", 170)


def test_a_visit_without_a_test_leaves_nothing_to_take_out() -> None:
    looked = make_check(date(2025, 1, 7), isolated=False)

    assert exclusions(ground(audited(looked), isolated=False), Ask(TODAY)) == []


def test_of_several_alarms_the_latest_beginning_counts() -> None:
    alarms = tuple(
        NeighbourAlarm("S01", "main", "step_down", frozenset({"drift"}), day, day)
        for day in (date(2025, 3, 1), date(2025, 4, 1), date(2025, 2, 1))
    )

    [row] = suspect_windows(ground(audited(GOOD, BAD), alarms=alarms), Ask(TODAY))

    assert row.span.from_at == instant("2025-04-01T00:00")


def test_a_stretch_is_rejected_when_any_of_its_tests_was_beyond_the_reject_limit() -> None:
    left_bad = make_check(date(2025, 3, 4), found=(36, 36), left=(36, 36))
    worse = make_check(date(2025, 5, 6), found=(30, 30), left=(40, 40))

    [row] = suspect_windows(ground(audited(GOOD, left_bad, worse)), Ask(TODAY))

    assert (row.visit.visit_ref, row.suggested_code) == ("V20250304", "reject")
    assert row.figures.ended_by_ref == "V20250506"


def test_a_stretch_never_ends_before_what_was_seen_bad() -> None:
    seen = Sight(instant("2025-05-06T10:00"), BAD, Phase.AS_LEFT, good=False)

    [window] = windows_of(
        [seen], stood_from=instant("2025-01-01T00:00"), stood_until=instant("2025-05-06T09:30")
    )

    assert (window.since, window.until) == (instant("2025-01-01T00:00"), seen.at)

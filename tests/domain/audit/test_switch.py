"""Failed switches, on hand-made records; 5 ohm and ten manual tips: common practice, no source."""

from __future__ import annotations

from datetime import date

from fleet.domain.audit.evidence import Ask
from fleet.domain.audit.switch import failed_switch
from fleet.domain.code import MeasuredAt, Phase
from fleet.domain.history import SwitchReadings
from tests.domain.audit.ground import audited, evidence
from tests.factories import make_check

AS_OF = date(2025, 6, 2)
FOUND = Phase.AS_FOUND
LEFT = Phase.AS_LEFT


def reading(phase: Phase, closed_ohm: float | None, **more: object) -> SwitchReadings:
    fields = {"measured_at": MeasuredAt.GAUGE_TERMINALS, **more}
    return SwitchReadings(phase, closed_ohm, **fields)  # type: ignore[arg-type]


def test_failed_switch_gives_reading_and_limit() -> None:
    check = make_check(date(2025, 3, 1), switch_left=reading(LEFT, 5.5))

    [row] = failed_switch(evidence(audited(check)), Ask(AS_OF))

    assert (row.figures.phase, row.figures.closed_ohm) == ("as_left", 5.5)
    assert (row.figures.closed_limit_ohm, row.figures.open_limit_ohm) == (5.0, 1e6)
    assert row.figures.measured_at == "gauge_terminals"
    assert row.policy_basis == "network from 2025-01-01: new terms"
    assert row.made_good.made_good_on is None
    assert "5.5 ohm closed is above the field limit of 5 ohm" in row.sentence


def test_failed_switch_holds_a_workshop_reading_against_the_workshop_limit() -> None:
    bench = reading(LEFT, 1.5, measured_at=MeasuredAt.WORKSHOP)
    check = make_check(date(2025, 3, 1), switch_left=bench)

    [row] = failed_switch(evidence(audited(check)), Ask(AS_OF))

    assert row.figures.closed_limit_ohm == 1.0


def test_failed_switch_lists_no_closure_and_lost_manual_tips() -> None:
    dead = make_check(date(2025, 3, 1), switch_found=reading(FOUND, None, no_closure=True))
    losing = make_check(date(2025, 3, 1), switch_found=reading(FOUND, 0.3, manual_tips=9))

    [first] = failed_switch(evidence(audited(dead)), Ask(AS_OF))
    [second] = failed_switch(evidence(audited(losing)), Ask(AS_OF))

    assert (first.figures.no_closure, first.figures.closed_ohm) == (True, None)
    assert second.figures.manual_tips == 9


def test_failed_switch_passes_over_a_weak_one_and_one_nobody_read() -> None:
    weak = audited(make_check(date(2025, 3, 1), switch_left=reading(LEFT, 4.9)))
    unread = audited(make_check(date(2025, 3, 1), switch_left=reading(LEFT, None)))

    assert failed_switch(evidence(weak, unread), Ask(AS_OF)) == []


def test_failed_switch_as_found_is_made_good_by_the_reading_as_left() -> None:
    check = make_check(
        date(2025, 3, 1),
        switch_found=reading(FOUND, None, no_closure=True),
        switch_left=reading(LEFT, 0.2),
    )

    [row] = failed_switch(evidence(audited(check)), Ask(AS_OF))

    assert (row.figures.phase, row.made_good.made_good_by) == ("as_found", "V20250301")


def test_failed_switch_is_not_lifted_by_a_later_check_that_read_nothing() -> None:
    bad = make_check(date(2024, 3, 1), switch_left=reading(LEFT, 9.0))
    unread = make_check(date(2024, 9, 1), found=(40, 40))
    good = make_check(date(2024, 12, 1), switch_left=reading(LEFT, 0.4))

    [row] = failed_switch(evidence(audited(bad, unread)), Ask(AS_OF))

    assert (row.visit.visit_ref, row.made_good.made_good_on) == ("V20240301", None)
    assert failed_switch(evidence(audited(bad, unread, good)), Ask(AS_OF)) == []
    [row] = failed_switch(evidence(audited(bad, unread, good)), Ask(AS_OF, since=date(2024, 1, 1)))
    assert row.made_good.made_good_by == "V20241201"


def test_failed_switch_can_be_asked_of_one_phase() -> None:
    check = make_check(
        date(2025, 3, 1), switch_found=reading(FOUND, 9.0), switch_left=reading(LEFT, 8.0)
    )
    ground = evidence(audited(check))

    both = [row.figures.phase for row in failed_switch(ground, Ask(AS_OF))]
    one = [row.figures.phase for row in failed_switch(ground, Ask(AS_OF, phases=(LEFT,)))]

    assert (both, one) == (["as_found", "as_left"], ["as_left"])

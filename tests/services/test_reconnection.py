"""A gauge left off its logger is raised at once, and closed only by a proof.

In the small network, V015 (2025-05-07, S04, A-031) does not state the proof.
"""

from __future__ import annotations

import pytest
from sqlalchemy import select

from fleet.domain.state import derive_state
from fleet.store.models.visit import FollowUp, FollowUpVersion
from fleet.store.queries.history import gauge_histories
from fleet.store.queries.place import open_follow_ups
from fleet.store.verify import verify_ledger
from tests.factories import NOW, TODAY, InputFolder

REF = "reconnect:V015:A-031"


def open_refs(sessions, **more) -> list[str]:
    with sessions() as session:
        found = open_follow_ups(session, as_of=TODAY, **more)
        return [f.follow_up_ref for f in found if f.follow_up_ref.startswith("reconnect")]


def told(result) -> list[tuple[str, bool]]:
    return [(r.follow_up_ref, r.closed) for r in result.reconnections]


def later_visit(**check: object) -> InputFolder:
    folder = InputFolder().visit("V100", "S04", "2025-05-21", technicians="T03")
    return folder.check("V100", "A-031", volume_ml=400.0, device="D03", **check)


def test_unproven_reconnection_raises_an_urgent_follow_up(loaded):
    with loaded() as session:
        (found,) = [f for f in open_follow_ups(session, as_of=TODAY) if f.follow_up_ref == REF]

    assert (found.site_code, found.serial, found.severity) == ("S04", "A-031", "urgent")
    assert (found.raised_on.isoformat(), found.due_on.isoformat()) == ("2025-05-07", "2025-05-07")
    assert found.description == (
        "Visit V015 does not prove that gauge A-031 was put back on its logger: the record may be "
        "lost until somebody confirms that tips arrive at "
        "the logger, or reconnects it and proves it."
    )


def test_only_the_gauge_without_proof_is_raised(loaded):
    assert open_refs(loaded) == [REF]


def test_later_proof_closes_it(loaded, amend):
    result = amend(later_visit(left=(100, 100), proven=True))

    assert told(result) == [(REF, True)]
    assert open_refs(loaded) == []
    assert open_refs(loaded, known_on=NOW) == [REF]
    with loaded() as session:
        closed = session.execute(
            select(FollowUpVersion.closed_on)
            .join(FollowUp, FollowUp.id == FollowUpVersion.follow_up_id)
            .where(FollowUp.code == REF, FollowUpVersion.known_until.is_(None))
        ).scalar_one()
        assert verify_ledger(session) == []
    assert closed.isoformat() == "2025-05-21"


def test_later_look_that_says_nothing_leaves_it_open(loaded, amend):
    """Nobody isolated or tested the gauge and nobody looked at the logger: nothing is proven."""
    result = amend(later_visit(proven=None))

    assert told(result) == []
    assert open_refs(loaded) == [REF]


def test_state_of_the_gauge_agrees_with_its_follow_up(loaded, amend):
    def left_disconnected() -> str | None:
        with loaded() as session:
            histories = gauge_histories(session, as_of=TODAY)
        (state,) = [derive_state(h) for h in histories if h.gauge.serial == "A-031"]
        assert state.left_disconnected == (state.disconnected_ref is not None)
        return state.disconnected_ref

    assert left_disconnected() == "V015"
    amend(later_visit(proven=None))
    assert left_disconnected() == "V015"
    proof = InputFolder().visit("V101", "S04", "2025-05-28", technicians="T03")
    amend(proof.check("V101", "A-031", proven=True))
    assert left_disconnected() is None


def test_later_visit_without_proof_takes_its_place(loaded, amend):
    result = amend(later_visit(left=(100, 100), proven=None))

    assert told(result) == [(REF, True), ("reconnect:V100:A-031", False)]
    assert open_refs(loaded) == ["reconnect:V100:A-031"]


def test_denied_proof_counts_though_nothing_was_tested(loaded, amend):
    more = InputFolder().visit("V100", "S01", "2025-05-21").check("V100", "00417", proven=False)

    assert told(amend(more)) == [("reconnect:V100:00417", False)]


def test_visit_without_test_or_isolation_needs_no_proof(loaded, amend):
    more = InputFolder().visit("V100", "S01", "2025-05-21").check("V100", "00417", proven=None)

    assert told(amend(more)) == []


def test_amended_visit_with_proof_closes_its_own(loaded, amend, network):
    check = network.only("gauge_checks", visit_ref="V015")
    result = amend(
        check.change("gauge_checks", {}, restoration_proven=True), reason="was on page 2"
    )

    assert told(result) == [(REF, True)]
    assert open_refs(loaded) == []


def test_proof_that_is_taken_back_opens_it_again(loaded, amend, network, clock):
    check = network.only("gauge_checks", visit_ref="V015")
    amend(check.copy().change("gauge_checks", {}, restoration_proven=True), reason="page 2")
    clock.move(days=1)
    result = amend(check.change("gauge_checks", {}, restoration_proven=False), reason="other gauge")

    assert told(result) == [(REF, False)]
    assert open_refs(loaded) == [REF]
    with loaded() as session:
        assert verify_ledger(session) == []


def test_follow_up_that_a_later_visit_closed_stays_closed_when_the_visit_is_amended(
    loaded, amend, network, clock
):
    amend(later_visit(left=(100, 100), proven=True))
    clock.move(days=1)
    result = amend(
        network.only("visits", visit_ref="V015").change("visits", {}, note="x"), reason="x"
    )

    assert told(result) == []
    assert open_refs(loaded) == []


def test_older_visit_that_comes_in_late_raises_nothing_after_a_proof(loaded, amend):
    more = InputFolder().visit("V100", "S01", "2024-12-03")
    more.check("V100", "00417", found=(38, 38), left=(40, 40), proven=None)

    assert told(amend(more)) == []
    assert open_refs(loaded) == [REF]


def test_instrument_that_was_taken_away_needs_no_reconnection(loaded, amend, network):
    """Tested as found and carried off: the logger is proven with the instrument in its place."""
    more = network.only("installations", serial="00417")
    more.change("installations", {}, removed_on="2025-05-21")
    more.add(
        "installations", site_code="S01", position="main", installed_on="2025-05-21", serial="A-040"
    )
    more.visit("V100", "S01", "2025-05-21").check("V100", "00417", found=(39, 40), proven=None)
    more.check("V100", "A-040", left=(40, 40), proven=True)

    assert told(amend(more, reason="swapped")) == []


def test_taking_the_instrument_away_closes_its_follow_up(loaded, amend, network):
    more = network.only("installations", serial="A-031")
    more.change("installations", {}, removed_on="2025-05-21")
    more.visit("V100", "S04", "2025-05-21", technicians="T03")
    more.check("V100", "A-031", proven=None, cleaned=False)

    assert told(amend(more, reason="taken to the workshop")) == [(REF, True)]


def test_dry_run_tells_what_it_would_raise_and_raises_nothing(loaded, amend):
    result = amend(later_visit(left=(100, 100), proven=None), dry_run=True)

    assert told(result) == [(REF, True), ("reconnect:V100:A-031", False)]
    assert open_refs(loaded) == [REF]


def test_failed_attempt_says_nothing_of_the_connection(loaded, amend):
    more = InputFolder().visit("V100", "S04", "2025-05-21", technicians="T03", outcome="not_done")
    more.change("visits", {}, not_done_reason="weather")

    assert told(amend(more)) == []
    assert open_refs(loaded) == [REF]


@pytest.mark.parametrize("first", ["V100", "V200"])
def test_two_visits_in_one_load_are_read_in_order_of_day(loaded, amend, first):
    days = {"V100": "2025-05-21", "V200": "2025-05-28"}
    more = InputFolder()
    for ref in sorted(days, reverse=first == "V200"):
        more.visit(ref, "S04", days[ref], technicians="T03")
        more.check(
            ref,
            "A-031",
            left=(100, 100),
            volume_ml=400,
            device="D03",
            proven=True if ref == "V200" else None,
        )

    assert told(amend(more)) == [(REF, True)]
    assert open_refs(loaded) == []

"""Nothing is written on records that changed after they were read."""

from __future__ import annotations

import pytest

from fleet.errors import ConflictError
from fleet.store.journal import Wish, writing
from fleet.store.models.people import Depot
from fleet.store.unmoved import ledger_head, require_unmoved
from tests.hand_round import keep_round


def head_of(sessions):
    with sessions() as session:
        return ledger_head(session)


def write(sessions, clock, head, **how):
    with writing(sessions, Wish("tester", "try", ""), clock) as work:
        require_unmoved(work, head, **how)


def change(sessions, clock):
    with writing(sessions, Wish("somebody", "network load", ""), clock) as work:
        work.add(Depot, [{"code": "WEST"}])


def test_head_is_the_last_entry_and_nothing_before_the_first(sessions, loaded, clock):
    assert head_of(loaded) == 1
    change(loaded, clock)
    assert head_of(loaded) == 2


def test_records_as_read_may_be_written_on(loaded, clock):
    write(loaded, clock, head_of(loaded))


def test_change_in_between_is_refused_with_who_and_what(loaded, clock):
    head = head_of(loaded)
    change(loaded, clock)

    with pytest.raises(
        ConflictError, match="while the plan was made: ledger entry 2, network load by somebody"
    ):
        write(loaded, clock, head)


def test_plan_of_a_round_in_between_counts_only_where_it_is_asked_for(loaded, clock):
    head = head_of(loaded)
    keep_round(loaded, clock)

    write(loaded, clock, head)
    with pytest.raises(ConflictError, match="ledger entry 2, round plan by tester"):
        write(loaded, clock, head, plans_too=True)

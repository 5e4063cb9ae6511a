"""The transaction of every change, with the kept states of the gauges that it touched."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.orm import Session, sessionmaker

from fleet.clock import Clock
from fleet.store import journal
from fleet.store.journal import Wish, Work
from fleet.store.queries.rates import rates_in_force
from fleet.store.queries.touched import TOUCHING


@contextmanager
def writing(sessions: sessionmaker[Session], wish: Wish, clock: Clock) -> Iterator[Work]:
    """Open the transaction of a change as `fleet.store.journal.writing` does, states kept up.

    Before the entry is written, the states of the gauges whose history the change touched are
    derived anew, where rates were learned. Every service writes through this.
    """
    with journal.writing(sessions, wish, clock) as work:
        yield work
        bears = not wish.dry_run and not TOUCHING.isdisjoint(work.tables)
        if bears and rates_in_force(work.session) is not None:
            from fleet.services.gauge_state import renew_states  # the statistics load slowly

            renew_states(work)

"""Check a database as a whole: file, tables, references, versions, ledger, what is derived."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, sessionmaker

from fleet.services.reconnection import watch_reconnections
from fleet.services.record_map import Codes
from fleet.services.state_check import state_faults
from fleet.services.stop_result import settle_stops
from fleet.services.verify import verify_session
from fleet.store.integrity import (
    Flaw,
    file_flaws,
    reference_flaws,
    shape_flaws,
    version_flaws,
)
from fleet.store.journal import Work, rehearsing
from fleet.store.models.visit import GaugeCheck
from fleet.store.queries.round import round_version, versions_in_the_field
from fleet.store.snapshot import reading

if TYPE_CHECKING:
    import pandas as pd

CHECK_COLUMNS = ("check", "place", "fault")


@dataclass(frozen=True, slots=True)
class CheckFault:
    """What one check found at one place."""

    check: str
    place: str
    fault: str


def check_database(sessions: sessionmaker[Session]) -> tuple[CheckFault, ...]:
    """Run every check; nothing is written.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.

    Returns
    -------
    tuple of CheckFault
        In order of the checks; empty when all is well.
    """
    faults = [
        CheckFault(name, flaw.place, flaw.text)
        for name, check in CHECKS.items()
        for flaw in _flaws(sessions, check)
    ]
    for name, rebuild in DERIVED.items():
        faults += [CheckFault("derived", name, text) for text in _rebuilt(sessions, rebuild)]
    return tuple(faults)


def check_frame(faults: Iterable[CheckFault]) -> pd.DataFrame:
    """Give the faults as a table with the columns of `CHECK_COLUMNS`."""
    import pandas as pd

    rows = [(fault.check, fault.place, fault.fault) for fault in faults]
    return pd.DataFrame(rows, columns=list(CHECK_COLUMNS)).astype("str")


def _flaws(
    sessions: sessionmaker[Session], check: Callable[[Session], Iterable[Flaw]]
) -> list[Flaw]:
    """Run one check on one snapshot; that it cannot be run is a flaw too."""
    try:
        with reading(sessions) as session:
            return list(check(session))
    except DBAPIError as error:
        return [Flaw("database", f"it cannot be read: {error.orig}")]


def _ledger(session: Session) -> Iterator[Flaw]:
    for fault in verify_session(session).faults:
        entry = "" if fault.entry_id is None else f"entry {fault.entry_id}: "
        yield Flaw(fault.table, f"{entry}{fault.text}")


CHECKS: dict[str, Callable[[Session], Iterable[Flaw]]] = {
    "file": lambda session: file_flaws(session.connection()),
    "tables": lambda session: shape_flaws(session.connection()),
    "references": reference_flaws,
    "versions": version_flaws,
    "ledger": _ledger,
}
"""What must hold of the rows as they stand, by name."""


def _stop_results(work: Work) -> Iterator[str]:
    for round_ref, number in versions_in_the_field(work.session).items():
        yield from settle_stops(work, round_version(work.session, round_ref, number=number), None)


def _reconnections(work: Work) -> Iterator[str]:
    every = work.session.execute(select(GaugeCheck.instrument_id).distinct()).scalars()
    codes = Codes(work.session)
    for change in watch_reconnections(work, codes=codes, instrument_ids=frozenset(every)):
        done = "should be closed" if change.closed else "should be open"
        yield f"{change.follow_up_ref} {done} after visit {change.visit_ref}"


DERIVED: dict[str, Callable[[Work], Iterable[str]]] = {
    "stop results": _stop_results,
    "reconnection follow-ups": _reconnections,
    "kept states": lambda work: state_faults(work.session),
}
"""What is kept and follows from other records. Each is derived anew from all of them, in a
transaction that is taken back, and gives a sentence for each thing that would change."""


def _rebuilt(
    sessions: sessionmaker[Session], rebuild: Callable[[Work], Iterable[str]]
) -> list[str]:
    with rehearsing(sessions) as work:
        try:
            return list(rebuild(work))
        except DBAPIError as error:
            return [f"differs from what the records say; it cannot be told how: {error.orig}"]

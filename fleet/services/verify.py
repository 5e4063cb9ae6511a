"""Verify the ledger on one snapshot of the database."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session, sessionmaker

from fleet.services.checkpoint import checkpoint_faults
from fleet.services.checkpoint_file import Checkpoint
from fleet.store.guard import missing_guards
from fleet.store.queries.ledger import last_entry, number_of_hash
from fleet.store.snapshot import reading
from fleet.store.verify import Fault, verify_ledger

if TYPE_CHECKING:
    import pandas as pd

FAULT_COLUMNS = ("entry_id", "table", "fault")


@dataclass(frozen=True, slots=True)
class Verification:
    """What a verification found; ``last_hash`` is worth noting outside the database."""

    entries: int
    last_hash: str
    faults: tuple[Fault, ...]


def verify_records(
    sessions: sessionmaker[Session],
    *,
    noted_hash: str | None = None,
    against: Checkpoint | None = None,
) -> Verification:
    """Hold every row against the ledger, and the guards against those that were made.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    noted_hash : str, optional
        The hash of an entry that was noted outside the database some time ago; it must still be
        in the chain. Only this or a checkpoint shows a ledger that was rewritten as a whole, or
        cut off at its end together with its rows.
    against : Checkpoint, optional
        Taken of this database some time ago.

    Returns
    -------
    Verification
        Faults with the first entry that does not fit first; what names no entry, such as a
        guard that is gone, last.
    """
    with reading(sessions) as session:
        return verify_session(session, noted_hash=noted_hash, against=against)


def verify_session(
    session: Session, *, noted_hash: str | None = None, against: Checkpoint | None = None
) -> Verification:
    """Do what `verify_records` does in a session that is open already, on one snapshot."""
    faults = verify_ledger(session)
    last = last_entry(session)
    entries, last_hash = (0, "") if last is None else last
    if noted_hash is not None and number_of_hash(session, noted_hash) is None:
        faults.append(Fault(entries, "ledger_entry", f"no entry has the noted hash {noted_hash}"))
    if against is not None:
        faults += checkpoint_faults(session, against)
    gone = missing_guards(session.connection())
    faults += [Fault(None, guard.table, guard.text) for guard in gone]
    return Verification(entries, last_hash, tuple(sorted(faults, key=lambda fault: fault.order)))


def fault_frame(verification: Verification) -> pd.DataFrame:
    """Give the faults as a table of entry, table and fault; no rows when all fits."""
    import pandas as pd

    rows = [(fault.entry_id, fault.table, fault.text) for fault in verification.faults]
    frame = pd.DataFrame(rows, columns=list(FAULT_COLUMNS))
    return frame.astype({"entry_id": "Int64", "table": "str", "fault": "str"})

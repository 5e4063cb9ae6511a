"""Verify the ledger on one snapshot of the database."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session, sessionmaker

from fleet.store.queries.ledger import last_entry, number_of_hash
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
    sessions: sessionmaker[Session], *, noted_hash: str | None = None
) -> Verification:
    """Hold every row against the ledger.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    noted_hash : str, optional
        The hash of an entry that was noted outside the database some time ago; it must still be
        in the chain. Only this shows a ledger that was rewritten as a whole, or cut off at its
        end together with its rows.

    Returns
    -------
    Verification
        Faults with the first entry that does not fit first.
    """
    with sessions() as session:
        if session.get_bind().dialect.name == "postgresql":
            session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        faults = verify_ledger(session)
        last = last_entry(session)
        entries, last_hash = (0, "") if last is None else last
        if noted_hash is not None and number_of_hash(session, noted_hash) is None:
            text = f"no entry has the noted hash {noted_hash}"
            faults.append(Fault(entries, "ledger_entry", text))
    return Verification(entries, last_hash, tuple(faults))


def fault_frame(verification: Verification) -> pd.DataFrame:
    """Give the faults as a table of entry, table and fault; no rows when all fits."""
    import pandas as pd

    rows = [(fault.entry_id, fault.table, fault.text) for fault in verification.faults]
    frame = pd.DataFrame(rows, columns=list(FAULT_COLUMNS))
    return frame.astype({"entry_id": "int64", "table": "str", "fault": "str"})

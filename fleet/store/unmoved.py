"""Whether the records stand as they were read, for work that reads, computes and then writes."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from fleet.errors import ConflictError
from fleet.store.journal import Work
from fleet.store.models.ledger import LedgerChange, LedgerEntry

ROUND_PREFIX = "round"
"""Tables whose names begin so hold plans; another depot's plan changes nothing for this one."""


def ledger_head(session: Session) -> int:
    """Give the number of the last ledger entry, 0 before the first; ask before reading."""
    head: int = session.execute(select(func.coalesce(func.max(LedgerEntry.id), 0))).scalar_one()
    return head


def require_unmoved(work: Work, head: int, *, plans_too: bool = False) -> None:
    """Refuse to write on what has changed since it was read.

    Parameters
    ----------
    work : Work
        The open transaction: nobody else writes while it lasts.
    head : int
        What `ledger_head` gave before reading.
    plans_too : bool
        Whether plans of rounds count too; what became of stops always does.

    Raises
    ------
    ConflictError
        Somebody wrote meanwhile; who and what is told.
    """
    query = (
        select(LedgerEntry.id, LedgerEntry.actor, LedgerEntry.action)
        .join(LedgerChange, LedgerChange.entry_id == LedgerEntry.id)
        .where(LedgerEntry.id > head)
        .order_by(LedgerEntry.id)
    )
    if not plans_too:
        query = query.where(~LedgerChange.table_name.startswith(ROUND_PREFIX, autoescape=True))
    first = work.session.execute(query.limit(1)).first()
    if first is not None:
        raise ConflictError(
            f"The records changed while the plan was made: ledger entry {first.id}, "
            f"{first.action} by {first.actor}. Nothing was written; plan again."
        )
